"""Batches of rows to one block: in order of engine and time, each engine and time once.

In: `RowBatch` values in order of file and line. Out: `BlockRows` and faults. Refuses nothing: of several rows of one engine and
time the first counts, and each of the others is a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from intervals.faults import Fault
from intervals.readings.normalise import RowBatch
from intervals.readings.rows import BlockRows, Flags, Indexes
from intervals.site.model import Site
from intervals.site.sources import ReadingSource

Scalar = TypeVar("Scalar", bound=np.generic)
_SMALL_CODES = 1 << 15


def merge_batches(site: Site, source: ReadingSource, batches: list[RowBatch], files: tuple[str, ...]) -> tuple[BlockRows, list[Fault]]:
    """Return the rows of a block.

    Args:
        site: the site.
        source: the block.
        batches: its accepted rows, in order of file and line; emptied, so that memory is given back.
        files: path of each file below the site folder.

    Returns:
        The rows, sorted by engine, then time; and a fault for each row that repeats the engine and time of an earlier one.
    """
    counts = [len(batch.line) for batch in batches]
    file = np.repeat(np.array([batch.file for batch in batches], dtype=np.int32), counts)
    line = _joined([batch.line for batch in batches], np.int32)
    engine = _joined([batch.engine for batch in batches], np.int32)
    at_us = _joined([batch.at_us for batch in batches], np.int64)
    columns = [batch.values for batch in batches]
    batches.clear()
    values = {}
    for name in source.quantities:
        parts = [column.pop(name, None) for column in columns]
        filled = [np.full(count, np.nan) if part is None else part for part, count in zip(parts, counts, strict=True)]
        values[name] = _joined(filled, np.float64)
    order = sorted_order(engine, at_us)
    if order is not None:
        engine, at_us, line, file = engine[order], at_us[order], line[order], file[order]
        for name, column in values.items():
            values[name] = column[order]
    rows = BlockRows(source, engine, at_us, file, line, values, files)
    repeats = np.flatnonzero((engine[1:] == engine[:-1]) & (at_us[1:] == at_us[:-1])) + 1
    return _without_repeats(site, rows, repeats) if len(repeats) else (rows, [])


def _joined(parts: Sequence[NDArray[Scalar]], kind: type[Scalar]) -> NDArray[Scalar]:
    """Return arrays as one."""
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)


def sorted_order(engine: Indexes, at_us: NDArray[np.int64]) -> NDArray[np.int64] | None:
    """Return the stable order by engine, then time, or None where the rows stand so already.

    A log is mostly in order of time, with the engines mixed or one after the other: sorting by engine alone, which is done by
    counting, nearly always does it, and only an engine whose rows are not in order is sorted by time.
    """
    same = engine[1:] == engine[:-1]
    later = at_us[1:] >= at_us[:-1]
    if bool(np.all((engine[1:] > engine[:-1]) | (same & later))):
        return None
    # numpy sorts 16-bit numbers by counting
    codes = engine.astype(np.int16) if len(engine) and engine.max() < _SMALL_CODES else engine
    order: NDArray[np.int64] = np.argsort(codes, kind="stable")
    by_engine, by_time = engine[order], at_us[order]
    back = (by_engine[1:] == by_engine[:-1]) & (by_time[1:] < by_time[:-1])
    for code in np.unique(by_engine[1:][back]):
        start, end = np.searchsorted(by_engine, [code, code + 1])
        order[start:end] = order[start:end][np.argsort(by_time[start:end], kind="stable")]
    return order


def _without_repeats(site: Site, rows: BlockRows, repeats: NDArray[np.int64]) -> tuple[BlockRows, list[Fault]]:
    """Return the rows without those that repeat an earlier one, each of which is a fault."""
    is_repeat = np.zeros(len(rows), dtype=np.bool_)
    is_repeat[repeats] = True
    first = np.maximum.accumulate(np.where(is_repeat, 0, np.arange(len(rows))))[repeats]
    is_same = np.ones(len(repeats), dtype=np.bool_)
    for column in rows.values.values():
        is_same &= (column[repeats] == column[first]) | (np.isnan(column[repeats]) & np.isnan(column[first]))
    faults = [
        _repeat_fault(site, rows, int(row), int(kept), is_same=bool(same)) for row, kept, same in zip(repeats, first, is_same, strict=True)
    ]
    return _taken(rows, ~is_repeat), faults


def _repeat_fault(site: Site, rows: BlockRows, row: int, kept: int, *, is_same: bool) -> Fault:
    """Return the fault of a row that repeats an earlier one."""
    place = f"{rows.files[rows.file[kept]]}:{rows.line[kept]}"
    if is_same:
        kind, text = "duplicate_row", f"the same engine, time and values as {place}; that row counts"
    else:
        columns = (
            f"{name} {_shown(column[row])}, there {_shown(column[kept])}"
            for name, column in rows.values.items()
            if column[row] != column[kept] and not (np.isnan(column[row]) and np.isnan(column[kept]))
        )
        kind, text = "conflicting_row", f"the same engine and time as {place} with other values ({'; '.join(columns)}); that row counts"
    return Fault(site.engines[rows.engine[row]].id, kind, rows.files[rows.file[row]], int(rows.line[row]), int(rows.at_us[row]), text)


def _shown(value: float) -> str:
    """Return a figure as text."""
    return "blank" if np.isnan(value) else f"{value:.10g}"


def _taken(rows: BlockRows, kept: Flags) -> BlockRows:
    """Return some of the rows."""
    return BlockRows(
        rows.source,
        rows.engine[kept],
        rows.at_us[kept],
        rows.file[kept],
        rows.line[kept],
        {name: column[kept] for name, column in rows.values.items()},
        rows.files,
    )
