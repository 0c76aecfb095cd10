"""The bar for `intervals check`: pandas alone, reading the log and summing running hours by engine and day.

In: a fleet folder. Out: the checksum line, without starts and duty cells. It reads with pandas' fastest reader, only
the three columns that it needs, trusts that rows are in order of time, checks nothing and judges nothing.

Usage, from the repository: python -m tests.benchmarks.bare_pandas FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from tests.benchmarks.fleet_folder import DAY_FACTOR, ENGINE_FACTOR, MODULUS, US_PER_DAY, checksum_line, read_fleet

COLUMNS = ["Time", "Unit", "Hours"]


def read_log(files: list[Path], file_format: str) -> pd.DataFrame:
    """Read all the log files into one frame."""
    if file_format == "parquet":
        frames = [pd.read_parquet(file, columns=COLUMNS) for file in files]
    else:
        frames = [pd.read_csv(file, engine="pyarrow", usecols=COLUMNS) for file in files]
    return pd.concat(frames, ignore_index=True)


def sum_by_day(log: pd.DataFrame) -> pd.Series[float]:
    """Sum the running hours by engine number and day; a meter starts from 0."""
    engine = log["Unit"].astype("category")
    run_h = log["Hours"].groupby(engine, observed=True).diff().fillna(log["Hours"])
    # A row tells of the hour before its stamp.
    day = (log["Time"].to_numpy().astype("M8[us]").astype(np.int64) - 1) // US_PER_DAY
    return run_h.groupby([engine.cat.codes.to_numpy(), day]).sum()


def main() -> None:
    """Read, sum, print."""
    fleet = read_fleet(Path(sys.argv[1]))
    sums = sum_by_day(read_log(fleet.files, fleet.format))
    engine, day = (sums.index.get_level_values(level).to_numpy().astype(np.int64) for level in (0, 1))
    weight = (ENGINE_FACTOR * engine + DAY_FACTOR * day) % MODULUS + 1
    thousandths = np.rint(sums.to_numpy() * 1000).astype(np.int64)
    sys.stdout.write(checksum_line(hours=float(sums.sum()), by_day=int((thousandths * weight).sum())))


if __name__ == "__main__":
    main()
