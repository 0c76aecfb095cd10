"""The finding of what could not be judged at all.

In: what it is of, and why. Out: a `Finding` that is unknown, without any figure.
"""

from __future__ import annotations

from intervals.findings import Finding, Reason


def unknown_finding(engine: str, ruleset: str, task: str, title: str, reason: Reason) -> Finding:
    """Return a finding that nothing is known of but its reason.

    Args:
        engine: engine id.
        ruleset: id of the rule set.
        task: id of the task, or of the budget.
        title: its title.
        reason: why nothing is known.
    """
    return Finding(
        engine=engine,
        ruleset=ruleset,
        task=task,
        title=title,
        standing="unknown",
        within_tolerance=False,
        governing=None,
        legs=(),
        last_done=None,
        due_on=None,
        crossed_at=None,
        past_by=None,
        forecast=None,
        deferred_until=None,
        unknown_hours_h=0.0,
        reasons=(reason,),
    )
