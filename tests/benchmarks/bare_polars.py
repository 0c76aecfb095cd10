"""The ledger's sums in polars alone: running hours and starts by engine, day and duty cell.

In: a fleet folder. Out: the checksum line. One lazy query on the streaming engine, grouped by one integer key; stamps
are read as text and parsed with a stated format, which is twice as fast as leaving them to the CSV reader. It trusts
that rows are in order of time and checks nothing.

Usage, from the repository: python -m tests.benchmarks.bare_polars FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

import polars as pl

from tests.benchmarks.fleet_folder import (
    CELL_FACTOR,
    CELLS,
    CELLS_PER_LEVEL,
    DAY_FACTOR,
    ENGINE_FACTOR,
    MODULUS,
    UNKNOWN_CELL,
    US_PER_DAY,
    FleetFolder,
    checksum_line,
    read_fleet,
)

DAYS = 100_000


def scan_log(fleet: FleetFolder) -> pl.LazyFrame:
    """Open all the log files as one lazy frame, engines as numbers in the site's order."""
    units = pl.Enum(list(fleet.rated_kw))
    if fleet.format == "parquet":
        log = pl.scan_parquet(fleet.files).with_columns(pl.col("Unit").cast(units))
    else:
        numbers = {"Hours": pl.Float64(), "P": pl.Float64(), "Starts": pl.Int32(), "S": pl.Float64()}
        log = pl.scan_csv(fleet.files, schema={"Time": pl.String(), "Unit": units, **numbers})
        log = log.with_columns(pl.col("Time").str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us"))
    return log.with_columns(pl.col("Unit").to_physical().cast(pl.Int64).alias("engine"))


def cell(level: pl.Expr, thresholds: tuple[float, float]) -> pl.Expr:
    """Number the cell that a level falls into."""
    low, high = thresholds
    passed = [level >= low, level > low, level >= high, level > high]
    return pl.sum_horizontal([step.cast(pl.Int64) for step in passed], ignore_nulls=False).fill_null(UNKNOWN_CELL)


def step_of(counter: str) -> pl.Expr:
    """How far a counter went since the engine's previous row; it starts from 0."""
    return pl.col(counter) - pl.col(counter).shift(1).over("engine").fill_null(0)


def sum_ledger(fleet: FleetFolder) -> pl.DataFrame:
    """Sum hours and starts by engine, day and cell, all three in one key."""
    # A row tells of the hour before its stamp.
    day = (pl.col("Time").to_physical() - 1) // US_PER_DAY
    load_pct = 100 * pl.col("P") / pl.lit(pl.Series(list(fleet.rated_kw.values()))).gather(pl.col("engine"))
    cells = cell(load_pct, fleet.load_thresholds_pct) * CELLS_PER_LEVEL + cell(pl.col("S"), fleet.sulphur_thresholds_pct)
    key = (pl.col("engine") * DAYS + day) * CELLS + cells
    steps = scan_log(fleet).select(key.alias("key"), step_of("Hours").alias("hours"), step_of("Starts").alias("starts"))
    return steps.group_by("key").agg(pl.col("hours").sum(), pl.col("starts").sum()).collect(engine="streaming")


def main() -> None:
    """Read, sum, print."""
    sums = sum_ledger(read_fleet(Path(sys.argv[1])))
    place = pl.col("key") // CELLS
    weight = (ENGINE_FACTOR * (place // DAYS) + DAY_FACTOR * (place % DAYS)) % MODULUS + 1
    thousandths = (pl.col("hours") * 1000).round().cast(pl.Int64)
    totals = sums.select(
        hours=pl.col("hours").sum(),
        starts=pl.col("starts").sum(),
        by_day=(thousandths * weight).sum(),
        by_cell=((thousandths + 1000 * pl.col("starts")) * (weight + CELL_FACTOR * (pl.col("key") % CELLS))).sum(),
    )
    sys.stdout.write(checksum_line(**totals.row(0, named=True)))


if __name__ == "__main__":
    main()
