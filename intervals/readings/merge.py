"""Batches of rows to one block: in order of engine and time, each engine and time once.

In: `RowBatch` values in order of file and line. Out: `BlockRows` and faults. Refuses nothing: of several rows of one engine and
time the first counts, and each of the others is a fault.

A batch is sorted by engine as it comes, while it is in the processor's cache. A log is mostly in order of time, so that only where an
engine's rows are not, or repeat one another, its figures are put together and sorted.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from intervals.faults import Fault
from intervals.readings.normalise import RowBatch
from intervals.readings.parts import Column, Part, PartedColumns, moves_of, put_together, totals_of
from intervals.readings.rows import BlockRows, Flags, Indexes, Instants
from intervals.site.model import Site
from intervals.site.sources import ReadingSource

Order = NDArray[np.int64]
_COUNTED_KINDS = (np.uint8, np.int16)
"""numpy sorts numbers as small as these by counting."""


class RowCollector:
    """Collects the accepted rows of one block.

    Args:
        site: the site.
        source: the block.
        files: path of each file below the site folder.
    """

    def __init__(self, site: Site, source: ReadingSource, files: tuple[str, ...]) -> None:
        self._site = site
        self._source = source
        self._files = files
        self._parts: list[Part] = []

    def add(self, batch: RowBatch) -> None:
        """Add a batch; the batches of one engine come in order of file and line."""
        if not len(batch.line):
            return
        columns: dict[str, Column] = {"at_us": batch.at_us, "line": batch.line, **batch.values}
        order = engine_order(batch.engine)
        if order is not None:
            columns = {name: column.take(order) for name, column in columns.items()}
        blank = dict.fromkeys(self._source.quantities, np.nan) | {"file": np.int32(batch.file)}
        columns = {name: np.broadcast_to(value, len(batch.line)) for name, value in blank.items()} | columns
        self._parts.append(Part.of(columns, batch.engine))

    def finish(self) -> tuple[BlockRows, list[Fault]]:
        """Return the rows of the block, and a fault for each row that repeats the engine and time of an earlier one.

        The collector is empty afterwards.
        """
        parts, self._parts = self._parts, []
        totals = totals_of(parts)
        moves = moves_of(parts, totals)
        engine = np.repeat(np.arange(len(totals), dtype=np.int32), totals)
        at_us, file, line = (
            put_together(name, parts, moves, kind) for name, kind in (("at_us", np.int64), ("file", np.int32), ("line", np.int32))
        )
        rows = BlockRows(self._source, engine, at_us, file, line, PartedColumns(tuple(self._source.quantities), parts, moves), self._files)
        if not len(_not_later(engine, at_us)):
            return rows, []
        rows = _in_time(rows, list(_out_of_time(engine, at_us)))
        repeats = _not_later(rows.engine, rows.at_us)
        return _without_repeats(self._site, rows, repeats) if len(repeats) else (rows, [])


def engine_order(engine: Indexes) -> Order | None:
    """Return the stable order by engine, or None where the rows stand so already."""
    if bool(np.all(engine[1:] >= engine[:-1])):
        return None
    highest = engine.max()
    kind = next((kind for kind in _COUNTED_KINDS if highest <= np.iinfo(kind).max), engine.dtype)
    return np.argsort(engine.astype(kind, copy=False), kind="stable")


def _not_later(engine: Indexes, at_us: Instants) -> Order:
    """Return the rows that are of the engine of the row before and not later than it."""
    rows = np.flatnonzero(at_us[1:] <= at_us[:-1]) + 1
    not_later: Order = rows[engine[rows] == engine[rows - 1]]
    return not_later


def _out_of_time(engine: Indexes, at_us: Instants) -> Iterator[tuple[slice, Order]]:
    """Yield the rows of each engine that are not in order of time, and their stable order."""
    rows = _not_later(engine, at_us)
    for code in dict.fromkeys(engine[rows[at_us[rows] < at_us[rows - 1]]].tolist()):
        start, end = np.searchsorted(engine, np.array([code, code + 1], dtype=engine.dtype))
        yield slice(int(start), int(end)), np.argsort(at_us[start:end], kind="stable")


def _in_time(rows: BlockRows, spans: Sequence[tuple[slice, Order]]) -> BlockRows:
    """Return the rows with some stretches put in order."""
    order = np.arange(len(rows))
    for span, of_span in spans:
        order[span] = order[span][of_span]
    return _taken(rows, order)


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


def _taken(rows: BlockRows, kept: Flags | Order) -> BlockRows:
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
