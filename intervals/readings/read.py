"""Files of any layout to accepted rows in canonical quantities and units, faults, and the count of rows.

In: a site. Out: `Readings`. Refuses (codes REA) what leaves nothing to judge, and what cannot be read without guessing: missing
files and columns, unclear dates and decimals; with the problems of all files at once.

Files are read one after the other, in pieces, of which the next one is parsed while the rows of the one before it are looked at; of
each piece only the accepted rows are kept, as arrays. So memory grows with the rows that are kept and not with the text they were
read from.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.figures import count_of
from intervals.problems import Problem, ReadingsProblemError, nearest_of
from intervals.readings.columns import Layout
from intervals.readings.day_order import DayOrders
from intervals.readings.merge import RowCollector
from intervals.readings.normalise import PieceReader
from intervals.readings.openlog import Stage, open_log
from intervals.readings.plan import UNKNOWN, BlockPlan, plan_blocks
from intervals.readings.readahead import read_ahead
from intervals.readings.refusals import refusal
from intervals.readings.rows import BlockRows, Readings
from intervals.readings.tables import LogFile, Piece, Wanted, is_empty
from intervals.site.log_files import log_files
from intervals.site.model import Site


class _OpenFile(NamedTuple):
    """A file of a block with what was found in its header; no layout for a file of nothing."""

    log: LogFile
    layout: Layout | None


def read_readings(site: Site, *, now_us: int | None) -> Readings:
    """Return the operating log of a site.

    Args:
        site: the site.
        now_us: the clock, UTC microseconds since 1970: later rows are set aside; None sets none aside.

    Returns:
        The accepted rows of each block, every fault with file and line, and the count of file rows. A file that two blocks read
        counts in each.

    Raises:
        ReadingsProblemError: with every problem that was found (REA001 to REA015).
    """
    plans = plan_blocks(site, now_us)
    names = [log_files(site.folder, plan.source) for plan in plans]
    files = tuple(sorted({name for of_block in names for name in of_block}))
    problems: list[Problem] = []
    opened = [_open_block(plan, of_block, problems) for plan, of_block in zip(plans, names, strict=True)]
    if problems:
        raise ReadingsProblemError(problems)
    blocks: list[BlockRows] = []
    faults: list[Fault] = []
    read = accepted = 0
    for plan, block in zip(plans, opened, strict=True):
        reader = _BlockReader(plan, block, files)
        rows, rows_read = reader.read(faults, problems)
        blocks.append(rows)
        read += rows_read
        accepted += _file_rows(rows, is_wide=reader.is_wide)
    if problems:
        raise ReadingsProblemError(problems)
    order = {name: index for index, name in enumerate(files)}
    faults.sort(key=lambda fault: (order.get(fault.file or "", 0), fault.line or 0))
    if accepted == 0:
        _refuse_nothing(site, read, faults, len(files))
    return Readings(tuple(blocks), faults, read, accepted, read - accepted, files)


def _open_block(plan: BlockPlan, names: list[str], problems: list[Problem]) -> list[_OpenFile]:
    """Open the files of a block and find its columns in each."""
    if not names:
        shown = ", ".join(plan.source.files)
        there = sorted(path.name for path in plan.site.folder.iterdir()) if plan.site.folder.is_dir() else []
        near = nearest_of(plan.source.files[0].split("/")[0], there)
        text = f"no file below {plan.site.folder} matches {shown}{near}"
        problems.append(Problem("REA001", plan.site.file, None, f"{plan.place}.files", text, "name the files of the operating log"))
    opened: list[_OpenFile] = []
    for name in names:
        try:
            log = open_log(plan.site.folder, name, Stage.READINGS, plan.how, plan.finder.score)
        except ReadingsProblemError as error:
            problems.extend(error.problems)
            continue
        layout = None
        if not is_empty(log.header):
            layout, found = plan.finder.find(log.header, name, log.header_line)
            problems.extend(found)
        opened.append(_OpenFile(log, layout))
    return opened


class _BlockReader:
    """Reads the files of one block."""

    def __init__(self, plan: BlockPlan, opened: list[_OpenFile], files: tuple[str, ...]) -> None:
        self._plan = plan
        self._opened = opened
        self._files = files
        self._index = {name: index for index, name in enumerate(files)}
        logs = {each.log.name: (each.log, (each.layout.stamps,)) for each in opened if each.layout is not None}
        self._orders = DayOrders(logs, plan.patterns, "REA007", f"{plan.place}.timestamp.format")
        self.is_wide = any(group.engine is not None for each in opened if each.layout for group in each.layout.groups)

    def read(self, faults: list[Fault], problems: list[Problem]) -> tuple[BlockRows, int]:
        """Return the rows of the block and the number of file rows; add its faults and problems."""
        collector = RowCollector(self._plan.site, self._plan.source, self._files)
        readers: dict[str, PieceReader] = {}
        rows_read: Counter[str] = Counter()
        unreadable: dict[str, ReadingsProblemError] = {}
        refused: dict[str, ReadingsProblemError] = {}
        for name, reader, piece in read_ahead(self._pieces(unreadable, refused)):
            if name in refused:
                continue
            readers[name] = reader
            rows_read[name] += len(piece) + len(piece.malformed)
            try:
                for batch in reader.read(piece):
                    collector.add(batch)
            except ReadingsProblemError as error:
                refused[name] = error
        for each in self._opened:
            # what is refused comes before what the pieces read ahead of it may have turned out to be
            found = refused.get(each.log.name) or unreadable.get(each.log.name)
            if found is not None:
                problems.extend(found.problems)
            else:
                faults.extend(_faults_of(each, readers.get(each.log.name), rows_read[each.log.name]))
        rows, repeats = collector.finish()
        faults.extend(repeats)
        return rows, rows_read.total()

    def _pieces(self, unreadable: dict[str, ReadingsProblemError], refused: Container[str]) -> Iterator[tuple[str, PieceReader, Piece]]:
        """Yield the pieces of all files that can be read, each with its file's name and reader; add what makes the others unreadable."""
        for each in self._opened:
            log, layout = each.log, each.layout
            if layout is None:
                continue
            try:
                reader = self._piece_reader(log, layout)
                wanted = Wanted(
                    stamps=layout.stamps,
                    names=() if layout.engine is None else (layout.engine,),
                    figures=layout.figures,
                    is_iso=not self._plan.is_format_stated,
                    marks=reader.marks,
                )
                for piece in log.pieces(wanted):
                    yield log.name, reader, piece
                    if log.name in refused:
                        break
            except ReadingsProblemError as error:
                unreadable[log.name] = error

    def _piece_reader(self, log: LogFile, layout: Layout) -> PieceReader:
        """Return what turns the pieces of a file into rows."""
        marks = log.marks(layout.figures)
        if marks is None:
            text = "its figures have commas that may stand before decimals or part thousands"
            raise refusal(log.name, "REA008", text, fix=f'state {self._plan.place}.csv.decimal: "," or "."')
        name = self._fixed_name(log)
        return PieceReader(
            plan=self._plan,
            layout=layout,
            file=self._index[log.name],
            name=log.name,
            orders=self._orders,
            marks=marks,
            fixed_engine=UNKNOWN if name is None else self._plan.names.index(name),
            fixed_name=name or "",
            header=log.header,
        )

    def _fixed_name(self, log: LogFile) -> str | None:
        """Return the engine of all rows of a file as it is written, or None if the rows say it."""
        engine = self._plan.source.engine
        if engine is None or engine.column is not None:
            return None
        if engine.value is not None:
            return engine.value
        pattern = engine.from_file_name or ""
        match = re.search(pattern, Path(log.name).name)
        if match is None or match[1] is None:
            text = f"{self._plan.place}.engine.from_file_name, {pattern}, finds no engine in the file's name"
            raise refusal(log.name, "REA009", text, fix="rename the file, or leave it out of files")
        return match[1]


