"""The finding of a task that is done once and waits: nothing is due, or it is not known whether anything is.

In: a task's chain without an open window. Out: a `Finding` without legs.
"""

from __future__ import annotations

from intervals.findings import FactValue, Finding, Reason
from intervals.history.events import next_planned_us, planned_text
from intervals.judge.finding_of import finding_of, finding_without_window, printed_completion, unknown_finding
from intervals.rulebook.standing_rules import STANDING_OF_RULE, TaskRule
from intervals.rules.events import START_UP
from intervals.windows.chain import Idle, TaskChain, WindowEnd


def finding_now(chain: TaskChain, window: WindowEnd | None) -> Finding:
    """Return the finding of a task that is for its engine, whatever is known of it.

    Args:
        chain: the task's windows.
        window: the one that is open; None where there is none.
    """
    if window is not None:
        return finding_of(chain, window)
    idle = chain.idle
    return finding_without_window(chain, is_described=True) if idle is None else _idle_finding(chain, idle)


def _idle_finding(chain: TaskChain, idle: Idle) -> Finding:
    """Return the finding of a task done once of which no event is open."""
    case, task = chain.case, chain.task
    rule = case.standings.task_rule(task.whichever, frozenset(), has_window=False, idle=idle.word)
    facts: dict[str, FactValue] = {}
    # an engine that is judged has started up
    after = " or ".join(str(event) for event in task.events if event.kind != START_UP)
    until = f"nothing is due until {after}" if after else "nothing more is due"
    match rule:
        case TaskRule.DONE_ONCE if idle.last is not None:
            text = f"done once on {idle.last.day.isoformat()} ({idle.last.record}); {until}"
        case TaskRule.WAITS_FOR_EVENT:
            text = until
        case _:
            text = f"unknown: {idle.why}"
    planned_us = next_planned_us(task, case.site, case.engine.id, case.end_us)
    if planned_us is not None:
        facts["planned_at"] = planned_text(case.site, planned_us)
        text += f"; next planned for {facts['planned_at']}"
    reason = Reason(rule=rule, text=text, facts=facts, source=task.source or case.book.ruleset.source)
    finding = unknown_finding(case.engine.id, case.ruleset, task.id, task.title, reason)
    last_done = None if idle.last is None else printed_completion(chain, idle.last)
    return finding.model_copy(update={"standing": STANDING_OF_RULE[rule], "last_done": last_done})


__all__ = ["finding_now"]
