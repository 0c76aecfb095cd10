"""The rules of the monthly page: what changed, what to do first, what the whole comes to. Rules are data here too.

In: facts about a finding now and a month ago, and about a site. Out: the one rule that fired. Every rule is a condition that
durable-rules judges; this module holds no comparison of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import cast

from intervals.findings import Finding, Totals
from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.questions.month.month_models import ActionKind, ChangeKind, VerdictKind
from intervals.rulebook.inference import FactValue, RuleBase
from intervals.rulebook.standing_rules import TaskRule

ABSENT = "absent"


def _is(name: str, *words: str) -> Condition:
    """Return a condition that a fact is one of several words."""
    return Comparison(name, "in", tuple(words))


def _yes(name: str, *, value: bool = True) -> Condition:
    """Return a condition on a truth value."""
    return Comparison(name, "in", (value,))


def _some(name: str) -> Condition:
    """Return a condition that there is at least one."""
    return Comparison(name, ">=", 1.0)


# A task now and at the end of the month before, in order of priority; `done_since` is a completion between the two, `rule` the one by
# which it stands now.
CHANGE_RULES: dict[str, Condition] = {
    "began": AllOf((_is("was", ABSENT), _is("now", "upcoming", "in_interval", "unknown"))),
    "ended": _is("now", ABSENT),
    "fell-overdue": AllOf((_is("now", "overdue"), _is("was", "upcoming", "in_interval", "unknown", ABSENT))),
    "overdue-again": AllOf((_is("now", "overdue"), _yes("done_since"))),
    "still-overdue": _is("now", "overdue"),
    "put-off": AllOf(
        (_is("was", "overdue"), _is("now", "upcoming"), _is("rule", TaskRule.DEFERRAL_HOLDS), _yes("done_since", value=False))
    ),
    "waits": AllOf(
        (_is("was", "overdue"), _is("now", "upcoming"), _is("rule", TaskRule.BEFORE_NEXT_START), _yes("done_since", value=False))
    ),
    "put-right": AllOf((_is("was", "overdue"), _is("now", "upcoming", "in_interval"))),
    "became-unknown": AllOf((_is("now", "unknown"), _is("was", "overdue", "upcoming", "in_interval"))),
    "became-known": AllOf((_is("was", "unknown"), _is("now", "upcoming", "in_interval"))),
    "came-near": AllOf((_is("now", "upcoming"), _is("was", "in_interval"))),
    "as-before": AnyOf((_is("now", "in_interval", "unknown", "upcoming"),)),
}

# What to do about a finding, most urgent first.
ACTION_RULES: dict[str, Condition] = {
    "do-now": AllOf((_is("standing", "overdue"), _yes("within_tolerance", value=False))),
    "do-in-tolerance": _is("standing", "overdue"),
    "find-out": _is("standing", "unknown"),
    "before-start": AllOf((_is("standing", "upcoming"), _is("rule", TaskRule.BEFORE_NEXT_START))),
    "plan": _is("standing", "upcoming"),
    "nothing": _is("standing", "in_interval"),
}

# What the whole site comes to, the gravest first.
VERDICT_RULES: dict[str, Condition] = {
    "needs-work": _some("overdue_beyond"),
    "needs-work-soon": _some("overdue"),
    "needs-making-good": _some("skipped_open"),
    "needs-finding-out": _some("unknown"),
    "needs-planning": _some("upcoming"),
    "all-in-interval": Comparison("overdue", "<", 1.0),
}


@dataclass(frozen=True)
class MonthRules:
    """The rules of the page, compiled once for a run."""

    @classmethod
    def shared(cls) -> MonthRules:
        """Return the rules that the whole process shares."""
        return _SHARED

    @cached_property
    def _changes(self) -> RuleBase:
        return RuleBase("changes", CHANGE_RULES, only_first=True)

    @cached_property
    def _actions(self) -> RuleBase:
        return RuleBase("actions", ACTION_RULES, only_first=True)

    @cached_property
    def _verdicts(self) -> RuleBase:
        return RuleBase("verdicts", VERDICT_RULES, only_first=True)

    def change_of(self, was: Finding | None, now: Finding | None) -> ChangeKind | None:
        """Return what became of a task, or None where it stands as before."""
        facts: dict[str, FactValue] = {
            "was": ABSENT if was is None else was.standing,
            "now": ABSENT if now is None else now.standing,
            "done_since": was is not None and now is not None and was.last_done != now.last_done,
            "rule": _rule_of(now),
        }
        rule = self._changes.fire_one(facts)
        return None if rule == "as-before" else cast("ChangeKind", rule)

    def action_of(self, finding: Finding) -> ActionKind | None:
        """Return what is to be done about a finding, or None where nothing is."""
        facts = {"standing": finding.standing, "within_tolerance": finding.within_tolerance, "rule": _rule_of(finding)}
        fired = self._actions.fire_one(facts)
        return None if fired == "nothing" else cast("ActionKind", fired)

    def verdict_of(self, totals: Totals, within_tolerance: int) -> VerdictKind:
        """Return what the whole site comes to."""
        facts = {
            "overdue": float(totals.overdue),
            "overdue_beyond": float(totals.overdue - within_tolerance),
            "skipped_open": float(totals.skipped_open),
            "unknown": float(totals.unknown),
            "upcoming": float(totals.upcoming),
        }
        return cast("VerdictKind", self._verdicts.fire_one(facts))


_SHARED = MonthRules()


def _rule_of(finding: Finding | None) -> str:
    """Return the rule by which a task stands as it does."""
    return finding.reasons[0].rule if finding is not None and finding.reasons else ""
