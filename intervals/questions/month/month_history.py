"""Twelve months of compliance, each as it stood at its own end.

In: engines as they were judged at the last month's end. Out: the compliance of each month, and the days on which jobs were done late. What
was decided in a month is read off the same windows; only where a record was taken back later is a month judged once more at its own end.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from intervals.history.inputs import Inputs, moment_of
from intervals.judge.budget_months import budget_occurrences, occurrences_of
from intervals.judge.budget_site import site_judges, site_shares, whole_shares
from intervals.judge.compliance import Month, month_compliance, occurrences_in, windows_of
from intervals.judge.condemned import condemned_occurrences
from intervals.judge.engine_answers import JudgedEngine
from intervals.language.months import last_day_of
from intervals.occurrences import Compliance, Occurrence
from intervals.problems import ProblemsError
from intervals.questions.check.assess import judge_inputs
from intervals.questions.month.month_models import CoverWord, MonthFigure
from intervals.rulebook.inference import InferenceFaultError
from intervals.windows.chain import TaskChain

Wanted = Collection[tuple[str, str, str]] | None
"""Engine, rule set and task of what is wanted; None means all."""


class Asked(NamedTuple):
    """What was asked for: a rule set, engines and tasks, as for `assess_site`."""

    ruleset: str | None
    engines: Collection[str]
    tasks: Collection[str]


class History(NamedTuple):
    """The compliance by month, and by engine, rule set and task the local days on which it was done late."""

    met: Mapping[str, Compliance]
    late_days: Mapping[tuple[str, str, str], frozenset[str]]


def months_up_to(month: str, count: int) -> list[str]:
    """Return so many months, the last one being the given one.

    Example:
        >>> months_up_to("2026-02", 3)
        ['2025-12', '2026-01', '2026-02']
    """
    year, number = int(month[:4]), int(month[5:])
    numbers = [year * 12 + number - 1 - back for back in range(count - 1, -1, -1)]
    return [f"{each // 12:04d}-{each % 12 + 1:02d}" for each in numbers]


def history_of(inputs: Inputs, judged: Sequence[JudgedEngine], months: Sequence[Month], wanted: Wanted, asked: Asked) -> History:
    """Return what was decided in each month; the occurrences of a task whose inference failed are left out, as its fault says.

    Args:
        inputs: what was read.
        judged: the engines, judged at the end of the last month.
        months: the months in order.
        wanted: engines, rule sets and tasks whose occurrences are wanted; None means all.
        asked: what was asked for, where a month has to be judged once more.
    """
    ever = Month("", 0, months[-1].end_us)
    found: dict[str, list[Occurrence]] = defaultdict(list)
    for engine in judged:
        for month, entry in _occurrences(engine, months, ever, wanted):
            found[month.text].append(entry)
    for month, entry in _of_site(inputs, judged, months, asked):
        found[month.text].append(entry)
    met = {month.text: month_compliance(month, found[month.text]) for month in months}
    for month in months[:-1]:
        if _is_taken_back(inputs, month):
            met[month.text] = _as_at_its_end(inputs, month, asked) or met[month.text]
    late: dict[tuple[str, str, str], frozenset[str]] = defaultdict(frozenset)
    for entry in found[ever.text]:
        if entry.met == "late" and entry.done_on:
            late[entry.engine, entry.ruleset, entry.task] |= {entry.done_on}
    return History(met, late)


def _occurrences(engine: JudgedEngine, months: Sequence[Month], ever: Month, wanted: Wanted) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of one engine: those of each month, and of all time up to the last month's end."""
    judged_by = (engine.case.engine.id, engine.case.ruleset)
    for task, chain in engine.chains.items():
        if wanted is None or (*judged_by, task) in wanted:
            yield from _of_task(engine, chain, months, ever)
    own = {task for *asked, task in wanted or () if tuple(asked) == judged_by}
    if wanted is None or own:
        yield from budget_occurrences(engine.case, own, months)


def _of_site(inputs: Inputs, judged: Sequence[JudgedEngine], months: Sequence[Month], asked: Asked) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of budgets over the whole site, where the whole site was judged."""
    shares = [share for engine in judged for share in site_shares(engine.case, asked.tasks)]
    for judge in site_judges(inputs, whole_shares(inputs, shares, asked.engines, asked.ruleset)):
        yield from occurrences_of(judge, months)


def _of_task(engine: JudgedEngine, chain: TaskChain, months: Sequence[Month], ever: Month) -> list[tuple[Month, Occurrence]]:
    """Return the occurrences of one task; none where its inference failed."""
    try:
        windows = windows_of(chain, engine.visits, months)
        return [*occurrences_in(chain, windows, [*months, ever]), *condemned_occurrences(chain, months)]
    except InferenceFaultError:
        return []


def _is_taken_back(inputs: Inputs, month: Month) -> bool:
    """Tell whether a record was taken back after a month: until then it counted."""
    voids = [record for records in inputs.records.values() for record in records if record.outcome == "void"]
    instants = [inputs.site.instant_us(void.on) if void.at_us is None and void.on is not None else void.at_us or 0 for void in voids]
    return any(month.end_us <= at_us < inputs.moment.at_us for at_us in instants)


def _as_at_its_end(inputs: Inputs, month: Month, asked: Asked) -> Compliance | None:
    """Return the compliance of a month, judged at its own end; None where there was nothing to judge."""
    at_end = replace(inputs, moment=moment_of(inputs.site, last_day_of(month.text)))
    try:
        found = judge_inputs(at_end, ruleset=asked.ruleset, engines=asked.engines, tasks=asked.tasks, month=month.text)
    except ProblemsError:
        return None
    return found.compliance


def figure_of_month(month: Month, met: Compliance, judged: Sequence[JudgedEngine]) -> MonthFigure:
    """Return one month of the record, and whether the records cover the whole of it."""
    since = [engine.case.records_from_us for engine in judged]
    covered: CoverWord = "whole"
    known = [at_us for at_us in since if at_us is not None]
    if known and month.end_us <= min(known):
        covered = "none"
    elif known and month.start_us < max(known):
        covered = "part"
    return MonthFigure(
        month=month.text,
        told=covered,
        fell_due=met.on_time + met.late,
        on_time=met.on_time,
        late=met.late,
        missed=met.missed,
        open=met.open,
        pending=met.pending,
        deferred=met.deferred,
        early=met.early,
        figure=met.figure,
    )
