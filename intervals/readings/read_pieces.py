"""Pieces of a log, each read by itself: what the workers of a cluster do.

In: a site, some files of one block, or some row groups of one. Out: `PieceRows`: accepted rows, and what is told of them; and the rows of
some engines of all pieces, put together (`ShareRows`). A piece that cannot be understood by itself, or a file that is not what it was
when it was first looked at, says so in `needs`.

Everything here depends on its arguments and on the files alone, so that what a worker took with it can be worked out anew by another.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.addresses import FileState, files_at, is_address
from intervals.cluster import other_versions
from intervals.faults import Fault
from intervals.problems import ReadingsProblemError
from intervals.readings.block_parts import Part, PartedRows
from intervals.readings.files.log_file import NotAloneError
from intervals.readings.merge import RowCollector
from intervals.readings.named_files import changed_file
from intervals.readings.plan import BlockPlan, plan_blocks
from intervals.readings.read import BlockReader, file_rows
from intervals.readings.rows import BlockRows
from intervals.readings.spill_file import SpillFile
from intervals.site.model import Site
from intervals.version import __version__

Needs = Literal["nothing", "file", "site"]
"""What a piece cannot do without: the whole of its file, or all files of the site, as this machine reads them."""
Counts = NDArray[np.int64]


class Log(NamedTuple):
    """The log that pieces are of.

    Attributes:
        site: the site.
        folder: its folder, as every machine names it.
        now_us: the clock, as for `read_readings`.
        files: every file, in order.
        version: of the program that asks.
    """

    site: Site
    folder: Path
    now_us: int | None
    files: tuple[str, ...]
    version: str = __version__

    def plans(self) -> tuple[BlockPlan, ...]:
        """Return the plans of its blocks."""
        return plan_blocks(self.site.at(self.folder), self.now_us, [])


class Piece(NamedTuple):
    """What one worker reads in one go.

    Attributes:
        block: which block of the site.
        names: files of it that follow one another.
        states: what each looks like.
        row_groups: of the only file only these; None: all.
    """

    block: int
    names: tuple[str, ...]
    states: tuple[FileState, ...]
    row_groups: tuple[int, int] | None = None


class FileTold(NamedTuple):
    """What is told of a file, or of a part of it: what is wrong in its header and in its rows, and how many there are."""

    of_header: list[Fault]
    of_rows: list[Fault]
    rows_read: int


class PieceTold(NamedTuple):
    """What is told of a piece.

    Attributes:
        needs: what it cannot do without; if not nothing, nothing else is told.
        files: of each of its files.
        counts: how many rows each engine of the site has.
        accepted: how many file rows they are of.
        counts_once: each file row stands for one engine.
        changed: files that are not what they were.
    """

    needs: Needs
    files: tuple[FileTold, ...] = ()
    counts: Counts = np.zeros(0, dtype=np.int64)
    accepted: int = 0
    counts_once: bool = True
    changed: tuple[str, ...] = ()


class PieceRows(NamedTuple):
    """The rows of a piece, as they came, and what is told of it."""

    parts: tuple[Part, ...]
    told: PieceTold


class ShareTold(NamedTuple):
    """What is told of some engines' rows: of each block the rows by engine, the first and last instant, and what rows repeat others."""

    counts: tuple[Counts, ...]
    span_us: tuple[tuple[int, int] | None, ...]
    repeats: tuple[list[Fault], ...]


class ShareRows(NamedTuple):
    """All rows of some engines, of each block, and what is told of them."""

    blocks: tuple[PartedRows, ...]
    told: ShareTold


def state_of(folder: Path, name: str) -> FileState | None:
    """Return what a file looks like from here; None where it is not to be seen."""
    try:
        if is_address(name):
            return files_at(name).get(name)
        found = (folder / name).stat()
    except OSError:
        return None
    return FileState(found.st_size, found.st_mtime_ns)


