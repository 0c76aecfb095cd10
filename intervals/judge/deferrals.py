"""Approved deferrals of a task: when each comes to its end, and until when they hold an occurrence open.

In: an engine's case, deferrals in order of time. Out: instants. Whether a deferral has run out at a moment is for durable-rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import DeferralRecord


def deferral_end_us(case: EngineCase, deferral: DeferralRecord) -> int | None:
    """Return when a deferral comes to its end: the meter passes until_h or until_date ends, whichever first; None if not in sight."""
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
