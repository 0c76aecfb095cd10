"""Twelve months of compliance of one engine, each month as it stood at its own end.

In: an engine as it was judged at the last month's end. Out: counts by month, the occurrences of the last one, and the days on which jobs
were done late. What was decided in a month is read off the same windows; only where a record was taken back later is the engine judged
once more at that month's own end. Counts of many engines add up.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from intervals.history.inputs import Inputs, moment_of
from intervals.judge.budget_months import budget_occurrences, occurrences_of
from intervals.judge.budget_site import SiteShare, site_judges, whole_shares
from intervals.judge.compliance import LATE, Month, decided_in, met_before_lines, windows_of
from intervals.judge.condemned import condemned_occurrences
from intervals.judge.engine_answers import JudgedEngine, judge_engine
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.language.legs import rounded
from intervals.language.months import last_day_of
from intervals.occurrences import MetWord, Occurrence
from intervals.problems import ProblemsError
from intervals.questions.check.assess import judge_inputs
from intervals.questions.month.month_models import CoverWord, MonthFigure
from intervals.rulebook.inference import InferenceFaultError
from intervals.windows.chain import TaskChain

Wanted = Collection[tuple[str, str]] | None
"""Rule set and task of what is wanted of an engine; None means all."""
Counts = Mapping[str, Counter[str]]
"""By month how often each way of being met was counted, and how many of the late ones were `open`."""
LateDays = Mapping[tuple[str, str, str], frozenset[str]]
"""Ids of an engine, of a rule set, of a task -> the local days on which it was done late."""
_OPEN = "open"


class Asked(NamedTuple):
    """What was asked for: a rule set, engines and tasks, as for `assess_site`."""

    ruleset: str | None
    engines: Collection[str]
    tasks: Collection[str]


class EngineHistory(NamedTuple):
    """What the months came to: counts by month, the last month's occurrences, and on which local days which task was done late."""

    counts: Counts
    last: Sequence[Occurrence]
    late_days: LateDays


class _Tally:
    """Counts by month while they are made."""

    def __init__(self, months: Sequence[Month]) -> None:
        self._months = months
        self._starts = [month.start_us for month in months]
        self.counts: dict[str, Counter[str]] = {month.text: Counter() for month in months}
        self.last: list[Occurrence] = []

    def add(self, month: Month, met: MetWord, *, is_open: bool) -> None:
        """Count something that was met, or was not."""
        counts = self.counts[month.text]
        counts[met] += 1
        counts[_OPEN] += is_open

    def add_occurrence(self, month: Month, occurrence: Occurrence) -> None:
        """Count an occurrence, and keep one of the last month."""
        self.add(month, occurrence.met, is_open=occurrence.open)
        if month is self._months[-1]:
            self.last.append(occurrence)

    def month_at(self, at_us: int) -> Month:
        """Return the month that an instant between the first and the last lies in."""
        return self._months[bisect_right(self._starts, at_us) - 1]


def months_up_to(month: str, count: int) -> list[str]:
    """Return so many months, the last one being the given one.

    Example:
        >>> months_up_to("2026-02", 3)
        ['2025-12', '2026-01', '2026-02']
    """
    year, number = int(month[:4]), int(month[5:])
    numbers = [year * 12 + number - 1 - back for back in range(count - 1, -1, -1)]
    return [f"{each // 12:04d}-{each % 12 + 1:02d}" for each in numbers]


def history_of(  # noqa: PLR0913 - what was judged, and what is asked of it
    inputs: Inputs, index: int, judged: Sequence[JudgedEngine], months: Sequence[Month], asked: Asked, wanted: Wanted
) -> EngineHistory:
    """Return what the months came to for one engine; the occurrences of a task whose inference failed are left out, as its fault says.

    Args:
        inputs: what was read.
        index: which engine or component.
        judged: the same, by each of its rule sets, judged at the end of the last month.
        months: the months in order.
        asked: what was asked for, where a month has to be judged once more.
        wanted: rule sets and tasks whose occurrences are wanted; None means all.
    """
    tally = _Tally(months)
    late: dict[tuple[str, str, str], frozenset[str]] = defaultdict(frozenset)
    for engine in judged:
        case = engine.case
        for task, chain in engine.chains.items():
            if wanted is None or (case.ruleset, task) in wanted:
                late[case.engine.id, case.ruleset, task] |= _count_task(tally, engine, chain, months)
        own = {task for ruleset, task in wanted or () if ruleset == case.ruleset}
        if wanted is None or own:
            for month, occurrence in budget_occurrences(case, own, months):
                tally.add_occurrence(month, occurrence)
    for month in months[:-1]:
        if judged and _is_taken_back(inputs, index, month):
            tally.counts[month.text] = _as_at_its_end(inputs, index, month, asked) or tally.counts[month.text]
    return EngineHistory(tally.counts, tally.last, late)