def _faults_of(each: _OpenFile, reader: PieceReader | None, rows_read: int) -> Iterator[Fault]:
    """Yield what is wrong in one file."""
    log = each.log
    for name in each.layout.strangers if each.layout is not None else ():
        yield Fault(None, "stray_column", log.name, log.header_line, None, f'the column "{name}" is of no engine that is declared')
    if reader is not None:
        yield from reader.faults
    if rows_read == 0:
        yield Fault(None, "empty_file", log.name, None, None, "the file holds no rows")


def _file_rows(rows: BlockRows, *, is_wide: bool) -> int:
    """Return the number of file rows of which something is kept."""
    if not is_wide:
        return len(rows)
    return len(np.unique(rows.file.astype(np.int64) << 32 | rows.line.astype(np.int64)))


def _refuse_nothing(site: Site, read: int, faults: list[Fault], files: int) -> None:
    """Refuse a log of which no row is accepted, saying what was wrong with most of them."""
    text = f"no row of the operating log is accepted: {count_of(read, 'row')} in {count_of(files, 'file')}"
    fix = None
    if faults:
        kind, count = Counter(fault.kind for fault in faults).most_common(1)[0]
        example = next(fault for fault in faults if fault.kind == kind)
        text += f"; {count_of(count, 'time')} {kind}"
        fix = f"the first: {example.file}:{example.line}: {example.text}" if example.line else f"the first: {example.file}: {example.text}"
    raise refusal(site.file, "REA014", text, path="$.readings", fix=fix)
