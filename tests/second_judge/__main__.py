"""Tries many invented sites: `python -m tests.second_judge --sites 3000 --seed 1`."""

import argparse
import collections
import shutil
import sys
import tempfile
import traceback
from pathlib import Path

from .compare import try_site


def main() -> int:
    """Print each site on which the two judges differ, keep its folder, and return 1 if there is one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=None)
    parser.add_argument("--show", type=int, default=20)
    asked = parser.parse_args()
    keep = asked.keep or Path(tempfile.mkdtemp(prefix="second-judge-"))
    fields, differing, shown = 0, collections.Counter(), 0
    for seed in range(asked.seed, asked.seed + asked.sites):
        folder = keep / f"site-{seed}"
        try:
            trial = try_site(folder, seed)
        except Exception:
            print(f"site {seed}: {folder}\n{traceback.format_exc()}")
            differing["broken"] += 1
            continue
        fields += trial.fields
        if not trial.differences:
            shutil.rmtree(folder)
            continue
        first = trial.differences[0]
        differing[" ".join(first.where.split()[-2:])] += 1
        if shown < asked.show:
            shown += 1
            print(f"site {seed} ({trial.layout}, as of {trial.as_of}, month {trial.month}): {folder}")
            for one in trial.differences[:3]:
                print(f"    {one}")
    print(f"{asked.sites} sites, {fields} fields, {sum(differing.values())} sites differ: {differing.most_common(20)}")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
