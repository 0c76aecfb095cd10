"""The rules about cards, records and deferrals against the same in plain Python, on random facts, unknown ones among them."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from hypothesis import given
from hypothesis import strategies as st

from intervals.rulebook.evidence_rules import CARD_RULES, DEFERRAL_RULES, RECORD_RULES, TREND_RULES, evidence_rules
from intervals.rulebook.inference import FactValue
from tests.properties.bounded import bounded

Facts = Mapping[str, FactValue]
NUMBERS = st.one_of(
    st.none(),
    st.sampled_from([-24.0, -1e-6, 0.0, 1e-6, 5.0, 5.000001, 5.999999, 6.0, 6.000001, 24.0, 24.000001, 1000.0, 1440.0, 1440.000001]),
    st.floats(-1e6, 1e6),
)
FLAGS = st.sampled_from([True, False, None])


def past(facts: Facts, name: str, line: float) -> bool:
    """Tell whether a known figure is past a line, to a millionth."""
    value = facts[name]
    return value is not None and not isinstance(value, str) and round(float(value), 6) > line


def at_least(facts: Facts, name: str, line: float) -> bool:
    """Tell whether a known figure has reached a line, to a millionth."""
    value = facts[name]
    return value is not None and not isinstance(value, str) and round(float(value), 6) >= line


def below(facts: Facts, name: str, line: float) -> bool:
    """Tell whether a known figure is below a line, to a millionth."""
    return facts[name] is not None and not at_least(facts, name, line)


PLAIN: dict[str, Callable[[Facts], bool]] = {
    "card-altered": lambda facts: facts["is_genuine"] is False,
    "other-site": lambda facts: facts["is_this_site"] is False,
    "other-engine": lambda facts: facts["is_engine_known"] is False,
    "handed-in-before": lambda facts: facts["is_recorded"] is True,
    "completes-nothing": lambda facts: facts["is_completing"] is True and facts["is_completed_known"] is False,
    "task-twice": lambda facts: facts["is_each_task_once"] is False,
    "card-not-kept": lambda facts: facts["is_card_kept"] is False,
    "completed-before": lambda facts: facts["is_completing"] is True and facts["is_completed_before"] is True,
    "part-altered": lambda facts: facts["is_completing"] is True and facts["is_part_as_kept"] is False,
    "ends-before-part": lambda facts: facts["is_completing"] is True and past(facts, "before_part_min", 0.0),
    "no-time": lambda facts: facts["has_time"] is False,
    "time-in-future": lambda facts: past(facts, "ahead_min", 5.0),
    "job-times-contradict": lambda facts: below(facts, "job_min", 0.0),
    "outside-job": lambda facts: past(facts, "outside_min", 0.0) and not past(facts, "outside_min", 1440.0),
    "far-outside-job": lambda facts: past(facts, "outside_min", 1440.0),
    "end-beyond-steps": lambda facts: past(facts, "end_off_min", 1440.0),
    "done-before-card": lambda facts: past(facts, "before_card_d", 1.0),
    "not-signed": lambda facts: facts["is_signed"] is False,
    "found-not-on-card": lambda facts: facts["is_found_on_card"] is False,
    "task-unknown": lambda facts: facts["is_task_known"] is False,
    "procedure-changed": lambda facts: facts["is_task_known"] is True and facts["is_procedure_same"] is False,
    "rules-changed": lambda facts: facts["is_digest_same"] is False and facts["is_procedure_same"] is True,
    "said-not-done": lambda facts: facts["is_said_not_done"] is True,
    "later-record": lambda facts: at_least(facts, "behind_record_min", 0.0),
    "meter-contradicts": lambda facts: past(facts, "meter_off_h", 24.0),
    "ran-during-work": lambda facts: facts["needs_stop"] is True and past(facts, "ran_min", 6.0),
    "standstill-not-known": lambda facts: facts["needs_stop"] is True and facts["is_standstill_stated"] is False,
    "records-changed": lambda facts: facts["is_as_shown"] is False,
    "card-missing": lambda facts: facts["is_typed"] is True and facts["asks_for_evidence"] is True,
    "deferral-not-known": lambda facts: facts["is_window_known"] is False and facts["is_bounded"] is True,
    "deferral-too-far": lambda facts: past(facts, "more_pct", 0.0),
    "deferral-too-often": lambda facts: past(facts, "more_times", 0.0),
    "deferral-unapproved": lambda facts: facts["needs_approval"] is True and facts["is_approved"] is False,
    "deferral-ends-before-line": lambda facts: below(facts, "past_pct", 0.0),
    "deferral-over": lambda facts: facts["left"] is not None and not past(facts, "left", 0.0),
    "deferral-unbounded": lambda facts: facts["is_bounded"] is False and past(facts, "past_pct", 0.0),
    "deferral-repeated": lambda facts: past(facts, "times", 0.0),
    "trend-reaches-limit": lambda facts: at_least(facts, "limit_before_due_d", 0.0),
}
FLAG_NAMES = (
    "is_genuine", "is_this_site", "is_engine_known", "is_recorded", "is_completing", "is_completed_known", "has_time", "is_task_known",
    "is_procedure_same", "is_digest_same", "is_said_not_done", "needs_stop", "is_as_shown", "is_typed", "asks_for_evidence",
    "is_window_known", "is_bounded", "needs_approval", "is_approved", "is_each_task_once", "is_card_kept", "is_completed_before",
    "is_part_as_kept", "is_signed", "is_found_on_card", "is_standstill_stated",
)  # fmt: skip
NUMBER_NAMES = (
    "ahead_min", "job_min", "outside_min", "behind_record_min", "meter_off_h", "ran_min", "more_pct", "more_times", "times", "past_pct",
    "left", "limit_before_due_d", "before_part_min", "end_off_min", "before_card_d",
)  # fmt: skip
FACTS = st.fixed_dictionaries({**dict.fromkeys(FLAG_NAMES, FLAGS), **dict.fromkeys(NUMBER_NAMES, NUMBERS)})


@bounded(200)
@given(FACTS)
def test_the_rules_fire_as_plain_python_says(facts: dict[str, FactValue]) -> None:
    """What is unknown fires nothing; lines are met to a millionth of their unit."""
    rules = evidence_rules()
    for named, base in (
        (CARD_RULES, rules.cards),
        (RECORD_RULES, rules.records),
        (DEFERRAL_RULES, rules.deferrals),
        (TREND_RULES, rules.trends),
    ):
        assert set(base.fire(facts).holds) == {rule for rule in named if PLAIN[rule](facts)}
