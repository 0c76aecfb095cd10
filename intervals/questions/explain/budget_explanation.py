"""The arithmetic behind a budget: the period, the hours by duty that count, the sum, the limits and where they stand.

In: a judge of one budget, and the engines that it counts. Out: an `Explanation`, so that a person can add up what the budget added up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta

import numpy as np

from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.judge.budget_account import Period
from intervals.judge.budget_judge import BudgetJudge
from intervals.judge.budget_wording import counted_text
from intervals.language.conditions import comparisons_of
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS
from intervals.questions.explain.explained_range import range_sums
from intervals.questions.explain.explained_sums import doubts_between, hours_by_duty
from intervals.questions.explain.explanation_models import CellLine, Explanation, RulePlace, Step
from intervals.rulebook.rulebook import budget_rule
from intervals.shown_numbers import exact

MOST_LINES = 30


def explain_budget(judge: BudgetJudge, cases: Sequence[EngineCase]) -> Explanation:
    """Return the arithmetic behind one budget.

    Args:
        judge: who judges it.
        cases: the engines that it counts: one, or of a budget over the whole site all that it is for.
    """
    rules = tuple(_rules(judge))
    if not judge.account.counts or (judge.bench.case is not None and not judge.is_described):
        finding = judge.undescribed()
        return Explanation(finding=finding, window=(), cells=(), measures=(), factors=(), steps=(), rules=rules, doubts=())
    finding, shown = judge.finding(), judge.shown
    return Explanation(
        finding=finding,
        window=tuple(_window(judge, shown)),
        cells=tuple(line for case in cases for line in _cells(judge, shown, case)),
        measures=(),
        factors=(),
        steps=tuple(_sums(judge, shown, finding)),
        rules=rules,
        doubts=tuple(doubt for case in cases for doubt in _doubts(case, shown, is_one=len(cases) == 1)),
    )


def _doubts(case: EngineCase, shown: Period, *, is_one: bool) -> Iterator[str]:
    """Yield what is doubtful in the data of one engine, with its id where there are several."""
    start_us, end_us = max(shown.start_us, int(case.ledger.edges_us[0])), min(shown.end_us, case.end_us)
    if is_one:
        yield from doubts_between(case, shown.start_us, shown.end_us)
    elif start_us < end_us:
        yield from (f"{case.engine.id}: {doubt}" for doubt in doubts_between(case, start_us, end_us))


def _window(judge: BudgetJudge, shown: Period) -> Iterator[Step]:
    """Yield where the period begins and ends."""
    iso, per = judge.account.days.iso, judge.budget.per
    if isinstance(per, CalendarStep):
        why = f"so that it ends with {shown.last_day.isoformat()}, {per} long"
    else:
        why = f"the calendar {per.unit}" if per.count == 1 else f"the running calendar {per.unit} and the {per.count - 1} before"
    end = "the moment of judging" if shown.end_us == judge.account.end_us else "the end of the period"
    yield Step(label="from", sum=f"{iso(shown.start_us)}, {why}")
    yield Step(label="to", sum=f"{iso(shown.end_us)}, {end}; last day covered {shown.last_day.isoformat()}")


def _cells(judge: BudgetJudge, shown: Period, case: EngineCase) -> Iterator[CellLine]:
    """Yield the running hours of the period by duty, and whether they count, where running hours are counted by one condition."""
    budget = judge.budget
    if budget.of.quantities != (RUNNING_HOURS,) or shown.place is None or budget.conditions[shown.place] is None:
        return
    when = budget.conditions[shown.place]
    asked = {part.name for part in comparisons_of(when)} if when is not None else set()
    ledger, name = case.ledger, budget_rule(budget, shown.place)
    most = len(ledger.edges_us) - 1
    low, high = (min(int(ledger.edges_us.searchsorted(at_us)), most) for at_us in (shown.start_us, shown.end_us))
    hours = ledger.cell_running_h[high] - ledger.cell_running_h[low]
    of_engine = {} if judge.bench.case is not None else {"engine": case.engine.id}
    for levels, (hours_h, index) in hours_by_duty(case, hours, asked).items():
        verdict = case.cell_verdicts[index]
        holds, is_unknown = name in verdict.holds, name in verdict.unknown
        counts = 1.0 if holds or (is_unknown and budget.when_unknown == "holds") else 0.0
        yield CellLine(
            levels={**of_engine, **dict(levels)},
            hours_h=round(hours_h, 6),
            counts_as=counts,
            equivalent_h=round(hours_h * counts, 6),
            rules=(budget.id,) if holds else (),
            unknown_rules=(budget.id,) if is_unknown else (),
        )


def _sums(judge: BudgetJudge, shown: Period, finding: Finding) -> Iterator[Step]:
    """Yield the sum, the limit in force, what is left or lacking, and the standing."""
    budget, account, unit = judge.budget, judge.account, judge.unit
    entries = [entry for count in account.counts for entry in count.cover.records if shown.start_us <= entry.at_us <= shown.end_us]
    rows = sorted(entries, key=lambda entry: entry.at_us)
    for entry in rows[:MOST_LINES]:
        hours = "no hours" if entry.hours_h is None else f"{exact(entry.hours_h)} h"
        yield Step(label=entry.record, sum=f"{entry.task} on {account.days.date_of(entry.at_us).isoformat()}: {hours}")
    if len(rows) > MOST_LINES:
        yield Step(label="records", sum=f"{MOST_LINES} of {len(rows)} shown")
    yield from _parts(judge, shown)
    used = exact(shown.used) if not account.unlogged else "unknown"
    yield Step(label="used", sum=f"{used} {unit} of {counted_text(budget, shown.place)}, each day by the limit in force on it")
    limit = judge.limit_of(shown)
    if limit is not None:
        since = "" if limit.in_force_from is None else f", in force from {limit.in_force_from.isoformat()}"
        word, rest = ("asked", "lacking") if budget.is_minimum else ("allowed", "left")
        yield Step(label=word, sum=f"{exact(limit.amount)} {unit}{since}")
        left = exact(round(limit.amount - shown.used, 6))
        yield Step(label=rest, sum=f"{exact(limit.amount)} - {exact(shown.used)} = {left} {unit}")
        yield from _range(judge, shown, finding, limit.amount)
    if finding.due_on and finding.crossed_at:
        yield Step(label="not reached by" if budget.is_minimum else "exceeded on", sum=finding.due_on)
    yield Step(label="status", sum=f"{finding.standing.replace('_', ' ')} by rule {finding.reasons[0].rule}")


def _range(judge: BudgetJudge, shown: Period, finding: Finding, amount: float) -> Iterator[Step]:
    """Yield when what is left will be used up, where the finding foresees it."""
    use = judge.pace.use
    if finding.forecast is not None and use is not None:
        left = round((amount - shown.used) * judge.account.divisor, 6)
        yield from range_sums(use, left, judge.bare_unit, judge.pace.from_us(shown), judge.budget.of.name)


def _parts(judge: BudgetJudge, shown: Period) -> Iterator[Step]:
    """Yield what each engine of a site, and each month or year of a longer period, adds to the sum, and how a mean follows from it."""
    account, per, unit = judge.account, judge.budget.per, judge.bare_unit
    span = np.array([shown.start_us], dtype=np.int64), np.array([shown.end_us], dtype=np.int64)
    if judge.bench.case is None:
        for count in account.counts:
            yield Step(label=count.engine, sum=f"{exact(round(float(count.used(*span)[0][0]), 6))} {unit}")
    if isinstance(per, CalendarStep) or per.count == 1:
        return
    numbers = range(per.number_of(shown.first_day), per.number_of(shown.last_day) + 1)
    spans = [(per.first_of(number), per.last_of(number)) for number in numbers]
    ends = [min(account.days.midnight_us(last + timedelta(days=1)), shown.end_us) for _, last in spans]
    starts = [account.days.midnight_us(first) for first, _ in spans]
    used, _ = account.used(np.array(starts, dtype=np.int64), np.array(ends, dtype=np.int64))
    for (first, _), amount in list(zip(spans, used.tolist(), strict=True))[-MOST_LINES:]:
        yield Step(label=first.isoformat()[: 4 if per.unit == "year" else 7], sum=f"{exact(round(amount, 6))} {unit}")
    if per.is_mean:
        total = float(account.used(*span)[0][0])
        yield Step(label="mean", sum=f"{exact(round(total, 6))} / {per.divisor} = {exact(shown.used)} {judge.unit}")


def _rules(judge: BudgetJudge) -> Iterator[RulePlace]:
    """Yield where the budget stands."""
    budget, ruleset = judge.budget, judge.bench.ruleset
    place = "{}:{}".format(*ruleset.shown_place_of("budget", budget.id, judge.bench.site.folder))
    yield RulePlace(rule=budget.id, place=place, because=budget.because, source=budget.source or ruleset.source)
