"""Files of any layout to accepted rows in canonical quantities and units, faults, and the count of rows.

In: a site. Out: `Readings`. Refuses (codes REA) what leaves nothing to judge, and what cannot be read without guessing: missing
files and columns, unclear dates and decimals; with the problems of all files at once: a file that is refused does not keep the
others from being read.

What was read of a file before, and is kept in the user's cache (`kept_files.py`), is not read again. The other files are read one after
the other, in chunks, of which the next one is parsed while the rows of the one before it are looked at; of each chunk only the accepted
rows are kept, as arrays. So memory grows with the rows that are kept and not with the text they were read from.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from intervals.faults import Fault
from intervals.problems import Problem, ReadingsProblemError
from intervals.readings.block_files import BlockFile, day_orders_of, missing_files, open_block_files, tell_missing_once, times_alone
from intervals.readings.files.log_file import POINT, Chunk, LogFile, NotAloneError, Wanted
from intervals.readings.files.prefetch import prefetch
from intervals.readings.found_columns import Layout
from intervals.readings.kept_files import KeptBlock, KeptFile
from intervals.readings.kept_log import KeptLog
from intervals.readings.merge import RowCollector
from intervals.readings.named_files import find_named_files
from intervals.readings.normalise import ChunkReader, RowBatch
from intervals.readings.plan import BlockPlan, Engines, plan_blocks
from intervals.readings.refusals import refusal
from intervals.readings.rows import BlockRows, Readings
from intervals.readings.spelling import composed_name
from intervals.readings.spill_file import SpillFile
from intervals.readings.times.day_order import DayOrders, OrdersAlone
from intervals.readings.times.times_seen import TimesSeen
from intervals.shown_numbers import count_of
from intervals.site.model import Site


def read_readings(site: Site, *, now_us: int | None, may_look_later: bool = False) -> Readings:
    """Return the operating log of a site.

    Args:
        site: the site.
        now_us: the clock, UTC microseconds since 1970: later rows are set aside; None sets none aside.
        may_look_later: rows that are kept from an earlier run need not be held against their digests: whoever asks for them calls
            `Readings.confirmed` first.

    Returns:
        The accepted rows of each block, every fault with file and line, and the count of file rows. A file that two blocks read
        counts in each.

    Raises:
        ReadingsProblemError: with every problem that was found (REA001 to REA017).
    """
    problems: list[Problem] = []
    plans = plan_blocks(site, now_us, problems)
    named = find_named_files(plans)
    problems += named.problems
    files = named.all_names
    kept = KeptLog.of(site, files)
    blocks: list[BlockRows] = []
    faults: list[Fault] = []
    read = accepted = 0
    spill_file = SpillFile()
    for plan, of_block in zip(plans, named.by_block, strict=True):
        of_kept = None if kept is None else kept.block(plan, of_block)
        reader = BlockReader(plan, of_block, files, of_kept)
        rows, rows_read = reader.read(faults, problems, spill_file)
        blocks.append(rows)
        read += rows_read
        accepted += file_rows(rows, counts_once=reader.counts_once)
    problems += named.changed(plans)
    if problems:
        # two blocks may have found the same in one file
        raise ReadingsProblemError(dict.fromkeys(problems))
    sort_faults(faults, files)
    if accepted == 0:
        _refuse_nothing(site, read, faults, len(files))
    readings = Readings(tuple(blocks), faults, read, accepted, read - accepted, files)
    if kept is None:
        return readings
    kept.end()
    readings = replace(readings, digests=kept.engine_digests())
    look_again = replace(readings, look_again=lambda engines: None if kept.are_rows_whole(engines) else read_readings(site, now_us=now_us))
    return look_again if may_look_later else look_again.confirmed()


def sort_faults(faults: list[Fault], files: Sequence[str]) -> None:
    """Put faults of a log in order of file and line."""
    order = {name: index for index, name in enumerate(files)}
    faults.sort(key=lambda fault: (order.get(fault.file or "", 0), fault.line or 0))


class BlockReader:
    """Reads the files of one block, or some of them.

    Args:
        plan: the block's plan.
        names: its files.
        files: those of all blocks.
        kept: what was read of them before, and keeps what is read now; None: nothing is kept.
        row_groups: of a Parquet file only these are read.
    """

    def __init__(
        self,
        plan: BlockPlan,
        names: Sequence[str],
        files: tuple[str, ...],
        kept: KeptBlock | None = None,
        row_groups: tuple[int, int] | None = None,
    ) -> None:
        self._plan = plan
        self._kept = kept
        self._is_part = row_groups is not None
        self._files = files
        self._index = {name: index for index, name in enumerate(files)}
        known = {} if kept is None else kept.files
        # where all files are known none is opened; else each may show the order of day and month to the others
        self._opened = [] if len(known) == len(names) else open_block_files(plan, names, row_groups)
        tell_missing_once(plan, self._opened)
        self._each: list[BlockFile | KeptFile] = [known.get(each.name, each) for each in self._opened] or [*known.values()]
        self._orders: DayOrders = day_orders_of(plan, self._opened)
        is_wide = any(each.is_wide for each in self._each)
        stated = plan.source.engine.value if plan.source.engine is not None else None
        self.counts_once = not is_wide and not plan.names.of_several and len(plan.names.stated(stated)) <= 1

    def read(self, faults: list[Fault], problems: list[Problem], spill_file: SpillFile) -> tuple[BlockRows, int]:
        """Return the rows of the block, kept in memory or in the spill file, and the number of file rows; add its faults and problems."""
        collector = RowCollector(self._plan.site, self._plan.source, self._files, spill_file)
        self.collect(collector)
        if self._kept is not None and (collector.has_odd or not self.counts_once) and not self._kept.are_rows_whole(None):
            again = self._kept.looked_up_again()
            return BlockReader(self._plan, again.names, self._files, again).read(faults, problems, spill_file)
        if not self._each and not any(problem.path == f"{self._plan.place}.files" for problem in problems):
            problems.append(missing_files(self._plan))
        for each in self._each:
            found = [] if isinstance(each, KeptFile) else each.all_problems
            problems.extend(found)
            faults.extend(() if found else each.all_faults)
        rows, repeats = collector.finish()
        faults.extend(repeats)
        return rows, sum(each.rows_read for each in self._each)

    def collect(self, collector: RowCollector) -> None:
        """Add the accepted rows of the files to others."""
        for each, batches in prefetch(self._batches()):
            self._put(collector, each, batches)

    def read_alone(self, collector: RowCollector) -> Sequence[BlockFile]:
        """Add the rows of the files to others, and return the files, where nothing but themselves is needed to understand them.

        Raises:
            NotAloneError: a file is refused, or the rest of it or other files must show how it reads.
        """
        orders = ({each.name: (each.log, (each.stamps,)) for each in self._opened if each.log is not None and each.stamps},)
        self._orders = OrdersAlone(*orders, self._plan.patterns, "REA007", f"{self._plan.place}.timestamp.format", is_part=self._is_part)
        self.collect(collector)
        for each in self._opened:
            # a part in which no row has a time may be one of a file that has times, or not
            is_unclear = self._is_part and each.rows_read > 0 and each.seen is not None and not each.seen.has_times
            if each.all_problems or is_unclear:
                raise NotAloneError
        return self._opened

    def _put(self, collector: RowCollector, each: BlockFile | KeptFile, batches: list[RowBatch] | None) -> None:
        """Put the next rows of a file to the others, and keep them for the next run; None stands for the end of the file."""
        if isinstance(each, KeptFile):
            for kept in each.parts:
                collector.add_part(kept.part._replace(same=collector.same_in(self._index[each.name])), kept.times)
            return
        for batch in batches or ():
            added = collector.add(batch)
            if added is not None and self._kept is not None:
                self._kept.add(each.name, *added)
        if batches is None and self._kept is not None:
            self._kept.finish(each, asks_others=self._asks_others(each))

    def _asks_others(self, each: BlockFile) -> bool:
        """Tell whether the other files of the block helped to read a file."""
        return each.name in self._orders.asked or any(fault.kind == "unknown_engine" and fault.spelled is not None for fault in each.faults)

    def _batches(self) -> Iterator[tuple[BlockFile | KeptFile, list[RowBatch] | None]]:
        """Yield the accepted rows of each chunk of the files that are not refused, and none at a file's end."""
        for each, reader, chunk in prefetch(self._chunks()):
            if isinstance(each, KeptFile) or reader is None or chunk is None:
                yield each, None
                continue
            if each.refused:
                continue
            each.rows_read += len(chunk) + len(chunk.malformed)
            try:
                of_chunk = reader.read(chunk)
            except ReadingsProblemError as error:
                each.refused.extend(error.problems)
            else:
                if not each.problems:
                    yield each, of_chunk

    def _chunks(self) -> Iterator[tuple[BlockFile | KeptFile, ChunkReader | None, Chunk | None]]:
        """Yield the chunks of all files that can be read, each with its file and reader; neither at a file's end."""
        for each in self._each:
            if isinstance(each, KeptFile):
                yield each, None, None
                continue
            if each.log is None or each.layout is None:
                continue
            reader = self._chunk_reader(each, each.log, each.layout)
            layout = reader.layout
            wanted = Wanted(
                stamps=layout.stamps,
                names=() if layout.engine is None else (layout.engine,),
                figures=layout.figures,
                is_iso=not self._plan.is_format_stated,
                marks=reader.marks,
            )
            try:
                for chunk in each.log.chunks(wanted) if self._plan.patterns else ():
                    yield each, reader, chunk
                    if each.refused:
                        break
            except ReadingsProblemError as error:
                each.unreadable.extend(error.problems)
            yield each, None, None

    def _chunk_reader(self, each: BlockFile, log: LogFile, layout: Layout) -> ChunkReader:
        """Return what turns the chunks of a file into rows; where they look alike, what reads its times alone."""
        marks = log.marks(layout.figures)
        if marks is None:
            text = "its figures have commas that may mark decimals or separate thousands"
            fix = f'state {self._plan.place}.csv.decimal: "," or "."'
            each.problems.append(Problem("REA008", each.name, None, None, text, fix))
        name = self._fixed_name(each)
        is_refused = bool(each.problems)
        each.seen = TimesSeen(each.name, [log.header[place] for place in layout.stamps], f"{self._plan.place}.timestamp.format")
        return ChunkReader(
            plan=self._plan,
            layout=times_alone(layout) if is_refused else layout,
            file=self._index[each.name],
            name=each.name,
            orders=self._orders,
            marks=marks or POINT,
            # any engine, whose rows are not kept
            fixed_engines=(0,) if is_refused else self._fixed_engines(name),
            fixed_name=name,
            header=log.header,
            seen=each.seen,
            is_part=self._is_part,
            faults=each.faults,
        )

    def _fixed_engines(self, name: str) -> Engines:
        """Return the engines of all rows of a file: those that the site states, or what its name says."""
        engine = self._plan.source.engine
        is_stated = engine is not None and engine.value is not None
        return self._plan.names.stated(engine.value) if engine is not None and is_stated else self._plan.names.indexes(name)

    def _fixed_name(self, each: BlockFile) -> str:
        """Return the engine of all rows of a file as it is written; where its name does not say it, nothing and a problem."""
        engine = self._plan.source.engine
        if engine is None or engine.column is not None:
            return ""
        if engine.value is not None:
            return engine.value if isinstance(engine.value, str) else ", ".join(engine.value)
        pattern, name = engine.from_file_name or "", Path(each.name).name
        # some systems keep the letters of file names in parts
        match = re.search(pattern, name) or re.search(composed_name(pattern), composed_name(name))
        if match is None or match[1] is None:
            text = f"{self._plan.place}.engine.from_file_name, {pattern}, finds no engine in the file's name"
            each.problems.append(Problem("REA009", each.name, None, None, text, "rename the file, or leave it out of files"))
            return ""
        return match[1]


def file_rows(rows: BlockRows, *, counts_once: bool) -> int:
    """Return the number of file rows of which something is kept; whether each counts for one engine alone is known."""
    if counts_once:
        return len(rows)
    if not len(rows):
        return 0
    # np.unique would do, and loads numpy.ma, which takes longer than a small log
    of_engines = [rows.lines_of(engine) for engine in np.flatnonzero(rows.rows.counts).tolist()]
    places = np.sort(np.concatenate([file.astype(np.int64) << 32 | line for file, line in of_engines]))
    return 1 + int(np.count_nonzero(places[1:] != places[:-1]))


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
