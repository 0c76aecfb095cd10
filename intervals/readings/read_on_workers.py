"""The log of a site, read by the workers of a cluster from storage that they see as this machine does.

In: a site and the workers. Out: `Readings` whose rows stay with the workers (`WorkerRows`), or nothing, where the workers do not see the
files or not all of the log can be understood piece by piece: then this machine reads, as it would without them. Refuses a file that
changed while it was read (REA017).

Pieces of files are read, each by one worker. The rows of each piece are cut by engine, and the cuts are put together as a tree, so that
each share of the engines lies with one worker. This process and the scheduler see counts and faults, and no rows.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from intervals.cluster import Placed, Workers
from intervals.faults import Fault
from intervals.problems import Problem, ReadingsProblemError
from intervals.readings.block_files import all_faults_of
from intervals.readings.block_parts import PartedRows, Stretch
from intervals.readings.cut_pieces import cut_pieces
from intervals.readings.named_files import changed_file, find_named_files
from intervals.readings.plan import MOST_NEAREST, plan_blocks
from intervals.readings.read import sort_faults
from intervals.readings.read_pieces import (
    Counts,
    FileTold,
    Log,
    Piece,
    PieceTold,
    ShareRows,
    ShareTold,
    joined,
    merge_share,
    read_piece,
    rows_between,
    state_of,
    states_of,
    told_of_piece,
    told_of_share,
)  # fmt: skip
from intervals.readings.rows import BlockRows, Readings
from intervals.site.model import Site

MOST_SHARES = 64
FEWEST_ROWS_A_SHARE = 150_000
FAN_IN = 16
"""So many cuts are put together in one go."""


class WorkerRows(PartedRows):
    """Rows of one block that lie with the workers; those of an engine are fetched when they are asked for.

    Args:
        workers: who has them.
        block: which block of the site.
        shares: the rows of all blocks, by engine.
        firsts: the first engine of each share, rising.
        told: of each share.
        engines: how many engines the site has.
    """

    def __init__(  # noqa: PLR0913 - where the rows are, and what is known of them
        self, workers: Workers, block: int, shares: Sequence[Placed], firsts: Sequence[int], told: Sequence[ShareTold], engines: int
    ) -> None:
        super().__init__([])
        self.shares = tuple(shares)
        self._workers = workers
        self._block = block
        self._firsts = tuple(firsts)
        counts = np.zeros(engines, dtype=np.int64)
        for each in told:
            counts[: len(each.counts[block])] += each.counts[block]
        # as far as the last engine that has any
        self.counts = counts[: int(np.max(np.flatnonzero(counts), initial=-1)) + 1]
        spans = [span for each in told if (span := each.span_us[block]) is not None]
        self.span_us = (min((span[0] for span in spans), default=0), max((span[1] for span in spans), default=0))
        self._fetched: tuple[int, ShareRows] | None = None

    def share_of(self, engine: int) -> int:
        """Return which share has the rows of an engine, given by its index."""
        return bisect_right(self._firsts, engine) - 1

    def of_engine(self, engine: int) -> list[Stretch]:
        """Return the rows of an engine, given by its index."""
        if engine >= len(self.counts) or not self.counts[engine]:
            return []
        which = self.share_of(engine)
        if self._fetched is None or self._fetched[0] != which:
            self._fetched = which, self._workers.result(self.shares[which])
        return self._fetched[1].blocks[self._block].of_engine(engine)


def read_on_workers(site: Site, workers: Workers, *, now_us: int | None) -> Readings | None:
    """Return the operating log of a site, its rows with the workers; None where this machine must read it.

    Args:
        site: the site.
        workers: who reads.
        now_us: the clock, as for `read_readings`.

    Raises:
        ReadingsProblemError: a file changed while it was read (REA017).
        RequestProblemError: the workers were lost.
    """
    problems: list[Problem] = []
    plans = plan_blocks(site, now_us, problems)
    named = find_named_files(plans)
    folder = site.folder.resolve()
    states = dict(zip(named.all_names, states_of(folder, named.all_names), strict=True))
    if problems or named.problems or not all(named.by_block) or None in states.values():
        return None
    if any(seen != list(states.values()) for seen in workers.on_each(states_of, folder, named.all_names)):
        return None
    pieces = cut_pieces(folder, named.by_block, {name: state for name, state in states.items() if state is not None})
    if pieces is None:
        return None
    log = Log(site, folder, now_us, named.all_names)
    return _Reading(workers, log, workers.begin(_same, log)).read(pieces)


def _same(log: Log) -> Log:
    """Return what all pieces share."""
    return log


class _Done(NamedTuple):
    """A piece that was read: what it is of, where its rows are, what is told of it."""

    piece: Piece
    rows: Placed
    told: PieceTold


class _Reading:
    """One log on its way through the workers."""

    def __init__(self, workers: Workers, log: Log, placed: Placed) -> None:
        self._workers = workers
        self._log = log
        self._placed = placed

    def read(self, pieces: Sequence[Piece]) -> Readings | None:
        """Return the readings, or None where the log must be read as a whole."""
        done = self._read_pieces(pieces)
        if done is None or _names_too_many(done):
            return None
        firsts = _firsts_of(sum((each.told.counts for each in done), np.zeros(len(self._log.site.engines), dtype=np.int64)))
        shares = self._merge(done, firsts)
        told = [self._workers.result(self._workers.begin(told_of_share, share)) for share in shares]
        blocks, faults, accepted = [], [], 0
        for block, source in enumerate(self._log.site.readings):
            of_block = [each for each in done if each.piece.block == block]
            repeats = [fault for each in told for fault in each.repeats[block]]
            counts_once = all(each.told.counts_once for each in of_block)
            if repeats and not counts_once:
                # which file rows are left is not to be counted piece by piece
                return None
            rows = WorkerRows(self._workers, block, shares, firsts, told, len(self._log.site.engines))
            accepted += int(rows.counts.sum()) if counts_once else sum(each.told.accepted for each in of_block)
            faults += [*_faults_of_files(of_block), *repeats]
            blocks.append(BlockRows(source, rows, tuple(source.quantities), self._log.files))
        if not accepted:
            return None
        sort_faults(faults, self._log.files)
        read = sum(file.rows_read for each in done for file in each.told.files)
        return Readings(tuple(blocks), faults, read, accepted, read - accepted, self._log.files)

    def _read_pieces(self, pieces: Sequence[Piece]) -> list[_Done] | None:
        """Return the pieces, read; the parts of a file that must be read whole as one."""
        done = self._all_of(pieces)
        in_parts = dict.fromkeys(each.piece._replace(row_groups=None) for each in done if each.told.needs == "file")
        whole = {each.piece: each for each in self._all_of(in_parts)}
        # in place of each part of such a file the whole, once
        put_in = (whole.get(each.piece._replace(row_groups=None), each) for each in done)
        done = list({each.piece: each for each in put_in}.values())
        changed = [name for each in done for name in each.told.changed]
        if really := [name for name in changed if state_of(self._log.folder, name) != _state_in(pieces, name)]:
            raise ReadingsProblemError([changed_file(name) for name in dict.fromkeys(really)])
        return None if any(each.told.needs != "nothing" for each in done) else done

    def _all_of(self, pieces: Iterable[Piece]) -> list[_Done]:
        """Let pieces be read; return them once they are."""
        begun = [(piece, self._workers.begin(read_piece, self._placed, piece)) for piece in pieces]
        told = [self._workers.begin(told_of_piece, rows) for _, rows in begun]
        return [_Done(piece, rows, self._workers.result(of_piece)) for (piece, rows), of_piece in zip(begun, told, strict=True)]

    def _merge(self, done: Sequence[_Done], firsts: Sequence[int]) -> list[Placed]:
        """Return the rows of each share of the engines."""
        shares = []
        for low, high in zip(firsts, [*firsts[1:], len(self._log.site.engines)], strict=True):
            blocks: list[int] = []
            tree: list[Placed] = []
            for each in done:
                if each.told.counts[low:high].any():
                    blocks.append(each.piece.block)
                    tree.append(self._workers.begin(rows_between, each.rows, each.piece, low, high))
            blocks, tree = self._joined(blocks, tree)
            shares.append(self._workers.begin(merge_share, self._placed, blocks, tree))
        return shares

    def _joined(self, blocks: list[int], tree: list[Placed]) -> tuple[list[int], list[Placed]]:
        """Return so few cuts that one worker can put them together, each of one block."""
        while len(tree) > FAN_IN * len(set(blocks)):
            ends = [0, *(np.flatnonzero(np.diff(blocks)) + 1).tolist(), len(tree)]
            firsts = [first for begin, end in pairwise(ends) for first in range(begin, end, FAN_IN)]
            runs = list(pairwise([*firsts, len(tree)]))
            tree = [self._workers.begin(joined, tree[first:stop]) for first, stop in runs]
            blocks = [blocks[first] for first, _ in runs]
        return blocks, tree


def _state_in(pieces: Sequence[Piece], name: str) -> object:
    """Return what a file looked like."""
    return next(piece.states[piece.names.index(name)] for piece in pieces if name in piece.names)


def _firsts_of(counts: Counts) -> list[int]:
    """Return the first engine of each share of the rows: shares of about the same size, and not too many."""
    size = max(FEWEST_ROWS_A_SHARE, -(-int(counts.sum()) // MOST_SHARES))
    shares = (np.cumsum(counts) - 1) // size
    return [0, *(np.flatnonzero(np.diff(np.maximum(shares, 0))) + 1).tolist()]


def _names_too_many(done: Sequence[_Done]) -> bool:
    """Say whether there are so many unknown names that which of them are looked up depends on all files together."""
    for block in {each.piece.block for each in done}:
        faults = (fault for each in done if each.piece.block == block for file in each.told.files for fault in file.of_rows)
        if len({fault.spelled.word for fault in faults if fault.spelled is not None}) >= MOST_NEAREST:
            return True
    return False


def _faults_of_files(done: Sequence[_Done]) -> Iterator[Fault]:
    """Yield the faults of the files of a block, in order; of a file in parts, those of its header once."""
    told: dict[str, list[FileTold]] = {}
    for each in done:
        for name, file in zip(each.piece.names, each.told.files, strict=True):
            told.setdefault(name, []).append(file)
    for name, parts in told.items():
        of_rows = [fault for part in parts for fault in part.of_rows]
        yield from all_faults_of(name, parts[0].of_header, of_rows, sum(part.rows_read for part in parts))
