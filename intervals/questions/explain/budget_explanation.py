"""The arithmetic behind a budget: the period, the hours by duty that count, the sum, the limits and where they stand.

In: a judge of one budget. Out: an `Explanation`, so that a person can add up what the budget added up.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.findings import Finding
from intervals.judge.budget_account import Period
from intervals.judge.budget_findings import BudgetJudge
from intervals.judge.budget_wording import counted_text
from intervals.language.conditions import comparisons_of
from intervals.language.durations import CalendarStep
from intervals.language.legs import RUNNING_HOURS
from intervals.questions.explain.explained_sums import doubts_between, hours_by_duty
from intervals.questions.explain.explanation_models import CellLine, Explanation, RulePlace, Step
from intervals.rulebook.rulebook import budget_rule
from intervals.shown_numbers import exact

MOST_RECORDS = 30


def explain_budget(judge: BudgetJudge) -> Explanation:
    """Return the arithmetic behind one budget."""
    finding = judge.finding()
    if not judge.is_described:
        return Explanation(finding=finding, window=(), cells=(), measures=(), factors=(), steps=(), rules=tuple(_rules(judge)), doubts=())
    now = judge.periods[-1]
    return Explanation(
        finding=finding,
        window=tuple(_window(judge, now)),
        cells=tuple(_cells(judge, now)),
        measures=(),
        factors=(),
        steps=tuple(_sums(judge, now, finding)),
        rules=tuple(_rules(judge)),
        doubts=doubts_between(judge.case, now.start_us, now.end_us),
    )


def _window(judge: BudgetJudge, now: Period) -> Iterator[Step]:
    """Yield where the period begins and ends."""
    iso = judge.case.days.iso
    per = judge.budget.per
    why = f"so that it ends with {now.last_day.isoformat()}, {per} long" if isinstance(per, CalendarStep) else "the calendar year"
    yield Step(label="from", sum=f"{iso(now.start_us)}, {why}")
    yield Step(label="to", sum=f"{iso(now.end_us)}, the moment of judging; last day covered {now.last_day.isoformat()}")


def _cells(judge: BudgetJudge, now: Period) -> Iterator[CellLine]:
    """Yield the running hours of the period by duty, and whether they count, where running hours are counted by one condition."""
    budget, case = judge.budget, judge.case
    if budget.of.quantities != (RUNNING_HOURS,) or now.place is None or budget.conditions[now.place] is None:
        return
    when = budget.conditions[now.place]
    asked = {part.name for part in comparisons_of(when)} if when is not None else set()
    ledger, name = case.ledger, budget_rule(budget, now.place)
    low = int(ledger.edges_us.searchsorted(max(now.start_us, int(ledger.edges_us[0]))))
    hours = ledger.cell_running_h[-1] - ledger.cell_running_h[low]
    for levels, (hours_h, index) in hours_by_duty(case, hours, asked).items():
        verdict = case.cell_verdicts[index]
        holds, is_unknown = name in verdict.holds, name in verdict.unknown
        counts = 1.0 if holds or (is_unknown and budget.when_unknown == "holds") else 0.0
        yield CellLine(
            levels=dict(levels),
            hours_h=round(hours_h, 6),
            counts_as=counts,
            equivalent_h=round(hours_h * counts, 6),
            rules=(budget.id,) if holds else (),
            unknown_rules=(budget.id,) if is_unknown else (),
        )


def _sums(judge: BudgetJudge, now: Period, finding: Finding) -> Iterator[Step]:
    """Yield the sum, the limit in force, what is left, and the standing."""
    budget, case, unit = judge.budget, judge.case, judge.unit
    rows = sorted(
        (entry for task in budget.of.records for entry in case.records.hours.get(task, ()) if now.start_us <= entry.at_us <= now.end_us),
        key=lambda entry: entry.at_us,
    )
    for entry in rows[:MOST_RECORDS]:
        hours = "no hours" if entry.hours_h is None else f"{exact(entry.hours_h)} h"
        yield Step(label=entry.record, sum=f"{entry.task} on {case.days.date_of(entry.at_us).isoformat()}: {hours}")
    if len(rows) > MOST_RECORDS:
        yield Step(label="records", sum=f"{MOST_RECORDS} of {len(rows)} shown")
    used = exact(now.used) if not judge.account.unlogged else "unknown"
    yield Step(label="used", sum=f"{used} {unit} of {counted_text(budget, now.place)}, each day by the limit in force on it")
    limit = judge.limit_of(now)
    if limit is not None:
        since = "" if limit.in_force_from is None else f", in force from {limit.in_force_from.isoformat()}"
        yield Step(label="allowed", sum=f"{exact(float(limit.at_most))} {unit}{since}")
        left = exact(round(float(limit.at_most) - now.used, 6))
        yield Step(label="left", sum=f"{exact(float(limit.at_most))} - {exact(now.used)} = {left} {unit}")
    if finding.due_on and finding.crossed_at:
        yield Step(label="exceeded on", sum=finding.due_on)
    yield Step(label="status", sum=f"{finding.standing.replace('_', ' ')} by rule {finding.reasons[0].rule}")


def _rules(judge: BudgetJudge) -> Iterator[RulePlace]:
    """Yield where the budget stands."""
    budget, ruleset = judge.budget, judge.case.book.ruleset
    place = "{}:{}".format(*ruleset.shown_place_of("budget", budget.id, judge.case.site.folder))
    yield RulePlace(rule=budget.id, place=place, because=budget.because, source=budget.source or ruleset.source)
