"""One window of one task: what was used of what is allowed, leg by leg, at any of the ledger's edges.

In: an engine's ledger and records, a task with its rules, the state in which the window began. Out: `LegState` values and the
window rules that fired. The arithmetic is here; whether a figure is past its line is for durable-rules (`rulebook/standings.py`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple

import numpy as np

from intervals.arrays import Floats
from intervals.history.engine_records import Completion, TaskEvent
from intervals.language.durations import CalendarStep
from intervals.language.legs import DECIMALS, rounded
from intervals.rules.effects.effects_together import NO_CHANGE, WindowChange
from intervals.rules.effects.rule_effect import Bounds
from intervals.rules.tasks import Adjustment, Every, Task

DEFAULT_LEAD_SHARE = 0.1
LONGEST_LEAD_SHARE = 0.5


@dataclass(frozen=True)
class WindowStart:
    """The state in which a window begins.

    Attributes:
        at_us: the instant.
        edge: its index among the ledger's edges.
        day: its local day.
        completion: what ended the window before; None for the engine's first day.
        since_new: how many times the task was done since the engine was new or overhauled, which says which of its `first` intervals
            applies; None where nothing says so, or where it does not matter.
        carried: leg of use -> what it starts with instead of zero.
        anchor: the day from which the calendar leg's grid counts.
        served: the due date that the completion before it served, where the grid is kept.
        event: of a task done once the event that it begins at; its completion is then the last one before that.
    """

    at_us: int
    edge: int
    day: date
    completion: Completion | None
    since_new: int | None
    carried: Mapping[str, float] = field(default_factory=dict)
    anchor: date | None = None
    served: date | None = None
    event: TaskEvent | None = None

    @property
    def makes_new(self) -> bool:
        """Whether the task starts again with `first`, as after a completion that makes it new."""
        return self.since_new == 0


class Until(NamedTuple):
    """Where a window is looked at: at its end, or on the way to it.

    Attributes:
        at_us: the instant.
        edge: its index among the ledger's edges.
        day: the last local day that it covers.
    """

    at_us: int
    edge: int
    day: date


class FiredRule(NamedTuple):
    """A window rule that fired, with the figures it was judged on."""

    rule: Adjustment
    facts: Mapping[str, float | str | bool | None]


class WindowRules(NamedTuple):
    """What the window rules of a task say of one window: those that fired, and those that could not be judged."""

    fired_rules: tuple[FiredRule, ...] = ()
    unknown_rules: tuple[Adjustment, ...] = ()


class LegState(NamedTuple):
    """One leg at the end of a window (figures in `unit`, rounded to a millionth); a named tuple, since a fleet has many.

    Attributes:
        leg: its name in `every`.
        unit: unit of the figures, as it is written behind them.
        base: what `every` says.
        used: what was used, or None where unknown.
        allowed: what is allowed.
        recurring: a full interval after the first.
        lead: how far before the line it is upcoming.
        remaining: allowed minus used, or None where unknown.
        consumed: used divided by allowed, or None where unknown.
        to_lead: remaining minus lead: zero or less inside the lead; None where unknown.
        is_known: whether `used` can be trusted to judge.
        running_h: plain running hours of the window, for the running-hours leg.
        due: the calendar leg's due date.
        line: the last day on which it may be done: the due date, or the end of the task's window.
        opens: the day from which on it may be done, where the task has a window.
        step: the calendar step in force.
        further: of a leg of use, the intervals from its line on where the first intervals of a new engine go on; then `recurring` ones.
        further_steps: of a calendar leg the same, from its due date on.
        waits_for_start: whether the due date fell into a lay-up after which the engine has not run.
        why_unknown: a few words, where it is unknown.
        meter_misses: whether it is unknown because no hour meter covers the window.
        left: what was left of a leg of use as far as the log goes; known also where more may have been used since.
        expected: the day on which a leg of use is expected to reach its line, where the log ended before the moment of judging.
        since_expected_d: days from then to the last day covered; None where nothing is expected.
        used_words: of a leg of use, what stands behind the figure of what was used, as in `2,311 equivalent hours`.
    """

    leg: str
    unit: str
    base: float | CalendarStep
    used: float | None
    allowed: float
    recurring: float
    lead: float
    remaining: float | None
    consumed: float | None
    to_lead: float | None
    is_known: bool
    running_h: float | None = None
    due: date | None = None
    line: date | None = None
    opens: date | None = None
    step: CalendarStep | None = None
    step_number: int = 1
    anchor: date | None = None
    waits_for_start: bool = False
    why_unknown: str = ""
    meter_misses: bool = False
    left: float | None = None
    expected: date | None = None
    since_expected_d: float | None = None
    used_words: str = ""
    further: tuple[float, ...] = ()
    further_steps: tuple[CalendarStep, ...] = ()

    @property
    def past_by(self) -> float | None:
        """Used minus allowed."""
        return None if self.remaining is None else 0.0 - self.remaining


def leg_state(  # noqa: PLR0913 - a leg's name and figures
    leg: str,
    unit: str,
    base: float | CalendarStep,
    used: float | None,
    allowed: float,
    recurring: float,
    lead: float,
    *,
    is_known: bool,
    **more: Any,  # noqa: ANN401 - the other fields of `LegState`
) -> LegState:
    """Return a leg with what follows from its figures worked out."""
    if used is None:
        return LegState(leg, unit, base, None, allowed, recurring, lead, None, None, None, is_known, **more)
    remaining = rounded(allowed - used)
    consumed, to_lead = consumed_of(used, allowed), rounded(remaining - lead)
    return LegState(leg, unit, base, used, allowed, recurring, lead, remaining, consumed, to_lead, is_known, **more)


def consumed_of(used: float, allowed: float) -> float:
    """Return used / allowed; a due date on the day itself counts as consumed in full."""
    return used / allowed if allowed > 0 else 1.0 + max(0.0, used)


def exact(value: float | Decimal) -> Decimal:
    """Return a figure as the decimal that it is written as."""
    return Decimal(str(round(value, DECIMALS))) if isinstance(value, float) else Decimal(value)


def governing_of(legs: Sequence[LegState], whichever: str) -> LegState | None:
    """Return the leg with the largest consumed (`last`: the smallest) among the known; ties go to the one listed first."""
    governing, furthest = None, 0.0
    for leg in legs:
        if not leg.is_known or leg.consumed is None:
            continue
        consumed = leg.consumed if whichever == "first" else -leg.consumed
        if governing is None or consumed > furthest:
            governing, furthest = leg, consumed
    return governing


def window_change(fired_rules: Sequence[FiredRule], limits: Mapping[str, Bounds]) -> WindowChange:
    """Return what the window rules that fired make of an interval together, inside the rule set's limits."""
    if not fired_rules:
        return NO_CHANGE
    return WindowChange.of([fired.rule.window_effect for fired in fired_rules], limits)


