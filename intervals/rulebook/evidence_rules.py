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
# inside. `is_amount` tells of a value that cannot be below zero. What is not stated is unknown.
STEP_RULES: dict[str, Condition] = {
    "times-contradict": Comparison("waited_min", "<", 0.0),
    "amount-negative": AllOf((_is("kind", "measure"), _is("is_amount", True), Comparison("value", "<", 0.0))),
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

CLOCK_AHEAD_MIN = 5.0
"""The clock of a telephone may be ahead of the computer's by so much."""

# The card as a whole, before any step of it. `ahead_min` is how much later than the clock its latest time is; `job_min` its end less its
# start; `outside_min` by how much a step lies outside these; `end_off_min` how far the end is from the last time that a step tells;
# `before_card_d` how many days before the card was made the work was done. `is_completing` tells of a card that completes another one;
# `before_part_min` is by how much it ends before the last part that it completes.
A_DAY_MIN = 1440.0
"""The end of the work and its steps may be a day apart: a card may be closed the next morning."""
CARD_RULES: dict[str, Condition] = {
    "card-altered": _is("is_genuine", False),
    "task-twice": _is("is_each_task_once", False),
    "card-not-kept": _is("is_card_kept", False),
    "other-site": _is("is_this_site", False),
    "other-engine": _is("is_engine_known", False),
    "handed-in-before": _is("is_recorded", True),
    "completes-nothing": AllOf((_is("is_completing", True), _is("is_completed_known", False))),
    "completed-before": AllOf((_is("is_completing", True), _is("is_completed_before", True))),
    "part-altered": AllOf((_is("is_completing", True), _is("is_part_as_kept", False))),
    "ends-before-part": AllOf((_is("is_completing", True), Comparison("before_part_min", ">", 0.0))),
    "no-time": _is("has_time", False),
    "time-in-future": Comparison("ahead_min", ">", CLOCK_AHEAD_MIN),
    "job-times-contradict": Comparison("job_min", "<", 0.0),
    "outside-job": AllOf((Comparison("outside_min", ">", 0.0), Comparison("outside_min", "<=", A_DAY_MIN))),
    "far-outside-job": Comparison("outside_min", ">", A_DAY_MIN),
    "end-beyond-steps": Comparison("end_off_min", ">", A_DAY_MIN),
    "done-before-card": Comparison("before_card_d", ">", 1.0),
    "not-signed": _is("is_signed", False),
    "found-not-on-card": _is("is_found_on_card", False),
}

METER_AGREES_WITHIN_H = 24.0
"""A reading that was typed may be so far from the log's, as everywhere."""
RAN_AT_MOST_MIN = 6.0
"""A tenth of an hour is what an hour meter may be off."""

# One task of the card beside the rule sets, the records and the log. `behind_record_min` is how much later a record of the task is than
# the job; `meter_off_h` how far the typed reading is from what the meter can have shown; `ran_min` for how long the engine surely ran
# during work that needs it stopped, `is_standstill_stated` whether two times of that work are stated; `is_typed` tells of a job without a
# card; `is_as_shown` whether a person saw this verdict.
RECORD_RULES: dict[str, Condition] = {
    "task-unknown": _is("is_task_known", False),
    "procedure-changed": AllOf((_is("is_task_known", True), _is("is_procedure_same", False))),
    "rules-changed": AllOf((_is("is_digest_same", False), _is("is_procedure_same", True))),
    "said-not-done": _is("is_said_not_done", True),
    "later-record": Comparison("behind_record_min", ">=", 0.0),
    "meter-contradicts": Comparison("meter_off_h", ">", METER_AGREES_WITHIN_H),
    "ran-during-work": AllOf((_is("needs_stop", True), Comparison("ran_min", ">", RAN_AT_MOST_MIN))),
    "standstill-not-known": AllOf((_is("needs_stop", True), _is("is_standstill_stated", False))),
    "records-changed": _is("is_as_shown", False),
    "card-missing": AllOf((_is("is_typed", True), _is("asks_for_evidence", True))),
}

# A deferral that somebody asks for, beside what the rule set allows. `past_pct` is how far past its line the task may then come, in per
# cent of its interval; `most_pct` what is allowed, `more_pct` the former less the latter; `times` how often this occurrence was put off.
# `is_bounded` tells whether the rule set says how far and how often: where it does not, nothing need be known of how far it goes.
DEFERRAL_RULES: dict[str, Condition] = {
    "deferral-not-known": AllOf((_is("is_window_known", False), _is("is_bounded", True))),
    "deferral-too-far": Comparison("more_pct", ">", 0.0),
    "deferral-too-often": Comparison("more_times", ">", 0.0),
    "deferral-unapproved": AllOf((_is("needs_approval", True), _is("is_approved", False))),
    "deferral-ends-before-line": Comparison("past_pct", "<", 0.0),
    "deferral-over": Comparison("left", "<=", 0.0),
    "deferral-unbounded": AllOf((_is("is_bounded", False), Comparison("past_pct", ">", 0.0))),
    "deferral-repeated": Comparison("times", ">", 0.0),
}

# A measured value whose trend reaches a limit: `days_to_limit` by the slope, `days_to_due` until the task is due again.
TREND_RULES: dict[str, Condition] = {"trend-reaches-limit": Comparison("limit_before_due_d", ">=", 0.0)}

# A task, from the rules that fired on its steps, in order of priority: the first that holds fires.
TASK_RULES: dict[str, Condition] = {
    "nothing-done": _is("any_work", False),
    "task-refused": _is("any_refuses", True),
    "task-partial": _is("any_lacks", True),
    "task-credited": _is("any_work", True),
}

OUTCOME_OF_RULE: dict[str, Outcome] = {
    **dict.fromkeys(CARD_RULES, "refuses"),
    **dict.fromkeys(("outside-job", "card-not-kept", "done-before-card", "not-signed"), "told"),
    **dict.fromkeys(RECORD_RULES, "refuses"),
    "rules-changed": "told",
    "standstill-not-known": "told",
    "card-missing": "lacks",
    **dict.fromkeys(DEFERRAL_RULES, "refuses"),
    "deferral-ends-before-line": "told",
    "deferral-unbounded": "told",
    "deferral-repeated": "told",
    "times-contradict": "refuses",
    "amount-negative": "refuses",
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

    @cached_property
    def cards(self) -> RuleBase:
        """Rules about a card as a whole."""
        return RuleBase("card", CARD_RULES)

    @cached_property
    def records(self) -> RuleBase:
        """Rules about a task beside the rule sets, the records and the log."""
        return RuleBase("record of a task", RECORD_RULES)

    @cached_property
    def deferrals(self) -> RuleBase:
        """Rules about a deferral that is asked for."""
        return RuleBase("deferral", DEFERRAL_RULES)

    @cached_property
    def trends(self) -> RuleBase:
        """Rules about the trend of a measured value."""
        return RuleBase("trend", TREND_RULES)

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
