"""The files of one `readings` block, opened, with what was found in their headers.

In: a block's plan and the names of its files. Out: `BlockFile` values, in order. Refuses nothing by itself: what stands against a file
is kept with it, so that the other files can still be read and everything be reported at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from intervals.addresses import is_address
from intervals.faults import Fault
from intervals.language.scalars import shown_value
from intervals.problems import Problem, ReadingsProblemError, nearest_of
from intervals.readings.files.log_file import LogFile, is_empty
from intervals.readings.files.open_log import Stage, open_log
from intervals.readings.found_columns import Group, Layout
from intervals.readings.plan import BlockPlan
from intervals.readings.times.day_order import DayOrders
from intervals.readings.times.times_seen import TimesSeen
from intervals.site.sources import TEMPORARY

_MOST_ENTRIES_SHOWN = 5
_MISSING = "REA003"


@dataclass
class BlockFile:
    """A file of a block.

    Attributes:
        name: its path below the site folder, or its address.
        log: the file, None where it cannot be opened.
        layout: where its columns are; None for a file of nothing, or one whose header is not sound.
        stamps: places of its times, none where they are not there; such a file may still show the order of day and month.
        problems: what refuses it before its rows are looked at.
        refused: what of its rows refuses it; the rest of them is passed over.
        unreadable: what kept its rows from being read to the end.
        seen: says whether it has times at all, None where its rows are not read.
        faults: what of its rows is set aside or blanked.
        rows_read: number of its rows.
    """

    name: str
    log: LogFile | None = None
    layout: Layout | None = None
    stamps: tuple[int, ...] = ()
    problems: list[Problem] = field(default_factory=list)
    refused: list[Problem] = field(default_factory=list)
    unreadable: list[Problem] = field(default_factory=list)
    seen: TimesSeen | None = None
    faults: list[Fault] = field(default_factory=list)
    rows_read: int = 0

    @property
    def is_wide(self) -> bool:
        """Whether it has columns of several engines."""
        return self.layout is not None and any(group.engine is not None for group in self.layout.groups)

    @property
    def all_problems(self) -> list[Problem]:
        """All that stands against the file; what is refused comes before what the chunks read ahead of it may have turned out to be."""
        at_end = self.seen.at_end() if self.seen is not None else []
        return [*self.problems, *(self.refused or self.unreadable or at_end)]

    @property
    def all_faults(self) -> list[Fault]:
        """All that is wrong in the file and does not refuse it."""
        return all_faults_of(self.name, self.header_faults, self.faults, self.rows_read)

    @property
    def header_faults(self) -> list[Fault]:
        """What is wrong in its header."""
        if self.log is None or self.layout is None:
            return []
        line = self.log.header_line
        texts = (f'the column "{name}" belongs to no engine that is declared' for name in self.layout.strangers)
        return [Fault(None, "stray_column", self.name, line, None, text) for text in texts]


def all_faults_of(name: str, of_header: Sequence[Fault], of_rows: Sequence[Fault], rows_read: int) -> list[Fault]:
    """Return all that is wrong in a file: in its header, in its rows, and that it holds none."""
    empty = [Fault(None, "empty_file", name, None, None, "the file holds no rows")] if rows_read == 0 else []
    return [*of_header, *of_rows, *empty]


def open_block_files(plan: BlockPlan, names: Iterable[str], row_groups: tuple[int, int] | None = None) -> list[BlockFile]:
    """Return the files of a block, opened, its columns found in each; of Parquet files, if wished, only some row groups."""
    return [_open_file(plan, name, row_groups) for name in names]


def _open_file(plan: BlockPlan, name: str, row_groups: tuple[int, int] | None) -> BlockFile:
    """Return a file, opened, with its columns."""
    opened = BlockFile(name)
    try:
        opened.log = open_log(plan.site.folder, name, Stage.READINGS, plan.how, plan.finder.score, row_groups)
    except ReadingsProblemError as error:
        opened.problems.extend(error.problems)
        return opened
    if not is_empty(opened.log.header):
        opened.layout, found = plan.finder.find(opened.log.header, name, opened.log.header_line)
        opened.problems.extend(found)
        opened.stamps = plan.finder.find_stamps(opened.log.header)
    return opened


def tell_missing_once(plan: BlockPlan, files: Sequence[BlockFile]) -> None:
    """Let one problem of the first file stand for all files that lack the same columns, and say of how many."""
    lacking: dict[tuple[str, ...], list[BlockFile]] = {}
    for each in files:
        if each.log is not None and any(problem.code == _MISSING for problem in each.problems):
            lacking.setdefault(plan.finder.lacking(each.log.header), []).append(each)
    for of_files in lacking.values():
        first = of_files[0]
        if len(of_files) == 1 or first.log is None:
            continue
        where = f" in any of {len(files):,} files" if len(of_files) == len(files) else f" in {len(of_files):,} of {len(files):,} files"
        replacing = plan.finder.missing_in(first.log.header, first.name, first.log.header_line, where)
        first.problems = [replacing if problem.code == _MISSING else problem for problem in first.problems]
        for other in of_files[1:]:
            other.problems = [problem for problem in other.problems if problem.code != _MISSING]


def missing_files(plan: BlockPlan) -> Problem:
    """Return the problem of a block whose patterns no file matches (REA001)."""
    shown = ", ".join(plan.source.files)
    hints = dict.fromkeys(_hint_of(plan.site.folder, pattern) for pattern in plan.source.files if not is_address(pattern))
    where = "" if all(map(is_address, plan.source.files)) else f" below {plan.site.folder}"
    text = f"no file{where} matches {shown}{''.join(hints)}"
    return Problem(
        "REA001", plan.site.file, None, f"{plan.place}.files", text, "put the operating log there, or name its files as they are called"
    )


def _hint_of(folder: Path, pattern: str) -> str:
    """Return what a person may have meant by a pattern that no file matches: what is nearest, or what the folder holds that it names."""
    *folders, last = [part for part in pattern.split("/") if part not in ("", ".")]
    inner = folder
    for part in folders:
        if not (inner / part).is_dir():
            break
        inner /= part
    else:
        part = last
    there = _entries_of(inner)
    near = "" if "*" in part and inner != folder else nearest_of(part, [name.rstrip("/") for name in there])
    if near or inner == folder:
        return near
    name = f"{inner.relative_to(folder).as_posix()}/"
    shown = ", ".join(map(shown_value, there[:_MOST_ENTRIES_SHOWN]))
    more = f" and {len(there) - _MOST_ENTRIES_SHOWN} more" if len(there) > _MOST_ENTRIES_SHOWN else ""
    return f"; {name} is there and holds no such file" + (f", only {shown}{more}" if there else "")


def _entries_of(folder: Path) -> list[str]:
    """Return the names of what a folder holds, in order, folders with a slash; nothing where it cannot be looked into."""
    try:
        return sorted(path.name + "/" * path.is_dir() for path in folder.iterdir() if not path.name.startswith(TEMPORARY))
    except OSError:
        return []


def day_orders_of(plan: BlockPlan, files: Iterable[BlockFile]) -> DayOrders:
    """Return what decides the order of day and month in the files of a block."""
    logs = {each.name: (each.log, (each.stamps,)) for each in files if each.log is not None and each.stamps}
    return DayOrders(logs, plan.patterns, "REA007", f"{plan.place}.timestamp.format")


def times_alone(layout: Layout) -> Layout:
    """Return where a file has its times and nothing else: of a file that is refused, they are still looked at."""
    return Layout(stamps=layout.stamps, engine=None, groups=(Group(None, {}, ()),))
