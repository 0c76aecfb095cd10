"""Hourly logs of the benchmark fleet: drawn engine by engine, put into tables, written as CSV or Parquet.

In: a seed, an engine's index, how many rows. Out: `EngineLog`, whole numbers of the last digit that the file shows,
so that every sum has one right answer; and log files with the columns Time, Unit, Hours, P, Starts, S.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

HOURS_PER_DAY = 24
RATED_KW = (800, 1000, 1200, 1500, 2000)
# Deliveries of fuel, in hundredths of a percent; the thresholds themselves are among them.
SULPHUR_CHOICES = (10, 10, 20, 35, 49, 50, 65, 80, 100, 101, 120, 150)
HOURS_PER_DELIVERY = 480
SULPHUR_BLANK_SHARE = 0.005
LOAD_BLANK_SHARE = 0.001
BLANK = -1


@dataclass(frozen=True)
class EngineLog:
    """One engine's hourly log, in whole steps of the last digit that the file shows; `BLANK` where a cell is empty."""

    meter_tenths: NDArray[np.int32]
    load_tenths: NDArray[np.int32]
    starts: NDArray[np.int32]
    sulphur_hundredths: NDArray[np.int16]

    def rows(self, piece: slice) -> EngineLog:
        """Give some rows of the log as a log of their own."""
        return EngineLog(self.meter_tenths[piece], self.load_tenths[piece], self.starts[piece], self.sulphur_hundredths[piece])


def engine_id(index: int) -> str:
    """Name the engine at this index; ids sort as the engines are listed."""
    return f"E{index + 1:04d}"


def rated_kw(index: int) -> int:
    """Rated power of the engine at this index; the thresholds of load fall on whole kilowatts."""
    return RATED_KW[index % len(RATED_KW)]


def draw_log(seed: int, index: int, rows: int) -> EngineLog:
    """Draw one engine's log: spells of running and standstill, load with a daily swing, sulphur by delivery.

    Args:
        seed: the fleet's seed; each engine draws from its own stream.
        index: which engine.
        rows: hourly rows.

    Returns:
        The log, with a new meter; the first and the last hour of each spell are run in part.
    """
    rng = np.random.default_rng([seed, index])
    running = _draw_running(rng, rows)
    before = np.concatenate([[False], running[:-1]])
    after = np.concatenate([running[1:], [running[-1]]])
    run_tenths = np.where(running, 10, 0)
    partial = running & (~before | ~after)
    run_tenths[partial] = rng.integers(1, 10, int(partial.sum()))
    hour = np.arange(rows)
    swing = 0.12 * np.sin((hour - 8) * (2 * np.pi / HOURS_PER_DAY))
    share = rng.uniform(0.55, 0.85) + swing + rng.normal(0, 0.09, rows)
    load = np.where(running, np.rint(np.clip(share, 0.05, 1.1) * rated_kw(index) * 10), 0)
    load[rng.random(rows) < LOAD_BLANK_SHARE] = BLANK
    deliveries = rng.choice(SULPHUR_CHOICES, rows // HOURS_PER_DELIVERY + 2)
    sulphur = deliveries[(hour + int(rng.integers(HOURS_PER_DELIVERY))) // HOURS_PER_DELIVERY]
    sulphur[rng.random(rows) < SULPHUR_BLANK_SHARE] = BLANK
    return EngineLog(
        meter_tenths=run_tenths.cumsum().astype(np.int32),
        load_tenths=load.astype(np.int32),
        starts=(running & ~before).cumsum().astype(np.int32),
        sulphur_hundredths=sulphur.astype(np.int16),
    )


def _draw_running(rng: np.random.Generator, rows: int) -> NDArray[np.bool_]:
    """Say for each hour whether the engine ran: spells of days, standstill of hours to days."""
    spells = rows // 2 + 1
    lengths = np.empty(2 * spells, dtype=np.int64)
    lengths[0::2] = 1 + rng.geometric(1 / rng.uniform(40, 160), spells)
    lengths[1::2] = rng.geometric(1 / rng.uniform(10, 40), spells)
    used = lengths[: int(np.searchsorted(lengths.cumsum(), rows)) + 1]
    return np.repeat(np.arange(used.size) % 2 == 0, used)[:rows]


def log_table(stamps: NDArray[np.datetime64], logs: list[EngineLog], first_index: int, *, by_time: bool, as_text: bool) -> pa.Table:
    """Put the logs of several engines into one table of the file's columns.

    Args:
        stamps: the hourly stamps, common to all.
        logs: one log an engine.
        first_index: index of the first of these engines.
        by_time: order by time and then engine, like a logger's export; else engine after engine.
        as_text: stamps as ISO text, for CSV; else as timestamps.

    Returns:
        The table, Time, Unit, Hours, P, Starts, S.
    """
    engines, rows = len(logs), stamps.size
    row, engine = np.arange(rows, dtype=np.int32), np.arange(engines, dtype=np.int32)
    of_row, of_engine = (np.repeat(row, engines), np.tile(engine, rows)) if by_time else (np.tile(row, engines), np.repeat(engine, rows))

    def column(name: str) -> NDArray[Any]:
        return np.stack([getattr(log, name) for log in logs]).ravel(order="F" if by_time else "C")

    if as_text:
        time = pa.DictionaryArray.from_arrays(of_row, pa.array(np.datetime_as_string(stamps, unit="s")))
    else:
        time = pa.array(stamps.astype("M8[us]")[of_row])
    load, sulphur = column("load_tenths"), column("sulphur_hundredths")
    return pa.table(
        {
            "Time": time,
            "Unit": pa.DictionaryArray.from_arrays(of_engine, pa.array([engine_id(first_index + k) for k in range(engines)])),
            "Hours": column("meter_tenths") / 10,
            "P": pa.array(load / 10, mask=load == BLANK),
            "Starts": column("starts"),
            "S": pa.array(sulphur / 100, mask=sulphur == BLANK),
        }
    )


def write_log(table: pa.Table, stem: Path, file_format: str) -> None:
    """Write one log file: `stem` with the format's suffix."""
    if file_format == "parquet":
        parquet.write_table(table, stem.with_name(f"{stem.name}.parquet"))
        return
    with stem.with_name(f"{stem.name}.csv").open("wb") as sink:
        # Arrow would quote a header of its own.
        sink.write((",".join(table.column_names) + "\n").encode())
        csv.write_csv(table, sink, csv.WriteOptions(include_header=False, quoting_style="none"))


def month_pieces(stamps: NDArray[np.datetime64]) -> Iterator[tuple[str, slice]]:
    """Cut the stamps by month: each month's name and its rows."""
    names, starts = np.unique(stamps.astype("M8[M]"), return_index=True)
    for name, start, end in zip(names, starts, [*starts[1:], stamps.size], strict=True):
        yield str(name), slice(int(start), int(end))
