"""What a budget counted: totals along the ledgers and the service records of its engines, and what each period of it holds.

In: what each engine counted (`budget_counts.py`). Out: an `Account`, and its `Period` values in order of time. Whether a period holds too
much, or too little, is for durable-rules (`budget_findings.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.history.window_measures import NOTHING_H
from intervals.judge.budget_counts import EngineCount
from intervals.judge.budget_cover import Doubt
from intervals.language.durations import CalendarStep
from intervals.language.legs import rounded
from intervals.local_days import LocalDays
from intervals.rules.budgets import Budget
from intervals.usage.ledger import cumulated
from intervals.windows.leg_states import instant_of_line

MOST_NAMED = 3
"""How many engines a sentence names."""


class Period(NamedTuple):
    """One stretch of time of a budget.

    Attributes:
        first_day: its first local day.
        last_day: the last local day that it covers so far.
        final_day: its last local day, whether or not that has come.
        start_us: its first moment.
        end_us: its end, or the moment of judging.
        place: the limit in force on its last day, by its place among the limits; None where none is.
        used: what was counted for certain; of a mean, in one year.
        unknown: what could not be judged; of a mean, in one year.
    """

    first_day: date
    last_day: date
    final_day: date
    start_us: int
    end_us: int
    place: int | None
    used: float
    unknown: float


@dataclass(frozen=True)
class Account:
    """What a budget counted, of one engine or of all that it is over.

    Attributes:
        budget: the budget.
        days: the site's local days.
        end_us: the moment of judging.
        last_day: the last day that it covers.
        counts: what each engine counted, at least one.
    """

    budget: Budget
    days: LocalDays
    end_us: int
    last_day: date
    counts: tuple[EngineCount, ...]

    @property
    def divisor(self) -> int:
        """By what a sum is divided: by the years that a mean is of, else by one."""
        per = self.budget.per
        return 1 if isinstance(per, CalendarStep) else per.divisor

    @property
    def unlogged(self) -> bool:
        """Whether some engine's log lacks what is counted."""
        return any(count.cover.unlogged for count in self.counts)

    def used(self, start_us: Instants, end_us: Instants) -> tuple[Floats, Floats]:
        """Return what was counted and what could not be judged between instants, each a day's border or the moment of judging.

        Args:
            start_us: n instants, UTC microseconds.
            end_us: n later ones.

        Returns:
            Two arrays of n sums in the budget's unit.
        """
        found = [count.used(start_us, end_us) for count in self.counts]
        return sum((used for used, _ in found[1:]), found[0][0]), sum((unknown for _, unknown in found[1:]), found[0][1])

    def doubt(self, period: Period) -> Doubt:
        """Return why what was counted in a period is not all, engine by engine, and how many hours more it may be."""
        found = [(count, count.cover.doubt(period.start_us, period.end_us)) for count in self.counts]
        whys = [self._said_of(count, doubt.why) for count, doubt in found if doubt.why]
        open_ended = [self._said_of(count, doubt.why) for count, doubt in found if doubt.more_h is None]
        if open_ended:
            return Doubt(open_ended[0], None)
        rest = [f"and of {len(whys) - MOST_NAMED:,} more engines"] if len(whys) > MOST_NAMED else []
        return Doubt("; ".join([*whys[:MOST_NAMED], *rest]), sum(doubt.more_h or 0.0 for _, doubt in found))

    def _said_of(self, count: EngineCount, why: str) -> str:
        """Return a sentence about one engine, with its id where there are several."""
        return why if len(self.counts) == 1 else f"{count.engine}: {why}"

    def why_unknown(self, period: Period, limit: float | None) -> tuple[str, float]:
        """Return why what was counted is not all, or an empty text, and how many hours more it may be.

        Hours that could not bring the sum past the limit, had they all been run, leave nothing open.

        Args:
            period: one of its periods, as it stood at its end.
            limit: the limit in force, or None.
        """
        why, more = self.doubt(period)
        if more is None:
            return why, 0.0
        most = (period.used + period.unknown) * self.divisor + more
        if more <= NOTHING_H or limit is None or rounded(most - limit * self.divisor) <= 0:
            return "", more
        return why, more

    def crossing_us(self, start_us: int, from_us: int, end_us: int, limit: float) -> int | None:
        """Return when the sum from `start_us` on passed a limit, looked for between two instants; None where it did not."""
        edges = [count.edges_us[(count.edges_us >= from_us) & (count.edges_us <= end_us)] for count in self.counts]
        inside = edges[0] if len(edges) == 1 else np.unique(np.concatenate(edges))
        events, jumps = self._events(start_us, end_us)
        # an event is two points at one instant, before and after it
        points = np.concatenate((inside, events, events))
        after = np.concatenate((np.zeros(len(inside)), np.zeros(len(events)), np.ones(len(events))))
        order = np.lexsort((after, points))
        points, after = points[order], after[order]
        done = cumulated(jumps)
        passed = np.where(after > 0, np.searchsorted(events, points, side="right"), np.searchsorted(events, points, side="left"))
        totals = sum((count.total_at(points) - float(count.total_at(start_us)) for count in self.counts), np.zeros(len(points)))
        return instant_of_line(points, totals + done[passed], limit)

    def _events(self, start_us: int, end_us: int) -> tuple[Instants, Floats]:
        """Return what was counted at one instant each, between two instants, in order of time."""
        found = [count.events(start_us, end_us) for count in self.counts]
        at_us = np.concatenate([events for events, _ in found])
        order = np.argsort(at_us, kind="stable")
        return at_us[order], np.concatenate([jumps for _, jumps in found])[order]

    def periods(self) -> list[Period]:
        """Return every period in order of time: calendar periods, or one ending on each day; the last one is the present one."""
        per = self.budget.per
        spans = self._stretches(per) if isinstance(per, CalendarStep) else [per.span_of(number) for number in self._numbers()]
        days, divisor = self.days, self.divisor
        starts = [days.midnight_us(first) for first, _ in spans]
        ends = [min(days.midnight_us(last + timedelta(days=1)), self.end_us) for _, last in spans]
        used, unknown = self.used(np.array(starts, dtype=np.int64), np.array(ends, dtype=np.int64))
        lasts = [min(last, self.last_day) for _, last in spans]
        shares = zip((used / divisor).tolist(), (unknown / divisor).tolist(), strict=True)
        return [
            Period(first, last, final, start, end, self.budget.place_in_force(last), rounded(amount), rounded(doubtful))
            for (first, final), last, start, end, (amount, doubtful) in zip(spans, lasts, starts, ends, shares, strict=True)
        ]

    def is_over(self, period: Period) -> bool:
        """Return whether a period has come to its end by the moment of judging."""
        return period.last_day == period.final_day and period.end_us == self.days.midnight_us(period.final_day + timedelta(days=1))

    def running_from(self, period: Period) -> date:
        """Return the first day on which a period is the running one: of several months or years the last one's first day."""
        per = self.budget.per
        return period.last_day if isinstance(per, CalendarStep) else per.first_of(per.number_of(period.final_day))

    def _first_day(self) -> date:
        """Return the first day of which anything is known."""
        return min(self.days.date_of(count.first_us) for count in self.counts)

    def _numbers(self) -> range:
        """Return the month or year with which each calendar period so far ends."""
        per = self.budget.per
        if isinstance(per, CalendarStep):
            return range(0)
        last = per.number_of(self.last_day)
        return range(min(per.number_of(self._first_day()), last), last + 1)

    def _stretches(self, step: CalendarStep) -> list[tuple[date, date]]:
        """Return first and last day of the stretch that ends on each day."""
        last = self.last_day
        ends = [date.fromordinal(number) for number in range(min(self._first_day(), last).toordinal(), last.toordinal() + 1)]
        return [(step.before(end + timedelta(days=1)), end) for end in ends]


def runs_of(flags: Sequence[bool]) -> list[tuple[int, int]]:
    """Return first and last place of every unbroken run of true values.

    Example:
        >>> runs_of([True, True, False, True])
        [(0, 1), (3, 3)]
    """
    borders = [0, *(place + 1 for place, (one, other) in enumerate(pairwise(flags)) if one != other), len(flags)]
    return [(first, end - 1) for first, end in pairwise(borders) if flags and flags[first]]
