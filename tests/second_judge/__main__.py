"""Tries many invented sites: `python -m tests.second_judge --sites 3000 --seed 1`."""

import argparse
import collections
import shutil
import sys
import tempfile
import traceback
from pathlib import Path

from tests.second_judge.compare import try_site


def main() -> int:
    """Tell each site on which the two judges differ, keep its folder, and return 1 if there is one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None)
    parser.add_argument("--show", type=int, default=20)
    asked = parser.parse_args()
    keep = asked.keep or Path(tempfile.mkdtemp(prefix="second-judge-"))
    fields, shown = 0, 0
    differing: collections.Counter[str] = collections.Counter()
    for seed in range(asked.seed, asked.seed + asked.sites):
        folder = keep / f"site-{seed}"
        try:
            trial = try_site(folder, seed)
        except Exception:  # noqa: BLE001 - whatever breaks is shown with its site
            tell(f"site {seed}: {folder}\n{traceback.format_exc()}")
            differing["broken"] += 1
            continue
        fields += trial.fields
        if not trial.differences:
            shutil.rmtree(folder)
            continue
        differing[" ".join(trial.differences[0].where.split()[-2:])] += 1
        if shown < asked.show:
            shown += 1
            tell(f"site {seed} ({trial.layout}, as of {trial.as_of}, month {trial.month}): {folder}")
            for one in trial.differences[:3]:
                tell(f"    {one}")
    tell(f"{asked.sites} sites, {fields} fields, {differing.total()} sites differ: {differing.most_common(20)}")
    return 1 if differing else 0


def tell(text: str) -> None:
    """Write a line."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