class UseTerms(NamedTuple):
    """The terms of a leg of use: what `every` says, what is allowed, the intervals after that, and all others (`recurring`)."""

    base: float
    allowed: float
    recurring: float
    further: tuple[float, ...] = ()


def numeric_terms(  # noqa: PLR0913 - the terms of one leg
    task: Task, every: Every, name: str, since_new: int | None, fired_rules: Sequence[FiredRule], limits: Mapping[str, Bounds]
) -> UseTerms:
    """Return the terms of a leg of use in the window that begins when its task was done so many times since the engine was new.

    `first` and what a rule replaces stand for the leg they name (of several the shortest); other changes come next, then the factor.
    """
    base = _amount(every.legs[name])
    firsts = task.first_legs_from(since_new)
    if not fired_rules and not firsts:
        return UseTerms(base, rounded(base), rounded(base))
    change = window_change(fired_rules, limits)
    becomes = [_amount(term) for term in change.replacing(name)]
    own = _amount(change.changed(name, base))
    recurring = rounded(min(becomes, default=own) * change.factor)
    series = []
    for legs in firsts:
        first = [_amount(change.changed(name, legs[name]))] if name in legs else []
        series.append(rounded(min([*first, *becomes], default=own) * change.factor))
    allowed, *further = series or [recurring]
    return UseTerms(base, allowed, recurring, tuple(further))


def _amount(term: float | CalendarStep) -> float:
    """Return a term of a leg of use; only the calendar leg holds a step."""
    if isinstance(term, CalendarStep):
        message = f"{term} is no amount"
        raise TypeError(message)
    return float(term)


def numeric_lead(task: Task, name: str, allowed: float) -> float:
    """Return the lead of a leg of use: the task's, else 10 % of the allowed; never more than half of it."""
    lead = task.lead.get(name) if task.lead else None
    amount = float(lead) if isinstance(lead, int | float) else allowed * DEFAULT_LEAD_SHARE
    return rounded(min(amount, allowed * LONGEST_LEAD_SHARE))


def first_edge_above(values: Floats, line: float, *, reached: bool = False) -> int | None:
    """Return the first index at which a rising total is past a line (or has reached it), or None."""
    grain = 0.5 * 10.0**-DECIMALS
    index = int(np.searchsorted(values, line - grain, side="left")) if reached else int(np.searchsorted(values, line + grain, side="right"))
    return index if index < len(values) else None


def instant_of_line(edges_us: Sequence[int] | np.ndarray, values: Floats, line: float, *, reached: bool = False) -> int | None:
    """Return when a rising total crossed a line, interpolated inside the piece; None where it did not.

    Args:
        edges_us: instants of the totals.
        values: totals at those instants, rising.
        line: the line.
        reached: whether being at the line is enough.
    """
    index = first_edge_above(values, line, reached=reached)
    if index is None:
        return None
    if index == 0:
        return int(edges_us[0])
    before, after = float(values[index - 1]), float(values[index])
    share = min(1.0, max(0.0, (line - before) / (after - before))) if after > before else 1.0
    return int(edges_us[index - 1]) + round(share * (int(edges_us[index]) - int(edges_us[index - 1])))
