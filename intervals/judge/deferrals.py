"""Approved deferrals of the open window: which one holds, when it ends, what is left to it, and when it will run out.

In: an engine made ready, a window, the deferrals of its task. Out: instants, hours, days, and the word that the standing rules ask for.
Whether a deferral has run out is for durable-rules; nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from intervals.findings import Deferral, FactValue, Forecast
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import DeferralRecord
from intervals.judge.forecast import foreseen
from intervals.language.legs import RUNNING_HOURS, rounded
from intervals.local_days import HOUR_US
from intervals.rulebook.standing_rules import DEFERRAL_RAN_OUT, DEFERRAL_UNKNOWN
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.ranges_ahead import Days, use_of_meter


def deferral_end_us(case: EngineCase, deferral: DeferralRecord) -> int | None:
    """Return when a deferral comes to its end: the meter passes until_h or until_date ends, whichever first; None if not in sight.

    Returns:
        UTC microseconds: the midnight after until_date, or when the meter passed until_h, never before the deferral itself.
    """
    ends = []
    if deferral.until_date is not None:
        ends.append(case.days.midnight_us(date.fromordinal(deferral.until_date.toordinal() + 1)))
    if deferral.until_bridged_h is not None:
        passed_us = case.log.course.instant_past(deferral.until_bridged_h)
        if passed_us is not None:
            ends.append(max(passed_us, deferral.at_us))
    return min(ends, default=None)


def held_until_us(case: EngineCase, deferrals: Sequence[DeferralRecord], from_us: int) -> int | None:
    """Return until when deferrals hold open what would be decided at an instant: that instant where none does, None without an end.

    Args:
        case: the engine.
        deferrals: those of one window, in order of time; the latest counts from its own moment on.
        from_us: the instant.
    """
    at_us = from_us
    while True:
        given = [entry for entry in deferrals if entry.at_us <= at_us]
        if not given:
            return at_us
        end_us = deferral_end_us(case, given[-1])
        following = next((entry.at_us for entry in deferrals if entry.at_us > at_us), None)
        if end_us is not None and end_us <= at_us:
            return at_us
        if following is not None and (end_us is None or following < end_us):
            at_us = following
        elif end_us is None:
            return None
        else:
            at_us = end_us


def printed_deferral(deferral: DeferralRecord) -> Deferral:
    """Return until when a deferral holds, as a finding prints it."""
    return Deferral(hour_meter_h=deferral.until_h, date=_day_text(deferral))


def facts_of_deferral(deferral: DeferralRecord) -> dict[str, FactValue]:
    """Return until when a deferral holds, as the facts of a reason."""
    return {"until_h": deferral.until_h, "until_date": _day_text(deferral)}


def _day_text(deferral: DeferralRecord) -> str | None:
    """Return the last day of a deferral, ISO; None where only the meter ends it."""
    return deferral.until_date.isoformat() if deferral.until_date else None


def deferral_in(chain: TaskChain, window: WindowEnd) -> DeferralRecord | None:
    """Return the latest approved deferral of the open window."""
    inside = [entry for entry in chain.case.records.deferrals.get(chain.task.id, ()) if entry.at_us >= window.start.at_us]
    return inside[-1] if inside else None


def forecast_of_deferral(case: EngineCase, deferral: DeferralRecord) -> Forecast | None:
    """Return when a deferral will run out: its meter reading as running hours are used up, or its date, whichever is first."""
    until = deferral.until_date
    rows: list[Days] = [] if until is None else [(until, until, until)]
    return foreseen([*rows, *_days_of_deferral(case, deferral)], "first")


def day_of_deferral(case: EngineCase, deferral: DeferralRecord) -> date | None:
    """Return the day on which the meter is expected to pass a deferral's reading, or None where it has none or it is unknown."""
    return next((on for on, _, _ in _days_of_deferral(case, deferral)), None)


def hours_to_deferral(case: EngineCase, deferral: DeferralRecord) -> float | None:
    """Return the hours that are left to a deferral's reading as far as the log goes, or None where it has none or it is unknown."""
    run_h = case.log.course.hours_at_one(case.end_us)
    if deferral.until_bridged_h is None or run_h is None:
        return None
    return rounded(deferral.until_bridged_h - run_h)


def _days_of_deferral(case: EngineCase, deferral: DeferralRecord) -> list[Days]:
    """Return the days on which the meter passes a deferral's reading; none where it has none or it is unknown."""
    left_h, log_end_us = hours_to_deferral(case, deferral), case.log_end_us_of(RUNNING_HOURS)
    if left_h is None or log_end_us is None:
        return []
    return [use_of_meter(case).range_of(max(0.0, left_h), min(case.end_us, log_end_us))]


def state_of_deferral(chain: TaskChain, deferral: DeferralRecord, end_us: int | None) -> str:
    """Put it to the rules whether a deferral holds, has ended, or may have ended since the log did.

    Args:
        chain: the task's windows.
        deferral: the one that was approved last.
        end_us: when it came to its end, UTC microseconds; None while that is not in sight.

    Returns:
        `ended`, `unknown` (what is left could have been run since the log ended) or `holds`.
    """
    case = chain.case
    facts: dict[str, float | None] = {"since_end_h": None if end_us is None else (case.end_us - end_us) / HOUR_US}
    left_h = hours_to_deferral(case, deferral)
    if left_h is not None:
        silence_us = case.silence_us(case.end_us)
        facts["sure_h"] = rounded(left_h - silence_us / HOUR_US) if silence_us > case.log.gap_us else None
    holds = case.standings.deferral.fire(facts).holds
    return "ended" if DEFERRAL_RAN_OUT in holds else "unknown" if DEFERRAL_UNKNOWN in holds else "holds"
