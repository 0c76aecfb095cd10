"""When a task is due, in the few words of a title or a cell: its deferral, its age, its day.

In: findings and the day of judging. Out: text and days, for the calendar, the workbook and whoever else writes short. Nothing is
decided here.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from intervals.findings import Deferral, Finding
from intervals.rulebook.standing_rules import TaskRule
from intervals.shown_numbers import amount, count_of


def deferral_end(deferral: Deferral) -> str:
    """Return until when a deferral holds.

    Example:
        >>> deferral_end(Deferral(hour_meter_h=12000.0, date="2026-10-31"))
        '12,000 h on the meter or 2026-10-31'
    """
    ends = [] if deferral.hour_meter_h is None else [f"{amount(deferral.hour_meter_h, 'h')} on the meter"]
    return " or ".join([*ends, *([] if deferral.date is None else [deferral.date])])


def last_day_of(as_of: str) -> date:
    """Return the last day that a moment of judging covers; a midnight is the end of the day before it.

    Example:
        >>> last_day_of("2026-11-01T00:00:00+01:00"), last_day_of("2026-11-01T06:00:00+01:00")
        (datetime.date(2026, 10, 31), datetime.date(2026, 11, 1))
    """
    return (datetime.fromisoformat(as_of).replace(tzinfo=None) - timedelta(microseconds=1)).date()


def _held(finding: Finding) -> str:
    """Return until when a task is or was deferred, as the end of a title."""
    if finding.deferred_until is None:
        return ""
    has_ended = any(reason.rule == TaskRule.DEFERRAL_ENDED for reason in finding.reasons)
    end = deferral_end(finding.deferred_until)
    return f", deferral until {end} has run out" if has_ended else f", deferred until {end}"


def due_title(finding: Finding, today: date) -> str:
    """Return how a task that has a day stands, as the beginning of a title: with its age where the day has gone by, and its deferral.

    Args:
        finding: of a task whose `due_on` is known.
        today: the last day that was judged.
    """
    held = _held(finding)
    match finding.standing:
        case "overdue":
            # a survey may be held until its window ends, so that its age is not that of its due date
            age = (today - date.fromisoformat(finding.crossed_on or finding.due_on or today.isoformat())).days
            within = ", in tolerance" if finding.within_tolerance else ""
            return f"Overdue {'since today' if age < 1 else 'for ' + count_of(age, 'day')}{within}{held}"
        case "unknown":
            return f"Unknown, expected on {finding.due_on}{held}"
        case "upcoming":
            waits = bool(finding.reasons) and finding.reasons[0].rule == TaskRule.BEFORE_NEXT_START
            return f"Due before next start{held}" if waits else f"Due{held}"
        case _:
            return "Expected due"
