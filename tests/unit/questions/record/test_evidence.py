"""What was handed in of a job, held against its card: each rule at its line, worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from intervals.questions.card.steps import steps_of_stop
from intervals.questions.record.evidence import NOTHING, StepEvidence, TaskVerdict, completed_by, judge_evidence
from intervals.site.engines import Engine
from tests.small_models import small_rules

EIGHT = datetime(2026, 6, 30, 8, tzinfo=UTC)
DONE = StepEvidence(answer="done", at=EIGHT)
CARD = {"drain_min": 20.0}


def at(minutes: float) -> datetime:
    """Return a time so many minutes after eight."""
    return EIGHT + timedelta(minutes=minutes)


def waited(start: float, end: float) -> StepEvidence:
    """Return a wait from and to so many minutes after eight."""
    return StepEvidence(started_at=at(start), ended_at=at(end))


def verdict_on(
    steps: list[dict[str, Any]],
    evidence: dict[str, StepEvidence],
    *,
    card: dict[str, float] | None = None,
    **keys: Any,  # noqa: ANN401 - any key of a procedure
) -> TaskVerdict:
    """Return the verdict on evidence by step of one procedure `p` of an engine with 400 L of oil."""
    data = [{"text": each["id"], **each} if each["kind"] != "measure" else each for each in steps]
    ruleset = small_rules(procedures=[{"id": "p", "tasks": "oil", "title": "P", "steps": data, **keys}])
    engine = Engine.model_validate({"id": "G1", "oil_volume_l": 400, "card": CARD if card is None else card})
    on_card = steps_of_stop(ruleset.procedures, engine)
    return judge_evidence(ruleset.procedures[0], on_card, {f"p.{name}": given for name, given in evidence.items()})


def told(verdict: TaskVerdict) -> list[tuple[str, str]]:
    """Return the rules that fired with the steps that they fired on."""
    return [(reason.step.removeprefix("p."), reason.rule) for reason in verdict.reasons]


WORK = {"id": "work", "kind": "do"}
PUMP = {"id": "pump", "kind": "wait", "minutes": "card.drain_min"}


def test_everything_done_is_credited_with_its_times() -> None:
    """No reason, and the job lasted from its earliest time to its latest."""
    verdict = verdict_on([WORK, PUMP], {"work": DONE, "pump": waited(5, 25)})
    assert (verdict.word, verdict.rule, verdict.reasons, verdict.tasks) == ("credited", "task-credited", (), ("oil",))
    assert (verdict.first_at, verdict.last_at) == (EIGHT, at(25))


def test_nothing_done_is_refused() -> None:
    """A caution that was read is no work."""
    verdict = verdict_on([{"id": "hot", "kind": "caution"}, WORK], {"hot": DONE})
    assert (verdict.word, verdict.rule, verdict.last_at) == ("refused", "nothing-done", EIGHT)
    assert verdict_on([WORK], {}).word == "refused"


@pytest.mark.parametrize(
    ("step", "given", "rule", "word"),
    [
        ({"kind": "do"}, NOTHING, "not-told", "credited"),
        ({"kind": "do", "evidence": "required"}, NOTHING, "step-left-out", "partial"),
        ({"kind": "do"}, StepEvidence(answer="no"), "step-left-out", "partial"),
        ({"kind": "check"}, NOTHING, "not-told", "credited"),
        ({"kind": "check"}, StepEvidence(answer="no"), "check-failed", "partial"),
        ({"kind": "check", "evidence": "required"}, NOTHING, "step-left-out", "partial"),
        (
            {"kind": "check", "evidence": "required"},
            StepEvidence(answer="not_applicable", reason="none fitted"),
            "not-applicable",
            "credited",
        ),
        ({"kind": "check", "evidence": "required"}, StepEvidence(answer="not_applicable"), "step-left-out", "partial"),
        ({"kind": "do", "evidence": "required"}, StepEvidence(answer="not_applicable", reason="no time"), "step-left-out", "partial"),
        ({"kind": "do"}, StepEvidence(answer="not_applicable", reason="none fitted"), "not-applicable", "credited"),
        ({"kind": "wait", "minutes": 20}, NOTHING, "step-left-out", "partial"),
        ({"kind": "wait", "minutes": 20}, StepEvidence(answer="done", started_at=EIGHT), "step-left-out", "partial"),
        ({"kind": "wait", "minutes": 20, "evidence": "asked"}, NOTHING, "not-told", "credited"),
        ({"kind": "wait", "minutes": 20, "evidence": "asked"}, waited(0, 19), "wait-short", "partial"),
        ({"kind": "measure", "value": "x"}, DONE, "step-left-out", "partial"),
        ({"kind": "sample"}, DONE, "step-left-out", "partial"),
        ({"kind": "caution"}, NOTHING, "not-told", "credited"),
        ({"kind": "set", "of": "valve", "to": "open"}, NOTHING, "not-told", "credited"),
    ],
)
def test_what_is_missing_of_a_step(step: dict[str, Any], given: StepEvidence, rule: str, word: str) -> None:
    """What is required and missing makes the task partial; what is only asked for is told; no is told as what it says."""
    verdict = verdict_on([WORK, {"id": "s", **step}], {"work": DONE, "s": given})
    assert (told(verdict), verdict.word) == ([("s", rule)], word)


@pytest.mark.parametrize(("minutes", "short"), [(20.0, False), (19.99, True), (21.0, False), (0.0, True)])
def test_a_wait_is_long_enough_at_exactly_its_minutes(minutes: float, *, short: bool) -> None:
    """20 minutes of 20 do, 19 min 59 s do not."""
    verdict = verdict_on([PUMP], {"pump": waited(0, minutes)})
    assert told(verdict) == ([("pump", "wait-short")] if short else [])


def test_a_wait_that_nobody_set_cannot_be_judged_and_costs_no_credit() -> None:
    """The engine does not state its minutes: unknown, with the name of what is missing."""
    verdict = verdict_on([PUMP], {"pump": waited(0, 1)}, card={})
    assert (told(verdict), verdict.word) == ([("pump", "not-stated")], "credited")
    assert "card.drain_min is not stated" in verdict.unknown[0].text
    assert verdict.lacking == ()


def test_a_wait_that_ends_before_it_begins_cannot_be_true() -> None:
    """The task is refused: nothing may be written on such evidence."""
    verdict = verdict_on([WORK, PUMP], {"work": DONE, "pump": waited(20, 0)})
    assert (verdict.word, verdict.rule) == ("refused", "task-refused")
    assert ("pump", "times-contradict") in told(verdict)


@pytest.mark.parametrize(
    ("limits", "value", "beyond"),
    [
        ({"at_least": 3}, 3.0, False),
        ({"at_least": 3}, 2.999, True),
        ({"above": 3}, 3.0, True),
        ({"above": 3}, 3.001, False),
        ({"at_most": 3}, 3.0, False),
        ({"at_most": 3}, 3.001, True),
        ({"below": 3}, 3.0, True),
        ({"at_least": 1, "below": 3}, 2.0, False),
        ({"above": 1, "at_most": 3}, 3.5, True),
        ({"at_least": "0.9 x engine.oil_volume_l", "at_most": "1.1 x engine.oil_volume_l"}, 360.0, False),
        ({"at_least": "0.9 x engine.oil_volume_l", "at_most": "1.1 x engine.oil_volume_l"}, 440.0, False),
        ({"at_least": "0.9 x engine.oil_volume_l", "at_most": "1.1 x engine.oil_volume_l"}, 440.1, True),
    ],
)
def test_a_value_is_held_against_its_limits(limits: dict[str, Any], value: float, *, beyond: bool) -> None:
    """at_least and at_most may be reached, above and below may not; 1.1 x 400 L are 440 L."""
    verdict = verdict_on([{"id": "m", "kind": "measure", "value": "x", "limits": limits}], {"m": StepEvidence(value=value)})
    assert told(verdict) == ([("m", "value-beyond")] if beyond else [])
    assert verdict.word == ("partial" if beyond else "credited")


def test_a_known_limit_counts_where_the_other_is_not_stated() -> None:
    """Below the least that is known it is beyond; between, what is not known could still be passed: unknown."""
    step = {"id": "m", "kind": "measure", "value": "x", "limits": {"at_least": 3, "at_most": "card.most"}}
    assert told(verdict_on([step], {"m": StepEvidence(value=2)})) == [("m", "value-beyond"), ("m", "not-stated")]
    assert told(verdict_on([step], {"m": StepEvidence(value=9)})) == [("m", "not-stated")]


SET = {"id": "v", "kind": "set", "of": "valve", "to": "open", "before": "shut", "restore": True}


def test_what_is_not_confirmed_to_be_back_is_told() -> None:
    """Left out or answered with no: the sentence says what and where it belongs."""
    for given in (NOTHING, StepEvidence(answer="no")):
        verdict = verdict_on([SET, WORK], {"v": DONE, "work": DONE, "v.restore": given})
        assert (told(verdict), verdict.word) == ([("v.restore", "not-restored")], "partial")
    assert verdict.lacking[0].text == "p.v.restore: valve is not confirmed to be back: shut"
    assert verdict_on([SET, WORK], {"v": DONE, "work": DONE, "v.restore": DONE}).word == "credited"
    loose = verdict_on([{**SET, "evidence": "asked"}, WORK], {"v": DONE, "work": DONE})
    assert (told(loose), loose.word) == ([("v.restore", "not-told")], "credited")


def test_what_is_not_fitted_need_not_come_back() -> None:
    """An engine without an automatic top-up: its setting is not applicable, and so is its putting back."""
    absent = StepEvidence(answer="not_applicable", reason="none fitted")
    verdict = verdict_on([SET, WORK], {"v": absent, "work": DONE})
    assert (told(verdict), verdict.word) == ([("v", "not-applicable")], "credited")


def test_a_step_that_may_not_be_for_the_engine_can_be_said_not_to_be() -> None:
    """The engine does not say whether it has a tank: `not applicable` with a reason is an answer even where evidence is required."""
    step = {**PUMP, "when": {"extension_tank": True}}
    absent = StepEvidence(answer="not_applicable", reason="no tank")
    assert told(verdict_on([WORK, step], {"work": DONE, "pump": absent})) == [("pump", "not-applicable")]
    assert told(verdict_on([WORK, step], {"work": DONE})) == [("pump", "step-left-out")]
    assert told(verdict_on([WORK, PUMP], {"work": DONE, "pump": absent})) == [("pump", "step-left-out")]


@pytest.mark.parametrize(
    ("first", "second", "rules"),
    [
        (waited(0, 20), StepEvidence(answer="done", at=at(20)), []),
        (waited(0, 20), StepEvidence(answer="done", at=at(19)), ["out-of-order"]),
        (waited(0, 20), StepEvidence(answer="done"), ["order-not-known"]),
        (NOTHING, StepEvidence(answer="done", at=at(19)), []),
    ],
)
def test_order_counts_where_one_step_needs_another(first: StepEvidence, second: StepEvidence, rules: list[str]) -> None:
    """It may begin the moment the other is done, not a minute before; without its time nobody can tell."""
    steps = [{**PUMP, "evidence": "asked"}, {"id": "fill", "kind": "do", "needs": "pump"}]
    verdict = verdict_on(steps, {"pump": first, "fill": second})
    assert [rule for step, rule in told(verdict) if step == "fill"] == rules


BALANCED: list[dict[str, Any]] = [
    {"id": "tank", "kind": "measure", "value": "tank_l", "unit": "L", "when": {"extension_tank": True}},
    {"id": "pan", "kind": "measure", "value": "pan_l", "unit": "L"},
    {"id": "filled", "kind": "measure", "value": "filled_l", "unit": "L"},
]
BALANCE = {"filled": "filled_l", "drained": ["tank_l", "pan_l"], "within_pct": 15}


@pytest.mark.parametrize(
    ("tank", "pan", "filled", "rules"),
    [
        (40, 300, 400, []),
        (39, 300, 400, ["out-of-balance"]),
        (160, 301, 400, ["out-of-balance"]),
        (0, 0, 0, []),
        (0, 1, 0, ["out-of-balance"]),
    ],
)
def test_filled_and_drained_have_to_balance(tank: float, pan: float, filled: float, rules: list[str]) -> None:
    """Within 15 % of the 400 L that were filled, 60 L: 340 and 460 drained pass, 339 and 461 do not. Of nothing nothing comes."""
    given = {"tank": StepEvidence(value=tank), "pan": StepEvidence(value=pan), "filled": StepEvidence(value=filled)}
    verdict = verdict_on(BALANCED, given, balance=BALANCE)
    assert [reason.rule for reason in verdict.balances] == rules
    assert verdict.word == ("partial" if rules else "credited")


def test_a_balance_with_a_value_missing_is_unknown() -> None:
    """What was drained is only known in part; the missing value itself is told on its step."""
    verdict = verdict_on(BALANCED, {"pan": StepEvidence(value=300), "filled": StepEvidence(value=400)}, balance=BALANCE)
    assert told(verdict) == [("tank", "step-left-out"), ("", "balance-not-known")]


def test_a_balance_counts_what_this_engine_has() -> None:
    """Without a tank the pan alone balances; where one side is not measured at all there is nothing to balance."""
    no_tank = [{**BALANCED[0], "when": {"oil_volume_l": {"above": 900}}}, *BALANCED[1:]]
    given = {"pan": StepEvidence(value=390), "filled": StepEvidence(value=400)}
    assert verdict_on(no_tank, given, balance=BALANCE).reasons == ()
    neither = [{**each, "when": {"oil_volume_l": {"above": 900}}} for each in BALANCED[:2]]
    assert verdict_on([*neither, BALANCED[2]], {"filled": StepEvidence(value=400)}, balance=BALANCE).reasons == ()


def test_every_reason_of_a_step_is_told() -> None:
    """Too short and begun too early at once."""
    steps = [WORK, {**PUMP, "needs": "work"}]
    verdict = verdict_on(steps, {"work": StepEvidence(answer="done", at=at(3)), "pump": waited(0, 4)})
    assert told(verdict) == [("pump", "out-of-order"), ("pump", "wait-short")]
    assert [reason.text for reason in verdict.lacking] == [
        "p.pump: was begun 3 min before a step that it needs was done",
        "p.pump: lasted 4 min; 20 min are set",
    ]


def test_a_later_card_completes_an_earlier_one() -> None:
    """What the later one tells of a step counts; of the rest the earlier evidence stays."""
    earlier = {"p.work": DONE, "p.pump": waited(0, 3)}
    both = completed_by(earlier, {"p.pump": waited(60, 80), "p.work": NOTHING})
    assert both == {"p.work": DONE, "p.pump": waited(60, 80)}