def _count_task(tally: _Tally, engine: JudgedEngine, chain: TaskChain, months: Sequence[Month]) -> frozenset[str]:
    """Count the occurrences of one task, none where its inference fails; return the days on which it was done late, ever."""
    first_us, last_us, ever = months[0].start_us, months[-1].start_us, Month("", 0, months[-1].end_us)
    try:
        windows = windows_of(chain, engine.visits, months, apart_until_us=last_us)
        decided = list(decided_in(chain, windows, [*months, ever]))
        before_lines = list(met_before_lines(chain, (first_us, last_us)))
        condemned = list(condemned_occurrences(chain, months))
        last = [each.occurrence for month, each in decided if month is months[-1]]
    except InferenceFaultError:
        return frozenset()
    for month, each in decided:
        if month is not ever:
            tally.add(month, each.met, is_open=each.is_open)
    for at_us, met in before_lines:
        tally.add(tally.month_at(at_us), met, is_open=False)
    tally.last += last
    for month, occurrence in condemned:
        tally.add_occurrence(month, occurrence)
    return frozenset(
        each.look.window.end_day.isoformat() for month, each in decided if month is ever and each.met == "late" and each.is_done
    )


def _is_taken_back(inputs: Inputs, index: int, month: Month) -> bool:
    """Tell whether a record of a unit, or of an engine that it sat on, was taken back after a month: until then it counted."""
    site = inputs.site
    unit = site.judged_units[index]
    sat_on = {fitting.engine for fitting in site.components[index - len(site.engines)].fitted} if index >= len(site.engines) else set()
    records = [record for name in {unit.id, *sat_on} for record in inputs.records.get(name, ()) if record.outcome == "void"]
    instants = [site.instant_us(void.on) if void.at_us is None and void.on is not None else void.at_us or 0 for void in records]
    return any(month.end_us <= at_us < inputs.moment.at_us for at_us in instants)


def _as_at_its_end(inputs: Inputs, index: int, month: Month, asked: Asked) -> Counter[str] | None:
    """Return the counts of a month of one engine, judged at the month's own end; None where it was not judged then."""
    at_end = replace(inputs, moment=moment_of(inputs.site, last_day_of(month.text)))
    found = JudgedSoFar([])
    if not judge_engine(at_end, index, asked.ruleset, asked.tasks, Month.of(month.text, inputs.site, at_end.moment.at_us), found):
        return None
    return _counted(found.occurrences)


def _counted(occurrences: Iterable[Occurrence]) -> Counter[str]:
    """Return the counts of some occurrences."""
    counts: Counter[str] = Counter()
    for occurrence in occurrences:
        counts[occurrence.met] += 1
        counts[_OPEN] += occurrence.open
    return counts


def counts_of_site(
    inputs: Inputs, shares: Sequence[SiteShare], months: Sequence[Month], asked: Asked, of_engines: Sequence[Counts]
) -> tuple[Counts, list[Occurrence]]:
    """Return the counts of all engines together, with budgets over the whole site, and the last month's occurrences of these.

    Args:
        inputs: what was read.
        shares: what the engines counted for budgets over the whole site.
        months: the months in order.
        asked: what was asked for.
        of_engines: the counts of each engine.
    """
    tally = _Tally(months)
    for counts in of_engines:
        for text, some in counts.items():
            tally.counts[text].update(some)
    for month, occurrence in _of_site(inputs, shares, months, asked):
        tally.add_occurrence(month, occurrence)
    if shares:
        for month in months[:-1]:
            # a record of one engine counts for the budget of all
            if any(_is_taken_back(inputs, index, month) for index in range(len(inputs.site.judged_units))):
                tally.counts[month.text] = _of_all_at_its_end(inputs, month, asked) or tally.counts[month.text]
    return tally.counts, tally.last


def _of_site(inputs: Inputs, shares: Sequence[SiteShare], months: Sequence[Month], asked: Asked) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of budgets over the whole site, where the whole site was judged."""
    for judge in site_judges(inputs, whole_shares(inputs, shares, asked.engines, asked.ruleset)):
        yield from occurrences_of(judge, months)


def _of_all_at_its_end(inputs: Inputs, month: Month, asked: Asked) -> Counter[str] | None:
    """Return the counts of a month of the whole site, judged at the month's own end; None where there was nothing to judge."""
    at_end = replace(inputs, moment=moment_of(inputs.site, last_day_of(month.text)))
    try:
        found = judge_inputs(at_end, ruleset=asked.ruleset, engines=asked.engines, tasks=asked.tasks, month=month.text)
    except ProblemsError:
        return None
    return None if found.compliance is None else _counted(found.compliance.occurrences)


def figure_of_month(month: Month, counts: Mapping[str, int], since_us: Iterable[int | None]) -> MonthFigure:
    """Return one month of the record, and whether the records cover the whole of it.

    Args:
        month: the month.
        counts: how often each way of being met was counted, and `open`.
        since_us: from when on the records of each engine are complete; None where that is not stated.
    """
    covered: CoverWord = "whole"
    known = [at_us for at_us in since_us if at_us is not None]
    if known and month.end_us <= min(known):
        covered = "none"
    elif known and month.start_us < max(known):
        covered = "part"
    on_time, late = counts.get("on_time", 0), sum(counts.get(word, 0) for word in LATE)
    return MonthFigure(
        month=month.text,
        told=covered,
        fell_due=on_time + late,
        on_time=on_time,
        late=late,
        missed=counts.get("missed", 0),
        open=counts.get(_OPEN, 0),
        pending=counts.get("pending", 0),
        deferred=counts.get("deferred", 0),
        early=counts.get("early", 0),
        figure=rounded(on_time / (on_time + late)) if on_time + late else None,
    )
