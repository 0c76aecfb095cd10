"""The package's own ledger alone: reading the log and summing it by engine, day and duty cell, without judging.

In: a fleet folder. Out: the checksum line of `fleet_folder.py`, to be compared with the bare scripts. The work is in `ledger_sums.py`,
which is loaded as the command line loads what it needs: after the interpreter was set for one short command.

Usage, from the repository: python -m tests.benchmarks.ledger_only FOLDER [--jobs=N]
"""

from __future__ import annotations

import sys
from pathlib import Path

import intervals.cli  # noqa: F401 - sets the interpreter as it does for the command line
from tests.benchmarks.fleet_folder import checksum_line, read_fleet


def main() -> None:
    """Read, sum, print."""
    from tests.benchmarks.ledger_sums import sum_fleet

    folder, jobs = Path(sys.argv[1]), int(sys.argv[2].removeprefix("--jobs=")) if len(sys.argv) > 2 else None
    sums = sum_fleet(folder, read_fleet(folder), jobs)
    sys.stdout.write(checksum_line(hours=sums.hours, by_day=sums.by_day, starts=sums.starts, by_cell=sums.by_cell))


if __name__ == "__main__":
    main()
