"""The rules that judge what was handed in of a job: each step, what has to balance, and the task. Rules are data here too.

In: facts about a step, a balance or a task. Out: the rules that fired, and what each means for the credit of the task. Every rule is a
condition that durable-rules judges; this module holds no comparison of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.rulebook.inference import FactValue, InferenceFaultError, RuleBase

Outcome = Literal["fine", "told", "unknown", "lacks", "refuses"]
"""What a rule means for the task: nothing wrong; worth telling; it could not be judged; something is missing; it cannot be true."""
VerdictWord = Literal["credited", "partial", "refused"]


def _is(name: str, *values: str | bool) -> Comparison:
    """Return an equality with one of several words or truth values."""
    return Comparison(name, "in", tuple(values))


_REQUIRED, _ASKED = _is("need", "required"), _is("need", "asked")
_GIVEN, _NOT_GIVEN = _is("has_evidence", True), _is("has_evidence", False)
_FORWARD, _BACK = _is("is_restore", False), _is("is_restore", True)
_NO_CHECK = _is("kind", "caution", "set", "wait", "do", "measure", "sample")
_NO, _NOT_HERE = _is("answer", "no"), _is("answer", "not_applicable")
# "not applicable" is an answer with its reason, where the step may be left out or may not be for the engine at all
_EXCUSED = AllOf((_NOT_HERE, _is("has_reason", True), AnyOf((_ASKED, _is("kind", "check"), _is("is_certain", False)))))
_NOT_EXCUSED = AnyOf(
    (
        _is("answer", "done", "yes", "no", "none"),
        _is("has_reason", False),
        AllOf((_REQUIRED, _NO_CHECK, _is("is_certain", True))),
    )
)
_LEFT_OUT = AllOf((_NOT_GIVEN, _NOT_EXCUSED, _is("is_moot", False)))

# A step and what was handed in of it; every rule that holds fires. `need` is required or asked; `answer` what was ticked (done, yes, no,
# not_applicable, none); `has_evidence` whether what its kind asks for is there: both times of a wait, a value, a label, else a tick. The
# answer no is evidence of a check alone. `is_moot` tells of a putting back whose setting was not applicable. `waited_min` is end - start;
# `short_by_min` the set minutes less these; `began_early_min` by how much it was begun before the last step that it needs was done.
# `past_closed` is how far a value lies beyond a limit that may be reached, `past_open` the same of one that may not; below zero it lies
# inside. What is not stated is unknown.
STEP_RULES: dict[str, Condition] = {
    "times-contradict": Comparison("waited_min", "<", 0.0),
    "check-failed": AllOf((_is("kind", "check"), _NO)),
    "not-restored": AllOf((_BACK, AnyOf((_NO, AllOf((_LEFT_OUT, _REQUIRED)))))),
    "step-left-out": AllOf((_FORWARD, AnyOf((AllOf((_LEFT_OUT, _REQUIRED)), AllOf((_NO, _NO_CHECK)))))),
    "out-of-order": AllOf((_GIVEN, Comparison("began_early_min", ">", 0.0))),
    "wait-short": AllOf((_is("kind", "wait"), _GIVEN, Comparison("short_by_min", ">", 0.0))),
    "value-beyond": AllOf(
        (_is("kind", "measure"), _GIVEN, AnyOf((Comparison("past_closed", ">", 0.0), Comparison("past_open", ">=", 0.0))))
    ),
    "not-stated": AllOf((_GIVEN, _is("is_stated", False))),
    "order-not-known": AllOf((_GIVEN, _is("is_order_known", False))),
    "not-applicable": AllOf((_EXCUSED, _is("is_moot", False))),
    "not-told": AllOf((_LEFT_OUT, _ASKED, _is("answer", "none", "done", "yes", "not_applicable"))),
}

# What was filled and what came out: `past_by` is how far they are apart beyond what is allowed, in their unit.
BALANCE_RULES: dict[str, Condition] = {
    "out-of-balance": Comparison("past_by", ">", 0.0),
    "balance-not-known": _is("is_known", False),
}

# A task, from the rules that fired on its steps, in order of priority: the first that holds fires.
TASK_RULES: dict[str, Condition] = {
    "nothing-done": _is("any_work", False),
    "task-refused": _is("any_refuses", True),
    "task-partial": _is("any_lacks", True),
    "task-credited": _is("any_work", True),
}

OUTCOME_OF_RULE: dict[str, Outcome] = {
    "times-contradict": "refuses",
    "check-failed": "lacks",
    "not-restored": "lacks",
    "step-left-out": "lacks",
    "out-of-order": "lacks",
    "wait-short": "lacks",
    "value-beyond": "lacks",
    "out-of-balance": "lacks",
    "not-stated": "unknown",
    "order-not-known": "unknown",
    "balance-not-known": "unknown",
    "not-applicable": "told",
    "not-told": "told",
}
VERDICT_OF_RULE: dict[str, VerdictWord] = {
    "nothing-done": "refused",
    "task-refused": "refused",
    "task-partial": "partial",
    "task-credited": "credited",
}


@dataclass(frozen=True)
class EvidenceRules:
    """The rules about evidence, compiled once for a run."""

    @cached_property
    def steps(self) -> RuleBase:
        """Rules about one step."""
        return RuleBase("evidence of a step", STEP_RULES)

    @cached_property
    def balances(self) -> RuleBase:
        """Rules about what was filled and drained."""
        return RuleBase("balance", BALANCE_RULES)

    @cached_property
    def tasks(self) -> RuleBase:
        """Rules about a task as a whole."""
        return RuleBase("evidence of a task", TASK_RULES, only_first=True)

    def task_rule(self, facts: Mapping[str, FactValue]) -> str:
        """Return the rule about the whole task that fires.

        Args:
            facts: `any_work`, `any_refuses` and `any_lacks`.

        Raises:
            InferenceFaultError: none fires, which the rules exclude.
        """
        holds = self.tasks.fire(facts).holds
        if len(holds) != 1:
            message = f"{len(holds)} rules about {self.tasks.about} fired where one must"
            raise InferenceFaultError(message)
        return holds[0]


@lru_cache(maxsize=1)
def evidence_rules() -> EvidenceRules:
    """Return the rules of this process: what they have judged once they need not judge again."""
    return EvidenceRules()
