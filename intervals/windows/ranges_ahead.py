"""The days on which a leg will reach its line: a middle one, and the range around it.

In: an engine made ready, what a leg has used up to each edge of its ledger, what is left of it. Out: local days. Use is that up to the
log's end (to the moment of judging, where the log goes on), by days that end there; days of lay-up are left out, and those ahead are
stepped over. It extrapolates; it judges nothing.

While the log is silent, the middle day is the one at the pace of the last 90 days, which decides whether a task is unknown; the range is
widened to hold it. While it goes on, no day lies before the last one that is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.history.engine_case import EngineCase
from intervals.language.legs import DECIMALS, ELAPSED_HOURS, RUNNING_HOURS
from intervals.local_days import LocalDays
from intervals.rules.tasks import Task
from intervals.windows.expected_days import METER, clock_day, day_at, days_after, leg_key, pace_of, used_from_us
from intervals.windows.leg_states import LegState, WindowStart, instant_of_line
from intervals.windows.use_ahead import BLOCK_D, DailyUse, UseAhead

Days = tuple[date | None, date | None, date | None]
"""The middle, the early and the late day; None where a day is not foreseeable."""


@dataclass(eq=False)
class LegUse:
    """What of a leg was used so far, and how it will be.

    It is made anew wherever it is wanted; what costs something is remembered by the case under the key. The case does not keep it: it holds
    the case, and no case were freed before the next one is judged.

    Attributes:
        case: the engine.
        totals: its use up to each edge of the ledger.
        log_end_us: up to when the log covers it; None, or later than the moment of judging: up to that.
        name: the leg, or what a budget counts; what is not of running hours is known from its counter's first reading, or its first use.
        key: under which the case remembers it; None where it is asked for once.
    """

    case: EngineCase
    totals: Floats
    log_end_us: int | None
    name: str = RUNNING_HOURS
    key: str | None = None

    @cached_property
    def pace(self) -> float | None:
        """Use per day of the last 90 days."""
        if self.key is None:
            return pace_of(self.case, self.totals, self.log_end_us)
        if self.key not in self.case.paces:
            self.case.paces[self.key] = pace_of(self.case, self.totals, self.log_end_us)
        return self.case.paces[self.key]

    @property
    def ahead(self) -> UseAhead | None:
        """Its paths ahead; None where the log has no fortnight outside lay-ups."""
        if self.key is None:
            return self._own_ahead
        if self.key not in self.case.uses:
            self.case.uses[self.key] = self._ahead()
        found: UseAhead | None = self.case.uses[self.key]
        return found

    @cached_property
    def _own_ahead(self) -> UseAhead | None:
        """The paths ahead of what the case does not remember."""
        return self._ahead()

    def _ahead(self) -> UseAhead | None:
        """Return its paths ahead, worked out."""
        use = self._by_day()
        return None if use is None or use.counted_d < BLOCK_D else UseAhead(use)

    def _by_day(self) -> DailyUse | None:
        """Return what was used up to the end of each day, days that end when the log does; None where nothing is known."""
        case, first_us = self.case, self._first_us
        if first_us is None:
            return None
        end_us = case.end_us if self.log_end_us is None else min(case.end_us, self.log_end_us)
        at_us = _day_ends(case.days, first_us, end_us)
        total = np.interp(at_us, case.ledger.edges_us, self.totals)
        # nothing is used after the log's end
        total[-1] = self.totals[-1]
        counts = None
        for start_us, stop_us in case.log.active.spans_us:
            outside = (at_us[1:] <= start_us) | (at_us[:-1] >= stop_us)
            counts = outside if counts is None else counts & outside
        # at standstill totals differ by what adding them up in another order rounds to, which is no use
        return DailyUse(np.round(total - total[0], DECIMALS), counts)

    @property
    def _first_us(self) -> int | None:
        """From when on it is known."""
        first_us, ledger = self.case.log.known_from_us, self.case.ledger
        if first_us is None or self.name == RUNNING_HOURS:
            return first_us
        counter_us = ledger.counters_known_from_us.get(self.name)
        place = max(0, int(np.searchsorted(self.totals, 0.0, side="right")) - 1)
        return max(first_us, int(ledger.edges_us[place]) if counter_us is None else counter_us)

    def range_of(self, left: float, from_us: int) -> Days:
        """Return the days on which what is left at an instant is used up.

        Args:
            left: what is left at the instant, in the leg's unit.
            from_us: the instant, UTC microseconds.
        """
        case = self.case
        ahead = self.ahead
        if ahead is None:
            on = early = late = day_at(case, left, self.pace, from_us)
        else:
            early, on, late = days_after(case, ahead.days_to(left), from_us)
            if case.is_silent:
                on = day_at(case, left, self.pace, from_us)
                early, late = _widened(on, early, late)
        return (on, early, late) if case.is_silent else _not_before(case.last_day, on, early, late)

    def middle_of(self, left: float, from_us: int) -> date | None:
        """Return the middle day on which what is left at an instant is used up, or was, where something is over already.

        Args:
            left: what is left at the instant; less than nothing: by how much it is over.
            from_us: the instant, UTC microseconds.
        """
        case, ahead = self.case, self.ahead
        if ahead is None or case.is_silent:
            return day_at(case, left, self.pace, from_us)
        if left > 0:
            return days_after(case, (ahead.middle_to(left),), from_us)[0]
        at_us = instant_of_line(case.ledger.edges_us, self.totals, float(self.totals[-1]) + left, reached=True)
        return None if at_us is None else case.days.last_day_before(at_us)


def _day_ends(days: LocalDays, first_us: int, end_us: int) -> Instants:
    """Return the same time of each local day, from an instant on up to one that is the last of them."""
    midnights = days.midnights_us[: int(np.searchsorted(days.midnights_us, end_us, side="right"))]
    at_us: Instants = midnights + (end_us - int(midnights[-1]))
    return at_us[at_us >= min(first_us, end_us)]


def use_of_leg(case: EngineCase, task: Task, name: str) -> LegUse | None:
    """Return what of a leg of use of a task was used, worked out once for each leg and weight; None: unknown, or of the clock."""
    totals = None if name == ELAPSED_HOURS else case.leg_totals(task, name)
    if totals is None:
        return None
    return LegUse(case, totals, case.log_end_us_of(name), name, leg_key(case, task, name))


def use_of_meter(case: EngineCase) -> LegUse:
    """Return what was used of plain running hours."""
    return LegUse(case, case.ledger.running_h, case.log_end_us_of(RUNNING_HOURS), key=METER)


def range_of_leg(case: EngineCase, task: Task, leg: LegState, start: WindowStart) -> Days:
    """Return the days on which a leg of use, or of the clock, reaches its line."""
    if leg.leg == ELAPSED_HOURS and leg.left is not None:
        day = clock_day(case, leg.left)
        return day, day, day
    use = use_of_leg(case, task, leg.leg)
    return (None, None, None) if use is None or leg.left is None else use.range_of(leg.left, used_from_us(case, leg, start))


def lead_day_of(case: EngineCase, task: Task, leg: LegState, start: WindowStart) -> date | None:
    """Return the day on which a leg of use comes, or came, inside its lead; the same middle as that of its line."""
    if leg.leg == ELAPSED_HOURS and leg.left is not None:
        return clock_day(case, leg.left - leg.lead)
    use = use_of_leg(case, task, leg.leg)
    return None if use is None or leg.left is None else use.middle_of(leg.left - leg.lead, used_from_us(case, leg, start))


def _widened(on: date | None, early: date | None, late: date | None) -> tuple[date | None, date | None]:
    """Return the early and the late day of a range that holds a day; a late day that is not foreseeable stays so."""
    if on is None:
        return early, late
    return on if early is None else min(on, early), None if late is None else max(on, late)


def _not_before(last_day: date, on: date | None, early: date | None, late: date | None) -> Days:
    """Return days, each the last one that is judged where that is later."""
    return on and max(on, last_day), early and max(early, last_day), late and max(late, last_day)
