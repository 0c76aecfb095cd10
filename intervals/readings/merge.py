"""Batches of rows to one block: in order of engine and time, each engine and time once.

In: `RowBatch` values in order of file and line. Out: `BlockRows` and faults. Refuses nothing: of several rows of one engine and
time the first counts, and each of the others is a fault.

Rows are sorted by engine while they are few enough to stay in the processor's cache, and in the end the stretches of each engine
are copied one after the other. A log is mostly in order of time, so that only an engine whose rows are not is sorted by time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from intervals.faults import Fault
from intervals.readings.normalise import RowBatch
from intervals.readings.rows import BlockRows, Flags, Indexes, Instants
from intervals.site.model import Site
from intervals.site.sources import ReadingSource

Column = NDArray[Any]
Columns = dict[str, Column]
Order = NDArray[np.int64]
_SMALL_CODES = 1 << 15
_LARGE_BATCH_ROWS = 100_000
_RUN_ROWS = 400_000
_FEWEST_ROWS_A_COPY = 32
_COLUMNS = ("engine", "at_us", "file", "line")


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
        self._pending: list[RowBatch] = []
        self._pending_rows = 0
        self._runs: list[Columns] = []

    def add(self, batch: RowBatch) -> None:
        """Add a batch; the batches of one engine come in order of file and line."""
        if not len(batch.line):
            return
        if len(batch.line) >= _LARGE_BATCH_ROWS:
            self._close_run()
        self._pending.append(batch)
        self._pending_rows += len(batch.line)
        if self._pending_rows >= _RUN_ROWS or len(batch.line) >= _LARGE_BATCH_ROWS:
            self._close_run()

    def finish(self) -> tuple[BlockRows, list[Fault]]:
        """Return the rows of the block, and a fault for each row that repeats the engine and time of an earlier one.

        The collector is empty afterwards; memory is given back column by column.
        """
        self._close_run()
        columns = _placed(self._runs, (*_COLUMNS, *self._source.quantities))
        spans = list(_out_of_time(columns["engine"], columns["at_us"]))
        for name in columns if spans else ():
            columns[name] = _with_order(columns[name], spans)
        values = {name: columns[name] for name in self._source.quantities}
        engine, at_us = columns["engine"], columns["at_us"]
        rows = BlockRows(self._source, engine, at_us, columns["file"], columns["line"], values, self._files)
        repeats = np.flatnonzero((engine[1:] == engine[:-1]) & (at_us[1:] == at_us[:-1])) + 1
        return _without_repeats(self._site, rows, repeats) if len(repeats) else (rows, [])

    def _close_run(self) -> None:
        """Sort the pending rows by engine and keep them as one run."""
        batches, self._pending, self._pending_rows = self._pending, [], 0
        if not batches:
            return
        counts = [len(batch.line) for batch in batches]
        run: Columns = {
            "engine": _joined([batch.engine for batch in batches]),
            "at_us": _joined([batch.at_us for batch in batches]),
            "file": np.repeat(np.array([batch.file for batch in batches], dtype=np.int32), counts),
            "line": _joined([batch.line for batch in batches]),
        }
        for name in self._source.quantities:
            parts = [batch.values.get(name) for batch in batches]
            run[name] = _joined([np.full(count, np.nan) if part is None else part for part, count in zip(parts, counts, strict=True)])
        order = engine_order(run["engine"])
        self._runs.append(run if order is None else {name: column[order] for name, column in run.items()})


def _joined(parts: Sequence[Column]) -> Column:
    """Return arrays as one."""
    return parts[0] if len(parts) == 1 else np.concatenate(parts)


def engine_order(engine: Indexes) -> Order | None:
    """Return the stable order by engine, or None where the rows stand so already."""
    if bool(np.all(engine[1:] >= engine[:-1])):
        return None
    # numpy sorts 16-bit numbers by counting
    codes = engine.astype(np.int16) if engine.max() < _SMALL_CODES else engine
    return np.argsort(codes, kind="stable")


def _placed(runs: list[Columns], names: Sequence[str]) -> Columns:
    """Return the runs as one, sorted by engine; the runs lose their columns on the way, so that memory is given back."""
    if not runs:
        kinds = {"at_us": np.int64, "engine": np.int32, "file": np.int32, "line": np.int32}
        return {name: np.zeros(0, dtype=kinds.get(name, np.float64)) for name in names}
    if len(runs) == 1:
        return runs[0]
    copies = _copies([run["engine"] for run in runs])
    total = sum(len(run["engine"]) for run in runs)
    if len(copies) * _FEWEST_ROWS_A_COPY > total:
        order = engine_order(_joined([run["engine"] for run in runs]))
        joined = {name: _joined([run.pop(name) for run in runs]) for name in names}
        return joined if order is None else {name: column[order] for name, column in joined.items()}
    columns: Columns = {}
    for name in names:
        parts = [run.pop(name) for run in runs]
        column = np.empty(total, dtype=parts[0].dtype)
        for run, start, end, place in copies:
            column[place : place + end - start] = parts[run][start:end]
        columns[name] = column
    return columns


def _copies(engines: Sequence[Indexes]) -> list[tuple[int, int, int, int]]:
    """Return run, start, end and place in the whole of every stretch of one engine, in the order of the whole."""
    stretches: list[tuple[int, int, int, int]] = []
    for run, engine in enumerate(engines):
        edges = np.flatnonzero(engine[1:] != engine[:-1]) + 1
        starts = [0, *edges.tolist()]
        ends = [*starts[1:], len(engine)]
        stretches.extend((int(engine[start]), run, start, end) for start, end in zip(starts, ends, strict=True))
    stretches.sort()
    copies: list[tuple[int, int, int, int]] = []
    place = 0
    for _, run, start, end in stretches:
        copies.append((run, start, end, place))
        place += end - start
    return copies


def _out_of_time(engine: Indexes, at_us: Instants) -> Iterator[tuple[slice, Order]]:
    """Yield the rows of each engine that are not in order of time, and their stable order."""
    back = (engine[1:] == engine[:-1]) & (at_us[1:] < at_us[:-1])
    for code in np.unique(engine[1:][back]):
        start, end = np.searchsorted(engine, [code, code + 1])
        yield slice(int(start), int(end)), np.argsort(at_us[start:end], kind="stable")


def _with_order(column: Column, spans: Sequence[tuple[slice, Order]]) -> Column:
    """Return a column with some stretches put in order."""
    column = column.copy()
    for span, order in spans:
        column[span] = column[span][order]
    return column


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
