"""The sums of a window in lines: what of each leg was used, what is allowed, and how the task stands by that.

In: a task's chain, a window, its finding. Out: `Step`s, in the order in which a person does the sums.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.judge.forecast import hours_to_deferral
from intervals.judge.start_reasons import start_sums
from intervals.judge.wording import since_text
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, RUNNING_HOURS, rounded
from intervals.questions.explain.explained_window import cells_of
from intervals.questions.explain.explanation_models import Step
from intervals.shown_numbers import exact
from intervals.windows.chain import TaskChain, WindowEnd, deferral_in
from intervals.windows.expected_days import day_at, leg_pace, meter_pace, used_from_us
from intervals.windows.legs import LegState, window_factor


def sums_of(chain: TaskChain, window: WindowEnd, finding: Finding) -> Iterator[Step]:
    """Yield the arithmetic of every leg, and the standing."""
    case = chain.case
    for leg in window.legs:
        if leg.leg == CALENDAR:
            yield from _calendar_sums(window, leg)
            continue
        yield from _use_sums(chain, window, leg)
        factor = window_factor(window.effects, case.factor_limits)
        is_first = window.start.is_first and chain.task.first is not None and leg.leg in chain.task.first
        origin = f"first {exact(leg.allowed / factor)}" if is_first else f"every {_base(leg)}"
        times = f" x {factor:g}" if factor != 1.0 else ""
        yield Step(label=f"{leg.leg} allowed", sum=f"{origin}{times} = {exact(leg.allowed)} {leg.unit}")
        if leg.used is not None:
            yield Step(
                label=f"{leg.leg} share used",
                sum=f"{exact(leg.used)} / {exact(leg.allowed)} = {leg.consumed:.6f}; remaining {exact(leg.remaining)} {leg.unit}; "
                f"upcoming from {exact(leg.lead)} {leg.unit} before the line",
            )
        if finding.forecast is not None and finding.deferred_until is None:
            yield from _expected(chain, window, leg)
    if finding.forecast is not None and finding.deferred_until is not None:
        yield from _deferral_expected(chain, window)
    if finding.governing:
        word = "largest" if chain.task.whichever == "first" else "smallest"
        shares = ", ".join(f"{leg.leg} {leg.consumed:.6f}" for leg in window.legs if leg.consumed is not None)
        yield Step(label="governing", sum=f"{finding.governing}: the {word} share used of {shares}")
    if finding.crossed_on:
        yield Step(label="crossed on", sum=finding.crossed_on)
    yield Step(label="status", sum=f"{finding.standing.replace('_', ' ')} by rule {finding.reasons[0].rule}")


def _expected(chain: TaskChain, window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield how the expected day of a leg of use follows from the pace at the log's end."""
    pace = leg_pace(chain.case, chain.task, leg)
    if leg.left is not None and leg.left >= 0 and pace is not None and pace.recent:
        from_us = used_from_us(chain.case, leg, window.start)
        yield Step(label=f"{leg.leg} expected", sum=_days_sum(chain.case, leg.left, leg.unit, pace.recent, from_us))


def _deferral_expected(chain: TaskChain, window: WindowEnd) -> Iterator[Step]:
    """Yield how the day follows on which the meter is expected to pass the reading of a deferral."""
    case, deferral = chain.case, deferral_in(chain, window)
    left_h, told_to_us = None if deferral is None else hours_to_deferral(case, deferral), case.told_to_us(RUNNING_HOURS)
    pace = meter_pace(case)
    if left_h is not None and left_h >= 0 and told_to_us is not None and pace.recent:
        yield Step(label="deferral expected", sum=_days_sum(case, left_h, "h", pace.recent, min(case.end_us, told_to_us)))


def _days_sum(case: EngineCase, left: float, unit: str, pace: float, from_us: int) -> str:
    """Return the sum of the days that what is left lasts, and the day on which they end."""
    on, ended = day_at(case, left, pace, from_us), case.days.last_day_before(from_us).isoformat()
    idle = ", laid-up days left out" if any(end_us > from_us for _, end_us in case.log.active.spans_us) else ""
    days = f"{exact(left)} {unit} left / {exact(rounded(pace))} {unit} per day = {exact(rounded(left / pace))} d"
    return f"{days} from {ended} on{idle}: {on or 'not foreseeable'}"


def _base(leg: LegState) -> str:
    """Return what `every` says of a leg."""
    return leg.base.text if isinstance(leg.base, CalendarStep) else exact(float(leg.base))


def _calendar_sums(window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield the arithmetic of the calendar leg."""
    start = window.start
    anchor = f", counted from {leg.anchor}" if leg.anchor not in (None, start.day) else ""
    around = "" if leg.opens is None else f", to be done from {leg.opens} to {leg.line}"
    due = f"{start.day.isoformat()} + {leg.step or leg.base}{anchor} = {leg.due}{around}; {leg.allowed:g} d allowed"
    yield Step(label="calendar due", sum=due)
    span = f"{start.day.isoformat()} to {window.end_day.isoformat()}"
    yield Step(
        label="calendar used",
        sum=f"{span} = {leg.used:g} d; {leg.used:g} / {leg.allowed:g} = {leg.consumed:.6f}; "
        f"remaining {leg.remaining:g} d; upcoming from {leg.lead:g} d before {'the due date' if leg.line == leg.due else leg.line}",
    )


def _use_sums(chain: TaskChain, window: WindowEnd, leg: LegState) -> Iterator[Step]:
    """Yield how the use of a leg adds up."""
    if leg.used is None:
        yield Step(label=f"{leg.leg} used", sum=f"unknown: {leg.why_unknown}")
        return
    parts = []
    if leg.leg == RUNNING_HOURS:
        parts = [f"{cell.hours_h:,.2f} x {cell.counts_as:g}" for cell in cells_of(chain, window)]
        parts += start_sums(chain, window)
    carried = window.start.carried.get(leg.leg)
    if carried:
        parts.insert(0, f"{carried:,.6g} carried over")
    total = f"{leg.used:,.6g} {leg.unit}"
    yield Step(label=f"{leg.leg} used", sum=f"{' + '.join(parts)} = {total}" if parts else f"{total} {since_text(window.start)}")
