"""The order in which findings are to be acted on: the same in every table, page, workbook and calendar.

In: findings that were judged. Out: the same findings in another order. It judges nothing and leaves none out.
"""

from __future__ import annotations

from collections.abc import Iterable

from intervals.findings import Finding

_LAST_DAY = "9999-12-31"
"""Sorts behind every day that is known."""


def by_urgency(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings, the most urgent first.

    What is overdue beyond its tolerance leads, then what is overdue inside it, each by the share of its interval that is consumed.
    Then comes what is unknown, then what is upcoming and what is in interval, both by the day on which they fall due. Findings that
    are alike in this keep their order; a share or a day that is not known comes last.

    Args:
        findings: in the order of site and rule set.
    """
    return sorted(findings, key=urgency_of)


def urgency_of(finding: Finding) -> tuple[int, str, float]:
    """Return what a finding sorts by: its group, its day (of a group that goes by days), the share that it has not consumed."""
    leg = finding.governing_leg
    consumed = float("-inf") if leg is None or leg.consumed is None else leg.consumed
    match finding.standing:
        case "overdue":
            return int(finding.within_tolerance), "", -consumed
        case "unknown":
            return 2, "", 0.0
        case "upcoming":
            return 3, finding.due_on or _LAST_DAY, -consumed
        case _:
            return 4, finding.due_on or _LAST_DAY, -consumed