def states_of(folder: Path, names: Sequence[str]) -> list[FileState | None]:
    """Return what some files look like from here."""
    return [state_of(folder, name) for name in names]


def read_piece(log: Log, piece: Piece) -> PieceRows:
    """Return the rows of a piece.

    Raises:
        RequestProblemError: who asks has another version of the program.
    """
    if log.version != __version__:
        # this worker came after all had been asked for their versions
        where = "a worker"
        raise other_versions(where, [__version__], log.version)
    before = _changed(log, piece)
    try:
        rows = PieceRows((), PieceTold("site")) if before else _read(log, piece)
    except NotAloneError:
        rows = PieceRows((), PieceTold("site" if piece.row_groups is None else "file"))
    except OSError:
        # whoever asks reads it too, and says what is wrong with it
        rows = PieceRows((), PieceTold("site"))
    changed = before or _changed(log, piece)
    return PieceRows((), PieceTold("site", changed=changed)) if changed else rows


def _changed(log: Log, piece: Piece) -> tuple[str, ...]:
    """Return the files of a piece that are not what they were."""
    pairs = zip(piece.names, piece.states, strict=True)
    return tuple(name for name, state in pairs if state_of(log.folder, name) != state)


def _read(log: Log, piece: Piece) -> PieceRows:
    """Return the rows of files that are what they were."""
    plan = log.plans()[piece.block]
    reader = BlockReader(plan, piece.names, log.files, row_groups=piece.row_groups)
    collector = RowCollector(plan.site, plan.source, log.files, SpillFile())
    opened = reader.read_alone(collector)
    parts = tuple(collector.take_parts())
    rows = PartedRows(parts)
    counts = np.zeros(len(log.site.engines), dtype=np.int64)
    counts[: len(rows.counts)] = rows.counts
    accepted = file_rows(BlockRows(plan.source, rows, ()), counts_once=reader.counts_once)
    files = tuple(FileTold(each.header_faults, each.faults, each.rows_read) for each in opened)
    return PieceRows(parts, PieceTold("nothing", files, counts, accepted, reader.counts_once))


def told_of_piece(rows: PieceRows) -> PieceTold:
    """Return what is told of a piece."""
    return rows.told


def rows_between(rows: PieceRows, piece: Piece, low: int, high: int) -> tuple[Part, ...]:
    """Return the rows of a piece of the engines from one index on up to another.

    Raises:
        ReadingsProblemError: the piece had to be read once more, and its files are no longer what they were (REA017).
    """
    if rows.told.needs != "nothing":
        raise ReadingsProblemError([changed_file(name) for name in rows.told.changed or piece.names])
    found = (part.between(low, high) for part in rows.parts)
    return tuple(part for part in found if part is not None)


def joined(some: Sequence[tuple[Part, ...]]) -> tuple[Part, ...]:
    """Return the rows of several pieces that follow one another."""
    return tuple(part for parts in some for part in parts)


def merge_share(log: Log, blocks: Sequence[int], some: Sequence[tuple[Part, ...]]) -> ShareRows:
    """Return all rows of some engines.

    Args:
        log: the log.
        blocks: of which block the rows of each piece are.
        some: these engines' rows of each piece, in order.
    """
    rows: list[PartedRows] = []
    repeats: list[list[Fault]] = []
    for number, source in enumerate(log.site.readings):
        spill_file = SpillFile()
        collector = RowCollector(log.site, source, log.files, spill_file)
        for part in joined([parts for block, parts in zip(blocks, some, strict=True) if block == number]):
            collector.add_part(part._replace(columns=spill_file.keep(part.columns)))
        of_block, faults = collector.finish()
        rows.append(of_block.rows)
        repeats.append(faults)
    spans = tuple(each.span_us if each.parts else None for each in rows)
    return ShareRows(tuple(rows), ShareTold(tuple(each.counts for each in rows), spans, tuple(repeats)))


def told_of_share(share: ShareRows) -> ShareTold:
    """Return what is told of some engines' rows."""
    return share.told
