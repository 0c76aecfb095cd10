"""One minimum judged: how much of what a period must hold was reached, what is lacking, and by when.

In: what a `BudgetJudge` has. Out: a `Finding`, and of which periods the rules say that they lacked something. A period lacks something
when it is over and was not reached; it stays overdue until a later one is reached. A period that began before anything was in service
asks nothing. The standing is the rule of `standing_rules.MINIMUM_RULES` that fired.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from intervals.findings import Amount, FactValue, Finding, Reason
from intervals.judge.budget_account import Period
from intervals.judge.budget_judge import BudgetJudge
from intervals.judge.budget_wording import counted_text, minimum_text
from intervals.language.durations import CalendarStep
from intervals.language.legs import rounded
from intervals.rulebook.standing_rules import STANDING_OF_MINIMUM, BudgetRule


@dataclass
class MinimumJudge(BudgetJudge):
    """Judges one minimum, of one engine or of a site."""

    _rules: dict[int, tuple[str, str]] = field(default_factory=dict, repr=False)

    def finding(self) -> Finding:
        """Return the standing now."""
        if not self.is_described and self.bench.case is not None:
            return self.undescribed()
        place = self._shown_place
        rule, why = self._judged(place)
        period, standing = self.periods[place], STANDING_OF_MINIMUM[rule]
        is_lacking = standing == "overdue"
        leg = self.leg(period, is_known=not self.account.unlogged)
        days = self.account.days
        by = self._since(place).final_day if is_lacking else self._due_day(period)
        crossed_us = days.midnight_us(by + timedelta(days=1)) if is_lacking else None
        is_dated = rule in (BudgetRule.NOT_REACHED, BudgetRule.NEARLY_DUE, BudgetRule.TIME_LEFT) or (
            rule == BudgetRule.REACHED and isinstance(self.budget.per, CalendarStep)
        )
        return Finding(
            engine=self.bench.engine,
            ruleset=self.bench.ruleset.ruleset,
            task=self.budget.id,
            title=self.budget.title,
            standing=standing,
            within_tolerance=False,
            governing=leg.leg if leg.used is not None else None,
            legs=(leg,),
            last_done=None,
            due_on=by.isoformat() if is_dated else None,
            crossed_at=None if crossed_us is None else days.iso(crossed_us),
            past_by=Amount(value=leg.remaining, unit=leg.unit) if is_lacking and leg.remaining is not None else None,
            forecast=None,
            deferred_until=None,
            unknown_hours_h=self.unknown_hours_h(period),
            reasons=tuple(self._reasons_of(place, rule, why, by)),
        ).with_lead_from((by - timedelta(days=int(self._lead_d(period)))).isoformat() if is_dated and not is_lacking else None)

    @property
    def shown(self) -> Period:
        """The period that the finding is of: the present one, or the one before, where it lacked something that this one has not yet."""
        return self.periods[self._shown_place]

    @cached_property
    def _shown_place(self) -> int:
        """The place of the period that the finding is of."""
        place = len(self.periods) - 1
        has_passed = self._judged(place)[0] in (BudgetRule.REACHED, BudgetRule.NO_LIMIT_IN_FORCE, BudgetRule.NOT_REACHED)
        return place - 1 if not has_passed and place and self._judged(place - 1)[0] == BudgetRule.NOT_REACHED else place

    def rule_of(self, period: Period, *, why_unknown: str = "", may_be_more: float = 0.0, since_expected_d: float | None = None) -> str:
        """Put a period to the rules and return the one that fires."""
        del since_expected_d
        asked = self.amount_of(period)
        lacking = None if asked is None else rounded(asked - period.used)
        days_left = float((self._due_day(period) - period.last_day).days)
        facts: dict[str, FactValue] = {
            "is_described": True,
            "has_limit": asked is not None,
            "is_known": not why_unknown,
            "is_rolling": isinstance(self.budget.per, CalendarStep),
            "is_whole": self._is_whole(period),
            "is_over": self.account.is_over(period),
            "lacking": lacking,
            "may_lack": None if lacking is None else rounded(lacking - period.unknown - may_be_more / self.account.divisor),
            "to_lead_d": rounded(days_left - self._lead_d(period)),
        }
        key = tuple(facts[name] if isinstance(facts[name], bool) else _side(facts[name]) for name in facts)
        if key not in self._rule_of:
            self._rule_of[key] = self.bench.standings.minima.fire_one(facts)
        return self._rule_of[key]

    def exceeded(self) -> list[bool]:
        """Return of which periods the rules say that they lacked something."""
        return [self._judged(place)[0] == BudgetRule.NOT_REACHED for place in range(len(self.periods))]

    def crossed_us(self, place: int) -> int | None:
        """Return when a period that lacked something was over."""
        return self.periods[place].end_us - 1

    def worst_of(self, periods: Sequence[Period]) -> Period:
        """Return the period that lacked most."""
        return min(periods, key=lambda period: period.used)

    def _judged(self, place: int) -> tuple[str, str]:
        """Return the rule that fires for a period, and why something of it is unknown."""
        if place not in self._rules:
            period = self.periods[place]
            why, more = self.why_unknown(period)
            self._rules[place] = self.rule_of(period, why_unknown=why, may_be_more=more), why
        return self._rules[place]

    def _since(self, place: int) -> Period:
        """Return the first of the periods that lack something without a break, where they overlap; else the period itself."""
        if self.is_overlapping:
            while place and self._judged(place - 1)[0] == BudgetRule.NOT_REACHED:
                place -= 1
        return self.periods[place]

    def _is_whole(self, period: Period) -> bool:
        """Return whether something that the budget is over was in service when a period began, as far as anybody says."""
        since = [count.cover.in_service_us for count in self.account.counts]
        days = self.account.days
        return any(at_us is None or days.date_of(at_us) <= period.first_day for at_us in since)

    def _lead_d(self, period: Period) -> float:
        """Return the days before its due day from which a period that lacks something is upcoming."""
        return ((period.final_day - period.first_day).days + 1) * float(self.budget.lead_pct) / 100.0

    def _due_day(self, period: Period) -> date:
        """Return the day by which a period is to be reached; of one that ends on every day, the last day until which it stays reached."""
        step, asked = self.budget.per, self.amount_of(period)
        if not isinstance(step, CalendarStep) or asked is None or period.last_day < self.account.last_day:
            # of an earlier period nobody asks how long it would have stayed reached
            return period.final_day
        first, last = period.first_day.toordinal(), period.last_day.toordinal()
        starts = np.array([self.account.days.midnight_us(date.fromordinal(day)) for day in range(first, last + 1)], dtype=np.int64)
        used, _ = self.account.used(starts, np.full(len(starts), period.end_us, dtype=np.int64))
        enough = int((np.round(used - asked, 6) >= 0).sum())
        if not enough:
            return period.last_day
        start, due = date.fromordinal(first + enough - 1), period.last_day
        while step.before(due + timedelta(days=2)) <= start:
            due += timedelta(days=1)
        return due

    def _reasons_of(self, place: int, rule: str, why: str, by: date) -> list[Reason]:
        """Return the standing's reason, what could not be judged, and which periods lacked something before."""
        period, is_unknown = self.periods[place], STANDING_OF_MINIMUM[rule] == "unknown"
        what = counted_text(self.budget, period.place)
        text = self.unknown_text(period, why) if is_unknown else minimum_text(rule, self.budget, period, what, self.unit, by)
        said = Reason(rule=rule, text=text, facts=self.facts_of(period), source=self.source_of(period))
        return [said, *self.reasons_besides(place, is_unknown=is_unknown)]


def _side(value: FactValue) -> int | None:
    """Return on which side of nothing a number is: all that the rules ask of it."""
    return None if value is None else (float(value) > 0) - (float(value) < 0)
