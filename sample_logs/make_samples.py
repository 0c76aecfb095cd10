"""Writes the readings and service records of the sample sites anew, the same bytes every time.

The sites, their engines and everything that happens on them are made up. From the top of a clone:

    python sample_logs/make_samples.py            # in place
    python sample_logs/make_samples.py OTHER      # below another folder, to compare

In: nothing but the courses and job books in `makers/`. Out: everything beside each `site.yaml`, which is kept by hand.
"""

from __future__ import annotations

import sys
from pathlib import Path

from makers.brackwater import make_brackwater
from makers.harbour_clinic import make_harbour_clinic
from makers.skerry_island import make_skerry_island


def make_samples(folder: Path) -> None:
    """Write the three sample sites below a folder."""
    make_brackwater(folder / "brackwater")
    make_harbour_clinic(folder / "harbour-clinic")
    make_skerry_island(folder / "skerry-island")


if __name__ == "__main__":
    make_samples(Path(sys.argv[1]) if sys.argv[1:] else Path(__file__).parent)
