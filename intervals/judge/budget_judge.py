"""One budget judged: how much of what a period may hold was used, what is left, and since when it is too much.

In: what was counted (`Account`) and on whose behalf (`Bench`). Out: a `Finding`, its task being the budget's id. The standing is the rule
of `standing_rules.BUDGET_RULES` that fired; minima are judged by `budget_minimum.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from intervals.findings import Amount, FactValue, Finding, Leg, Reason
from intervals.history.window_measures import NOTHING_H
from intervals.judge.budget_account import Account, Period, runs_of
from intervals.judge.budget_bench import Bench
from intervals.judge.budget_pace import BudgetPace
from intervals.judge.budget_wording import (
    before_service_text,
    budget_text,
    counted_text,
    earlier_text,
    partly_unknown_text,
    unknown_budget_text,
)
from intervals.judge.finding_of import unknown_finding
from intervals.language.durations import CalendarStep
from intervals.language.legs import LEGS, RUNNING_HOURS, leg_unit, rounded
from intervals.rulebook.standing_rules import STANDING_OF_BUDGET, BudgetRule, TaskRule
from intervals.rules.budgets import Budget, BudgetLimit, BudgetMinimum

MOST_EARLIER = 3


@dataclass
class BudgetJudge:
    """Judges one budget, of one engine or of a site."""

    bench: Bench
    budget: Budget
    account: Account
    _rule_of: dict[tuple[FactValue, ...], str] = field(default_factory=dict, repr=False)

    @property
    def is_overlapping(self) -> bool:
        """Whether a day lies in several periods: what broke one limit may break the next by the same hours."""
        per = self.budget.per
        return isinstance(per, CalendarStep) or per.count > 1

    @property
    def is_described(self) -> bool:
        """Whether all is stated that the budget asks for."""
        return not self.bench.undescribed

    @cached_property
    def periods(self) -> list[Period]:
        """Every period, the present one last."""
        return self.account.periods()

    @property
    def shown(self) -> Period:
        """The period that the finding is of: the present one."""
        return self.periods[-1]

    @cached_property
    def bare_unit(self) -> str:
        """Unit of what is counted: the word that legs have too."""
        name = next((name for name in self.budget.of.quantities if name != RUNNING_HOURS), RUNNING_HOURS)
        return leg_unit(name, self.bench.site.quantities).unit

    @cached_property
    def unit(self) -> str:
        """Unit of an amount: that of what is counted, of a mean of years by the year."""
        per = self.budget.per
        return self.bare_unit if isinstance(per, CalendarStep) else f"{self.bare_unit}{per.adjective}"

    def limit_of(self, period: Period) -> BudgetLimit | BudgetMinimum | None:
        """Return the limit in force on a period's last day."""
        return None if period.place is None else self.budget.limits[period.place]

    def amount_of(self, period: Period) -> float | None:
        """Return how much is allowed or asked for on a period's last day."""
        limit = self.limit_of(period)
        return None if limit is None else limit.amount

    def why_unknown(self, period: Period) -> tuple[str, float]:
        """Return why what was counted in a period is not all, or an empty text, and how many hours more it may be."""
        if self.bench.undescribed:
            return f"the budget asks for {self.bench.undescribed}", 0.0
        return self.account.why_unknown(period, self.amount_of(period))

    def rule_of(self, period: Period, *, why_unknown: str = "", may_be_more: float = 0.0, since_expected_d: float | None = None) -> str:
        """Put a period to the rules and return the one that fires."""
        allowed = self.amount_of(period)
        lead = 0.0 if allowed is None else allowed * float(self.budget.lead_pct) / 100.0
        past_by = None if allowed is None else rounded(period.used - allowed)
        facts: dict[str, FactValue] = {
            "is_described": True,
            "has_limit": allowed is not None,
            "is_known": not why_unknown,
            "allowed": allowed,
            "past_by": past_by,
            "may_be_past_by": None if past_by is None else rounded(past_by + period.unknown + may_be_more / self.account.divisor),
            "to_lead": None if past_by is None else rounded(-past_by - lead),
            "since_expected_d": since_expected_d,
        }
        return self.bench.standings.budgets.fire_one(facts)

    @cached_property
    def pace(self) -> BudgetPace:
        """How fast it is used up."""
        return BudgetPace(self.bench.case, self.budget, self.account)

    def finding(self) -> Finding:
        """Return the standing now."""
        if not self.is_described and self.bench.case is not None:
            return self.undescribed()
        now, pace = self.periods[-1], self.pace
        why, may_be_more = self.why_unknown(now)
        expected = None if self.account.unlogged else pace.forecast(now, self.amount_of(now))
        since_expected_d = pace.since_expected_d(expected)
        rule = self.rule_of(now, why_unknown=why, may_be_more=may_be_more, since_expected_d=since_expected_d)
        crossed_us = self.crossed_us(len(self.periods) - 1) if rule == BudgetRule.EXCEEDED else None
        forecast = expected if rule in (BudgetRule.KEPT, BudgetRule.NEARLY_USED, TaskRule.EXPECTED_DAY_GONE) else None
        ended = pace.ended
        if rule == BudgetRule.NOT_KNOWN and why == ended:
            forecast = expected
        if forecast is not None and STANDING_OF_BUDGET[rule] == "unknown":
            why = f"expected on {forecast.on}, {ended}" if forecast.on else ended
        leg = self.leg(now, is_known=not self.account.unlogged)
        past_by = None
        if rule == BudgetRule.EXCEEDED and leg.remaining is not None:
            past_by = Amount(value=rounded(-leg.remaining), unit=leg.unit)
        due_on = forecast.on if forecast is not None else None
        days = self.account.days
        return Finding(
            engine=self.bench.engine,
            ruleset=self.bench.ruleset.ruleset,
            task=self.budget.id,
            title=self.budget.title,
            standing=STANDING_OF_BUDGET[rule],
            within_tolerance=False,
            governing=leg.leg if leg.used is not None else None,
            legs=(leg,),
            last_done=None,
            due_on=due_on if crossed_us is None else days.date_of(crossed_us).isoformat(),
            crossed_at=None if crossed_us is None else days.iso(crossed_us),
            past_by=past_by,
            forecast=forecast,
            deferred_until=None,
            unknown_hours_h=self.unknown_hours_h(now),
            reasons=tuple(self._reasons(now, rule, why, crossed_us)),
        ).with_lead_from(pace.upcoming_from(now, self.amount_of(now), forecast))

    def unknown_hours_h(self, period: Period) -> float:
        """Return the hours of a period that could not be judged; none where no hours are counted."""
        return rounded(period.unknown * self.account.divisor) if self.bare_unit == LEGS[RUNNING_HOURS].unit else 0.0

    def leg(self, period: Period, *, is_known: bool = True) -> Leg:
        """Return a period's figures as they are printed."""
        allowed = self.amount_of(period)
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

    def undescribed(self) -> Finding:
        """Return the finding of a budget that asks for what is not stated."""
        rule = self.bench.standings.budgets.fire_one({"is_described": False})
        return self.without_account(rule, f"unknown: the budget asks for {self.bench.undescribed}")

    def without_account(self, rule: str, text: str) -> Finding:
        """Return the finding of a budget of which nothing was counted."""
        reason = Reason(rule=rule, text=text, facts={}, source=self.budget.source)
        return unknown_finding(self.bench.engine, self.bench.ruleset.ruleset, self.budget.id, self.budget.title, reason)

    def source_of(self, period: Period) -> str | None:
        """Return where the limit of a period comes from."""
        limit = self.limit_of(period)
        return (None if limit is None else limit.source) or self.budget.source or self.bench.ruleset.source

    def facts_of(self, period: Period) -> dict[str, FactValue]:
        """Return the figures that the sentence about a period rests on."""
        word = "asked" if self.budget.is_minimum else "allowed"
        return {
            "used": None if self.account.unlogged else period.used,
            word: self.amount_of(period),
            "from": period.first_day.isoformat(),
            "to": period.last_day.isoformat(),
        }

    def unknown_text(self, period: Period, why: str) -> str:
        """Return the sentence of a period of which the standing is unknown."""
        why = why or partly_unknown_text(self.budget, period.unknown, self.unit, "")
        return unknown_budget_text(self.budget, period, counted_text(self.budget, period.place), self.unit, why)

    def _reasons(self, now: Period, rule: str, why: str, crossed_us: int | None) -> Iterator[Reason]:
        """Yield the standing's reason, what could not be judged, and when it was exceeded before."""
        is_unknown = STANDING_OF_BUDGET[rule] == "unknown"
        on = None if crossed_us is None else self.account.days.date_of(crossed_us)
        what = counted_text(self.budget, now.place)
        text = self.unknown_text(now, why) if is_unknown else budget_text(rule, self.budget, now, what, self.unit, on)
        yield Reason(rule=rule, text=text, facts=self.facts_of(now), source=self.source_of(now))
        yield from self.reasons_besides(len(self.periods) - 1, is_unknown=is_unknown)

    def reasons_besides(self, place: int, *, is_unknown: bool) -> Iterator[Reason]:
        """Yield what could not be judged, what lies before an engine was in service, and the periods that broke the limit before."""
        now = self.periods[place]
        source = self.source_of(now)
        if now.unknown > NOTHING_H and not is_unknown:
            text = partly_unknown_text(self.budget, now.unknown, self.unit, ": not counted")
            yield Reason(rule=f"unknown-{self.budget.id}", text=text, facts={"unknown": now.unknown}, source=source)
        yield from self._before_service(now)
        yield from self._earlier(place, source)

    def _before_service(self, now: Period) -> Iterator[Reason]:
        """Yield which engines were not in service yet when a period of several months or years, or of a site, began."""
        per = self.budget.per
        if self.bench.case is not None and (isinstance(per, CalendarStep) or per.count == 1):
            return
        starts = [(count.engine, count.cover.in_service_us) for count in self.account.counts]
        later = [(name, at_us) for name, at_us in starts if at_us is not None and now.start_us < at_us < now.end_us]
        if later:
            since = {name: self.account.days.date_of(at_us) for name, at_us in later}
            text = before_service_text(since, is_mean=not isinstance(per, CalendarStep) and per.is_mean)
            yield Reason(rule="before-in-service", text=text, facts={"from": min(since.values()).isoformat()}, source=self.source_of(now))

    def _earlier(self, place: int, source: str | None) -> Iterator[Reason]:
        """Yield the latest times before a period at which the budget was exceeded, or not reached."""
        flags = self.exceeded()
        runs = [run for run in runs_of(flags) if run[1] < place]
        if not self.is_overlapping:
            runs = [(number, number) for number, flag in enumerate(flags[:place]) if flag]
        word = "minimum-not-reached-before" if self.budget.is_minimum else "budget-exceeded-before"
        for first, last in reversed(runs[-MOST_EARLIER:]):
            worst = self.worst_of(self.periods[first : last + 1])
            crossed_us = self.crossed_us(first)
            since = self.periods[first].last_day if crossed_us is None else self.account.days.date_of(crossed_us)
            text = earlier_text(self.budget, worst, self.unit, since, self.periods[last].last_day, len(runs))
            facts = {key: value for key, value in self.facts_of(worst).items() if key != "to"} | {"from": since.isoformat()}
            yield Reason(rule=word, text=text, facts=facts, source=source)

    def worst_of(self, periods: Sequence[Period]) -> Period:
        """Return the period that broke the limit most."""
        return max(periods, key=lambda period: period.used)

    def exceeded(self) -> list[bool]:
        """Return of which periods the rules say that they held too much, each different situation judged once."""
        flags = []
        for period in self.periods:
            allowed = self.amount_of(period)
            past_by = None if allowed is None else rounded(period.used - allowed)
            key = (allowed is None, past_by is not None and past_by > 0)
            if key not in self._rule_of:
                self._rule_of[key] = self.rule_of(period)
            flags.append(self._rule_of[key] == BudgetRule.EXCEEDED)
        return flags

    def crossed_us(self, place: int) -> int | None:
        """Return when a period that held too much came to do so, or the earlier one that it carries on from."""
        period = self.periods[place]
        limit = self.amount_of(period)
        if limit is None:
            return None
        flags, is_calendar = self.exceeded(), not isinstance(self.budget.per, CalendarStep)
        while self.is_overlapping and place > 0 and flags[place - 1]:
            if is_calendar and self._crossing_us(self.periods[place], limit) != self._from_us(place):
                break
            place -= 1
        first = self.periods[place]
        return self._crossing_us(first, self.amount_of(first) or limit)

    def _from_us(self, place: int) -> int:
        """Return from when on a period is the running one."""
        return self.account.days.midnight_us(self.account.running_from(self.periods[place]))

    def _crossing_us(self, period: Period, limit: float) -> int | None:
        """Return when a period's sum passed a limit, from when on it is the running one."""
        from_us = self.account.days.midnight_us(self.account.running_from(period))
        return self.account.crossing_us(period.start_us, from_us, period.end_us, limit * self.account.divisor)
