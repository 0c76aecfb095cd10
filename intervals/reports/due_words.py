"""When a task is due, in the few words of a title or a cell: its deferral, its age, its day.

In: findings and the day of judging. Out: text and days, for the calendar, the workbook and whoever else writes short. Nothing is
decided here.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from intervals.figures import amount, count_of
from intervals.findings import Deferral, Finding


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


def due_title(finding: Finding, today: date) -> str:
    """Return how a task that has a day stands, as the beginning of a title: with its age where the day has gone by, and its deferral.

    Args:
        finding: of a task whose `due_on` is known.
        today: the last day that was judged.
    """
    held = "" if finding.deferred_until is None else f", deferred until {deferral_end(finding.deferred_until)}"
    match finding.standing:
        case "overdue":
            age = (today - date.fromisoformat(finding.due_on or today.isoformat())).days
            within = ", in tolerance" if finding.within_tolerance else ""
            return f"Overdue {'since today' if age < 1 else 'for ' + count_of(age, 'day')}{within}{held}"
        case "unknown":
            return f"Unknown, expected on {finding.due_on}{held}"
        case "upcoming":
            waits = bool(finding.reasons) and finding.reasons[0].rule == "before-next-start"
            return f"Due before next start{held}" if waits else f"Due{held}"
        case _:
            return "Expected due"
