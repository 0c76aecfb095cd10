"""The order in which findings are to be acted on."""

from __future__ import annotations

from intervals.findings import Finding
from intervals.urgency import by_urgency
from tests.unit.reports.made_findings import finding, hours_leg


def ids(findings: list[Finding]) -> list[str]:
    """Return the tasks in order."""
    return [each.task for each in findings]


def of(task: str, used: float | None, **keys: object) -> Finding:
    """Return a finding by its task and by what it has used of 2,000 h."""
    legs = (hours_leg(used),)
    return finding(task=task, legs=legs, governing=None if used is None else "running_hours", **keys)  # type: ignore[arg-type] # any keys


def test_what_is_further_past_comes_first() -> None:
    """Beyond tolerance by share consumed, then inside it; an overdue without a share comes last of its group."""
    given = [
        of("inside-far", 2190, within_tolerance=True),
        of("no-share", None),
        of("past", 2300),
        of("inside-near", 2010, within_tolerance=True),
        of("far-past", 4000),
    ]
    assert ids(by_urgency(given)) == ["far-past", "past", "no-share", "inside-far", "inside-near"]


def test_unknown_comes_before_what_is_still_ahead() -> None:
    """Overdue, unknown, upcoming, in interval; the last two by their days, then by share, one without a day last."""
    given = [
        of("interval-later", 100, standing="in_interval", due_on="2027-05-01"),
        of("interval", 100, standing="in_interval", due_on="2027-03-01"),
        of("no-day", 1900, standing="upcoming", due_on=None),
        of("soon-less", 1850, standing="upcoming", due_on="2026-11-20"),
        of("soon", 1900, standing="upcoming", due_on="2026-11-20"),
        of("sooner", 1810, standing="upcoming", due_on="2026-11-19"),
        of("unknown", None, standing="unknown", due_on=None),
        of("overdue", 2001),
    ]
    assert ids(by_urgency(given)) == ["overdue", "unknown", "sooner", "soon", "soon-less", "no-day", "interval", "interval-later"]


def test_what_is_alike_keeps_its_order() -> None:
    """Two engines with the same figures stay in the order of the site."""
    given = [of("b", 2100), of("a", 2100), of("d", None, standing="unknown"), of("c", None, standing="unknown")]
    assert ids(by_urgency(given)) == ["b", "a", "d", "c"]
