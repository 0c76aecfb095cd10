"""Budgets judged: how much of what a year may hold was used, what is left, and since when it is too much.

In: an engine made ready to be judged. Out: one `Finding` a budget, its task being the budget's id. What counts is what the rule book
said of each duty cell (`budget_account.py`); the standing is the rule of `standing_rules.BUDGET_RULES` that fired.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from intervals.faults import Fault
from intervals.findings import Amount, FactValue, Finding, Forecast, Leg, Reason
from intervals.history.engine_case import EngineCase, Pace
from intervals.history.unknown_names import is_asked
from intervals.history.window_measures import NOTHING_H
from intervals.judge.budget_account import Account, Period, account_of, runs_of
from intervals.judge.budget_wording import budget_text, counted_text, earlier_text, partly_unknown_text, unknown_budget_text, why_unknown
from intervals.judge.finding_of import unknown_finding
from intervals.language.durations import CalendarStep
from intervals.language.legs import LEGS, RUNNING_HOURS, rounded
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.rulebook import BUDGET, attributes_only
from intervals.rulebook.standing_rules import STANDING_OF_BUDGET, BudgetRule, TaskRule
from intervals.rules.budgets import Budget, BudgetLimit
from intervals.windows.expected_days import day_at, days_since, pace_of

MOST_EARLIER = 3


def budget_findings(case: EngineCase, wanted: Collection[str] = ()) -> list[Finding]:
    """Return the findings of the budgets that are for an engine, in the order of the rule set.

    Args:
        case: the engine; a failing inference is added to its faults.
        wanted: ids of tasks and budgets to judge; none means all.
    """
    fit, unclear = fitting_budgets(case)
    found = []
    for budget in case.book.ruleset.budgets:
        if not is_asked(wanted, case.ruleset, budget.id) or budget not in (*fit, *unclear):
            continue
        judge = BudgetJudge(case, budget, is_described=budget in fit)
        try:
            found.append(judge.finding())
        except InferenceFaultError as error:
            case.faults.append(Fault(case.engine.id, "inference_fault", None, None, None, f"{case.name_of(budget.id)}: {error}"))
            found.append(judge.without_account("inference-fault", f"unknown: {error}"))
    return found


def fitting_budgets(case: EngineCase) -> tuple[list[Budget], list[Budget]]:
    """Return the budgets that are for an engine, and those that cannot be decided, because it does not state enough."""
    budgets = [budget for budget in case.book.ruleset.budgets if case.may_be_for(budget.applies_to)]
    if not budgets:
        return [], []
    verdict = case.book.fits.fire(case.facts)
    fit = [budget for budget in budgets if budget.applies_to is None or BUDGET + budget.id in verdict.holds]
    return fit, [budget for budget in budgets if BUDGET + budget.id in verdict.unknown]


@dataclass
class BudgetJudge:
    """Judges one budget of one engine."""

    case: EngineCase
    budget: Budget
    is_described: bool = True
    _rule_of: dict[tuple[FactValue, ...], str] = field(default_factory=dict, repr=False)

    @cached_property
    def account(self) -> Account:
        """What was counted."""
        return account_of(self.case, self.budget)

    @cached_property
    def periods(self) -> list[Period]:
        """Every period, the present one last."""
        return self.account.periods()

    @cached_property
    def unit(self) -> str:
        """Unit of what is counted."""
        name = next((name for name in self.budget.of.quantities if name != RUNNING_HOURS), None)
        return LEGS[RUNNING_HOURS].unit if name is None else self.case.site.quantities[name].unit

    def limit_of(self, period: Period) -> BudgetLimit | None:
        """Return the limit in force on a period's last day."""
        return None if period.place is None else self.budget.at_most[period.place]

    def rule_of(self, period: Period, *, why_unknown: str = "", may_be_more: float = 0.0, since_expected_d: float | None = None) -> str:
        """Put a period to the rules and return the one that fires."""
        limit = self.limit_of(period)
        allowed = None if limit is None else float(limit.at_most)
        lead = 0.0 if allowed is None else allowed * float(self.budget.lead_pct) / 100.0
        past_by = None if allowed is None else rounded(period.used - allowed)
        facts: dict[str, FactValue] = {
            "is_described": self.is_described,
            "has_limit": limit is not None,
            "is_known": not why_unknown,
            "allowed": allowed,
            "past_by": past_by,
            "may_be_past_by": None if past_by is None else rounded(past_by + period.unknown + may_be_more),
            "to_lead": None if past_by is None else rounded(-past_by - lead),
            "since_expected_d": since_expected_d,
        }
        standings = self.case.standings
        return standings.budgets.fire_one(facts)

    def finding(self) -> Finding:
        """Return the standing now."""
        if not self.is_described:
            missing = attributes_only(self.budget.applies_to, frozenset(), self.case.facts) if self.budget.applies_to else ()
            rule = self.case.standings.budgets.fire_one({"is_described": False})
            return self.without_account(rule, f"unknown: the budget asks for {', '.join(missing)}, which the engine does not state")
        now = self.periods[-1]
        limit = self.limit_of(now)
        why, may_be_more = why_unknown(self.account, now, None if limit is None else float(limit.at_most))
        expected = None if self.account.unlogged else self.forecast(now)
        rule = self.rule_of(now, why_unknown=why, may_be_more=may_be_more, since_expected_d=self._since_expected_d(expected))
        standing = STANDING_OF_BUDGET[rule]
        crossed_us = self.crossed_us(len(self.periods) - 1) if rule == BudgetRule.EXCEEDED else None
        forecast = expected if rule in (BudgetRule.KEPT, BudgetRule.NEARLY_USED, TaskRule.EXPECTED_DAY_GONE) else None
        ended = self.case.log_ended_text(self._log_end_us)
        if rule == BudgetRule.NOT_KNOWN and why == ended:
            forecast = expected
        if forecast is not None and STANDING_OF_BUDGET[rule] == "unknown":
            why = f"expected on {forecast.on}, {ended}" if forecast.on else ended
        leg = self.leg(now, is_known=not self.account.unlogged)
        past_by = None
        if rule == BudgetRule.EXCEEDED and leg.remaining is not None:
            past_by = Amount(value=rounded(-leg.remaining), unit=leg.unit)
        due_on = forecast.on if forecast is not None else None
        return Finding(
            engine=self.case.engine.id,
            ruleset=self.case.ruleset,
            task=self.budget.id,
            title=self.budget.title,
            standing=standing,
            within_tolerance=False,
            governing=leg.leg if leg.used is not None else None,
            legs=(leg,),
            last_done=None,
            due_on=due_on if crossed_us is None else self.case.days.date_of(crossed_us).isoformat(),
            crossed_at=None if crossed_us is None else self.case.days.iso(crossed_us),
            past_by=past_by,
            forecast=forecast,
            deferred_until=None,
            unknown_hours_h=now.unknown if self.unit == LEGS[RUNNING_HOURS].unit else 0.0,
            reasons=tuple(self._reasons(now, rule, why, crossed_us)),
        ).with_lead_from(self._upcoming_from(now, forecast))

    def leg(self, period: Period, *, is_known: bool = True) -> Leg:
        """Return a period's figures as they are printed."""
        limit = self.limit_of(period)
        allowed = None if limit is None else float(limit.at_most)
        used = period.used if is_known else None
        known = used is not None and allowed is not None
        return Leg(
            leg=self.budget.of.name,
            unit=self.unit,
            used=used,
            base=0.0 if allowed is None else allowed,
            allowed=allowed,
            remaining=rounded((allowed or 0.0) - (used or 0.0)) if known else None,
            consumed=rounded((used or 0.0) / allowed) if known and allowed else None,
        )

    def without_account(self, rule: str, text: str) -> Finding:
        """Return the finding of a budget of which nothing was counted."""
        reason = Reason(rule=rule, text=text, facts={}, source=self.budget.source)
        return unknown_finding(self.case.engine.id, self.case.ruleset, self.budget.id, self.budget.title, reason)

    def _reasons(self, now: Period, rule: str, why: str, crossed_us: int | None) -> Iterator[Reason]:
        """Yield the standing's reason, what could not be judged, and when it was exceeded before."""
        limit = self.limit_of(now)
        source = (None if limit is None else limit.source) or self.budget.source or self.case.book.ruleset.source
        what = counted_text(self.budget, now.place)
        facts: dict[str, FactValue] = {
            "used": None if self.account.unlogged else now.used,
            "allowed": None if limit is None else float(limit.at_most),
            "from": now.first_day.isoformat(),
            "to": now.last_day.isoformat(),
        }
        on = None if crossed_us is None else self.case.days.date_of(crossed_us)
        if rule in (BudgetRule.NOT_KNOWN, TaskRule.EXPECTED_DAY_GONE):
            text = unknown_budget_text(
                self.budget, now, what, self.unit, why or partly_unknown_text(self.budget, now.unknown, self.unit, "")
            )
        else:
            text = budget_text(rule, self.budget, now, what, self.unit, on)
        yield Reason(rule=rule, text=text, facts=facts, source=source)
        if now.unknown > NOTHING_H and rule not in (BudgetRule.NOT_KNOWN, TaskRule.EXPECTED_DAY_GONE):
            text = partly_unknown_text(self.budget, now.unknown, self.unit, ": not counted")
            yield Reason(rule=f"unknown-{self.budget.id}", text=text, facts={"unknown": now.unknown}, source=source)
        yield from self._earlier(source)

    def _earlier(self, source: str | None) -> Iterator[Reason]:
        """Yield the latest times at which the budget was exceeded before."""
        flags = self.exceeded()
        runs = [run for run in runs_of(flags) if run[1] < len(flags) - 1]
        if not isinstance(self.budget.per, CalendarStep):
            runs = [(place, place) for place, flag in enumerate(flags[:-1]) if flag]
        for first, last in reversed(runs[-MOST_EARLIER:]):
            worst = max(self.periods[first : last + 1], key=lambda period: period.used)
            crossed_us = self.crossed_us(first)
            since = self.periods[first].last_day if crossed_us is None else self.case.days.date_of(crossed_us)
            text = earlier_text(self.budget, worst, self.unit, since, self.periods[last].last_day, len(runs))
            facts: dict[str, FactValue] = {"used": worst.used, "allowed": self.leg(worst).allowed, "from": since.isoformat()}
            yield Reason(rule="budget-exceeded-before", text=text, facts=facts, source=source)

    def exceeded(self) -> list[bool]:
        """Return of which periods the rules say that they held too much, each different situation judged once."""
        flags = []
        for period in self.periods:
            limit = self.limit_of(period)
            allowed = None if limit is None else float(limit.at_most)
            past_by = None if allowed is None else rounded(period.used - allowed)
            key = (limit is None, past_by is not None and past_by > 0)
            if key not in self._rule_of:
                self._rule_of[key] = self.rule_of(period)
            flags.append(self._rule_of[key] == BudgetRule.EXCEEDED)
        return flags

    def crossed_us(self, place: int) -> int | None:
        """Return when a period that held too much came to do so: in a calendar year by its sum, else on the first day of the run."""
        period = self.periods[place]
        limit = self.limit_of(period)
        if limit is None:
            return None
        if not isinstance(self.budget.per, CalendarStep):
            return self.account.crossing_us(period.start_us, period.start_us, period.end_us, float(limit.at_most))
        flags = self.exceeded()
        while place > 0 and flags[place - 1]:
            place -= 1
        first = self.periods[place]
        limit = self.limit_of(first) or limit
        from_us = self.case.days.midnight_us(first.last_day)
        return self.account.crossing_us(first.start_us, from_us, first.end_us, float(limit.at_most))

    @cached_property
    def _log_end_us(self) -> int:
        """Up to when the log covers all that is counted, at most to the moment of judging."""
        ends = [self.case.log_end_us_of(name) for name in self.budget.of.quantities]
        return min([self.case.end_us, *(at_us for at_us in ends if at_us is not None)])

    @cached_property
    def _pace(self) -> Pace:
        """How fast it is used up."""
        return pace_of(self.case, self.account.counted, self._log_end_us)

    def _day_at(self, period: Period, remaining: float, rate: float | None) -> date | None:
        """Return the day on which what remains of a period is used up; a new year from its first day on, even if the log ended before."""
        return day_at(self.case, remaining, rate, min(self.case.end_us, max(self._log_end_us, period.start_us)))

    def _upcoming_from(self, period: Period, forecast: Forecast | None) -> str | None:
        """Return the day on which its lead begins, where the day is known on which it will be used up."""
        limit = self.limit_of(period)
        if limit is None or forecast is None or forecast.on is None:
            return None
        lead = float(limit.at_most) * float(self.budget.lead_pct) / 100.0
        day = self._day_at(period, float(limit.at_most) - period.used - lead, self._pace.recent)
        return None if day is None else day.isoformat()

    def _since_expected_d(self, expected: Forecast | None) -> float | None:
        """Return for how many days the expected day has been over, where the log has ended."""
        case = self.case
        if expected is None or expected.on is None or case.silence_us(case.end_us) <= case.log.gap_us:
            return None
        return days_since(self.case, date.fromisoformat(expected.on))

    def forecast(self, period: Period) -> Forecast | None:
        """Return when a calendar year's budget will be used up at the recent pace, or None where it lasts."""
        limit = self.limit_of(period)
        if limit is None or isinstance(self.budget.per, CalendarStep) or self.budget.of.records:
            return None
        remaining, last = float(limit.at_most) - period.used, date(period.last_day.year, 12, 31)
        days = [self._day_at(period, remaining, rate) for rate in self._pace]
        shown: Sequence[str | None] = [None if day is None or day > last else day.isoformat() for day in days]
        return None if not any(shown) else Forecast(on=shown[0], early=shown[1], late=shown[2])
