"""A site's engines in groups, each with all that judging it needs: what another machine is sent.

In: a site's `Inputs`, the workers of a cluster. Out: what is found of each group, in their order. Refuses nothing.

Both pickle. What all groups share has no rows and no records; the rows of a group are what its engines have of each part of the log.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from threading import Lock
from typing import NamedTuple

import numpy as np

from intervals.cluster import Placed, Workers, other_versions
from intervals.history.inputs import Inputs
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import judge_engine
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.judge.kept_answers import rows_asked_by
from intervals.readings import Analysis, Readings, ServiceRecord
from intervals.readings.block_parts import PartedRows
from intervals.readings.read_on_workers import WorkerRows
from intervals.readings.read_pieces import ShareRows
from intervals.rulebook.rulebook import RuleBook
from intervals.version import __version__

MOST_ENGINES = 64
MOST_ROWS = 150_000
"""Rows of some seven megabytes: sent in the time in which a few engines are judged."""

# durable-rules judges in one thread of a process; a worker may have been given several
_ONE_AT_A_TIME = Lock()
# durable-rules never gives back what it holds of rules: a worker that serves for weeks compiles equal rule sets once
_MOST_BOOKS = 16
_BOOKS: list[RuleBook] = []


def program() -> str:
    """Return the version of the program; a worker that answers has loaded all that judging needs."""
    return __version__


def answers_of_groups(  # noqa: PLR0913 - what is judged, by whom, and what was asked for
    workers: Workers, inputs: Inputs, indices: Sequence[int], ruleset: str | None, tasks: Collection[str], span: Month | None
) -> Iterator[tuple[int, JudgedSoFar]]:
    """Yield what is found of groups of engines, each with how many engines are done by then.

    Args:
        workers: who judges.
        inputs: of the whole site.
        indices: which of its engines and components.
        ruleset: the rule set asked for instead of the site's.
        tasks: ids of the tasks to judge; none means all.
        span: the month whose compliance is asked for, or None.
    """
    shared = replace(inputs, readings=Readings(()), records={}, faults=[], analyses={})
    sizes: list[int] = []

    def sent() -> Iterator[Group]:
        for group in groups_of(inputs, indices):
            sizes.append(len(group.indices))
            yield group

    asked = Shared(shared, ruleset, tuple(tasks), span)
    held = _shares_with_workers(inputs)
    answers = workers.map(judge_group, asked, sent()) if held is None else workers.map(judge_group, asked, sent(), held)
    done = 0
    for place, answer in enumerate(answers):
        done += sizes[place]
        yield done, answer


def _shares_with_workers(inputs: Inputs) -> Callable[[Group], list[Placed]] | None:
    """Return what gives the shares of the rows that a group needs, where the rows lie with the workers."""
    rows = inputs.readings.blocks[0].rows
    if not isinstance(rows, WorkerRows):
        return None

    def held(group: Group) -> list[Placed]:
        return [rows.shares[share] for share in sorted({rows.share_of(engine) for engine in group.engines})]

    return held


class Group(NamedTuple):
    """Some engines and components.

    Attributes:
        indices: which of the site's.
        engines: these engines, and those that the components sat on, rising.
        readings: their rows, without the blocks of the site file; none where the rows lie with the workers.
        records: their service records by id.
        analyses: their analyses by id.
    """

    indices: tuple[int, ...]
    engines: tuple[int, ...]
    readings: Readings
    records: dict[str, list[ServiceRecord]]
    analyses: dict[str, list[Analysis]]


def groups_of(inputs: Inputs, indices: Sequence[int]) -> Iterator[Group]:
    """Yield engines and components in groups, in their order.

    Args:
        inputs: of the whole site.
        indices: which of the site's.
    """
    place = {engine.id: number for number, engine in enumerate(inputs.site.engines)}
    counts = np.zeros(len(inputs.site.engines), dtype=np.int64)
    for block in inputs.readings.blocks:
        counts[: len(block.rows.counts)] += block.rows.counts
    some: list[int] = []
    rows = 0
    for index in indices:
        own = int(counts[rows_asked_by(inputs, place, index)].sum())
        if some and (len(some) == MOST_ENGINES or rows + own > MOST_ROWS):
            yield _group(inputs, place, some)
            some, rows = [], 0
        some.append(index)
        rows += own
    if some:
        yield _group(inputs, place, some)


def _group(inputs: Inputs, place: Mapping[str, int], indices: Sequence[int]) -> Group:
    """Return a group of what is judged."""
    site = inputs.site
    engines = sorted({engine for index in indices for engine in rows_asked_by(inputs, place, index)})
    ids = {site.judged_units[index].id for index in (*indices, *engines)}
    return Group(
        tuple(indices),
        tuple(engines),
        _readings_of(inputs.readings, engines).without_sources(),
        {name: records for name, records in inputs.records.items() if name in ids},
        {name: analyses for name, analyses in inputs.analyses.items() if name in ids},
    )


def _readings_of(readings: Readings, engines: Sequence[int]) -> Readings:
    """Return the rows of some engines that are to be sent; what lies with the workers is not."""
    if not isinstance(readings.blocks[0].rows, WorkerRows):
        return readings.of_engines(engines)
    return Readings(tuple(replace(block, rows=PartedRows([])) for block in readings.blocks), files=readings.files)


@dataclass(frozen=True)
class Shared:
    """What all groups share.

    Attributes:
        inputs: of the whole site, without rows, records and analyses.
        ruleset: the rule set asked for instead of the site's.
        tasks: ids of the tasks to judge; none means all.
        span: the month whose compliance is asked for, or None.
        version: of the program that asks.
    """

    inputs: Inputs
    ruleset: str | None
    tasks: Collection[str]
    span: Month | None
    version: str = __version__


def _with_shares(readings: Readings, shares: Sequence[ShareRows]) -> Readings:
    """Return the readings with the rows of some shares."""
    if not shares:
        return readings
    rows = (PartedRows([part for share in shares for part in share.blocks[block].parts]) for block in range(len(readings.blocks)))
    return replace(readings, blocks=tuple(replace(block, rows=own) for block, own in zip(readings.blocks, rows, strict=True)))


def _compiled_once(book: RuleBook) -> RuleBook:
    """Return a rule book equal to this one, the first of them that came here."""
    known = next((known for known in _BOOKS if known == book), None)
    if known is None:
        known = book
        _BOOKS.append(book)
        del _BOOKS[:-_MOST_BOOKS]
    return known


def judge_group(shared: Shared, group: Group, shares: Sequence[ShareRows] = ()) -> JudgedSoFar:
    """Return what is found of a group.

    Args:
        shared: what all groups share.
        group: the group.
        shares: its rows, where the workers have read them: of no engine in two of them.

    Raises:
        RequestProblemError: who asks has another version of the program.
    """
    if shared.version != __version__:
        # this worker came after all had been asked for their versions
        where = "a worker"
        raise other_versions(where, [__version__], shared.version)
    readings = _with_shares(group.readings, shares).with_sources(shared.inputs.site.readings)
    found = JudgedSoFar([])
    with _ONE_AT_A_TIME:
        books = {name: _compiled_once(book) for name, book in shared.inputs.books.items()}
        inputs = replace(shared.inputs, books=books, readings=readings, records=group.records, analyses=group.analyses)
        for index in group.indices:
            judge_engine(inputs, index, shared.ruleset, shared.tasks, shared.span, found)
    return found
