"""Verdicts on evidence against a reckoner in plain Python: the same credit, and the same steps found wanting, on random cards."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.steps import steps_of_stop
from intervals.questions.record.evidence import NOTHING, StepEvidence, judge_evidence
from intervals.rules.procedure_steps import KINDS
from intervals.site.engines import Engine
from tests.properties.bounded import bounded
from tests.small_models import small_rules

EIGHT = datetime(2026, 6, 30, 8, tzinfo=UTC)
ENGINE = Engine.model_validate({"id": "G1", "oil_volume_l": 400, "card": {"known": 10}, "attributes": {"tank": True, "pan": False}})
minutes = st.integers(0, 30)
conditions = st.sampled_from([None, {"tank": True}, {"pan": True}, {"nobody_says": True}])
values = st.sampled_from([0, 9, 10, 11, "card.known", "card.unknown", "1.5 x card.known"])
times = st.none() | minutes.map(lambda after: EIGHT + timedelta(minutes=after))


@st.composite
def steps(draw: st.DrawFn, index: int) -> dict[str, Any]:
    """Return a random step, which may need steps before it."""
    kind = draw(st.sampled_from(KINDS))
    made: dict[str, Any] = {"id": f"s{index}", "kind": kind, "text": "t"}
    made |= {
        key: value for key, value in (("when", draw(conditions)), ("evidence", draw(st.sampled_from([None, "asked", "required"])))) if value
    }
    if index and draw(st.booleans()):
        made["needs"] = draw(st.lists(st.integers(0, index - 1).map(lambda other: f"s{other}"), max_size=2, unique=True))
    if kind == "wait":
        made["minutes"] = draw(values)
    elif kind == "set":
        made |= {"of": f"v{index}", "to": "open", "before": "shut", "restore": draw(st.booleans())}
    elif kind == "measure":
        made |= {"value": f"m{index}", "unit": draw(st.sampled_from(["L", "degC"]))}
        bounds = {word: draw(values) for word in draw(st.sampled_from([(), ("at_least",), ("above",), ("at_most",), ("below",)]))}
        made |= {"limits": bounds} if bounds else {}
    return made


evidences = st.builds(
    StepEvidence,
    answer=st.sampled_from([None, "done", "yes", "no", "not_applicable"]),
    reason=st.none() | st.just("why"),
    value=st.none() | st.integers(8, 16).map(float) | st.sampled_from([-1.0, -0.5, 0.0]),
    label=st.none() | st.just("L1"),
    started_at=times,
    ended_at=times,
    at=times,
)


def bound_of(value: object) -> float | None:
    """Return what a value stands for on the engine of these tests."""
    if isinstance(value, str):
        return {"card.known": 10.0, "card.unknown": None, "1.5 x card.known": 15.0}[value]
    return None if value is None else float(value)  # type: ignore[arg-type]  # a number of these tests


def is_there(data: dict[str, Any], evidence: StepEvidence) -> bool:
    """Return whether the evidence that a kind of step asks for is there."""
    kind = data["kind"]
    if kind == "wait":
        return evidence.started_at is not None and evidence.ended_at is not None
    if kind == "measure":
        return evidence.value is not None
    if kind == "sample":
        return evidence.label is not None
    return evidence.answer in ("done", "yes") or (kind == "check" and evidence.answer == "no")


def on_leaving_out(data: dict[str, Any], step: CardStep, evidence: dict[str, StepEvidence]) -> set[str]:
    """Return the rules about a step that was left out, refused or excused."""
    mine, kind = evidence.get(step.id, NOTHING), data["kind"]
    usual = "required" if step.is_restore or kind in ("wait", "measure", "sample") else "asked"
    required = data.get("evidence", usual) == "required"
    may_be_excused = not required or kind == "check" or data.get("when") == {"nobody_says": True}
    excused = mine.answer == "not_applicable" and bool(mine.reason) and may_be_excused
    moot = step.is_restore and evidence.get(step.set_id, NOTHING).answer == "not_applicable"
    missing = not is_there(data, mine) and not excused and not moot
    refused = mine.answer == "no" and kind != "check"
    wanting = refused or (missing and required)
    fires = {
        "not-restored": step.is_restore and wanting,
        "step-left-out": not step.is_restore and wanting,
        "not-told": missing and not required and not refused,
        "check-failed": kind == "check" and mine.answer == "no",
        "not-applicable": excused and not moot,
    }
    return {rule for rule, does in fires.items() if does}


def on_figures(data: dict[str, Any], mine: StepEvidence) -> set[str]:
    """Return the rules about the minutes of a wait and the value of a measure."""
    found: set[str] = set()
    if data["kind"] == "wait" and mine.started_at is not None and mine.ended_at is not None:
        set_min, waited = bound_of(data["minutes"]), mine.ended_at - mine.started_at
        found |= {"not-stated"} if set_min is None else {"wait-short"} if waited < timedelta(minutes=set_min) else set()
    if data["kind"] == "measure" and data["unit"] == "L" and mine.value is not None and round(mine.value, 6) < 0:
        found.add("amount-negative")
    for word, value in data.get("limits", {}).items() if mine.value is not None else ():
        bound, got = bound_of(value), mine.value or 0.0
        if bound is None:
            found.add("not-stated")
        elif {"at_least": got < bound, "above": got <= bound, "at_most": got > bound, "below": got >= bound}[word]:
            found.add("value-beyond")
    return found


def on_order(step: CardStep, evidence: dict[str, StepEvidence]) -> set[str]:
    """Return the rules about the order of a step and those that it needs."""
    mine = evidence.get(step.id, NOTHING)
    found: set[str] = set()
    began = mine.started_at or mine.at or mine.ended_at
    for other in (evidence.get(name, NOTHING) for name in step.needs):
        done = other.ended_at or other.at or other.started_at
        if other != NOTHING and (began is None or done is None):
            found.add("order-not-known")
        elif began is not None and done is not None and began < done:
            found.add("out-of-order")
    return found


def reckoned(data: dict[str, Any], step: CardStep, evidence: dict[str, StepEvidence]) -> set[str]:
    """Return the rules that must fire on a step, by plain Python."""
    mine = evidence.get(step.id, NOTHING)
    found = on_leaving_out(data, step, evidence)
    if mine.started_at is not None and mine.ended_at is not None and mine.ended_at < mine.started_at:
        found.add("times-contradict")
    return found | on_figures(data, mine) | on_order(step, evidence) if is_there(data, mine) else found


@given(st.data())
@bounded(60)
def test_verdicts_are_those_of_plain_python(data: st.DataObject) -> None:
    """Each step's rules, and the credit: refused on a contradiction or without work, partial where something is wanting."""
    written = [data.draw(steps(index)) for index in range(data.draw(st.integers(1, 4)))]
    ruleset = small_rules(procedures=[{"id": "p", "tasks": "oil", "title": "P", "steps": written}])
    on_card = steps_of_stop(ruleset.procedures, ENGINE)
    evidence = {step.id: data.draw(evidences | st.just(NOTHING)) for step in on_card}
    verdict = judge_evidence(ruleset.procedures[0], on_card, evidence)
    by_id = {each["id"]: each for each in written}
    wanted = {step.id: reckoned(by_id[step.step.id], step, evidence) for step in on_card}
    assert {each.step.id: {reason.rule for reason in each.reasons} for each in verdict.steps} == wanted
    fired = set().union(*wanted.values())
    worked = any(step.kind != "caution" and is_there(by_id[step.step.id], evidence[step.id]) for step in on_card)
    lacks = {"step-left-out", "not-restored", "check-failed", "wait-short", "value-beyond", "out-of-order"}
    credit = "refused" if not worked or fired & {"times-contradict", "amount-negative"} else "partial" if fired & lacks else "credited"
    assert verdict.word == credit


@given(st.data())
@bounded(40)
def test_a_card_holds_every_step_once_in_an_order_that_needs_allow(data: st.DataObject) -> None:
    """Phases rise, what is needed comes before, and each set step that comes back does so after all settings of later steps."""
    phases = ["before", "secure", "work", "restore", "after"]
    listed: list[dict[str, Any]] = []
    for number in range(data.draw(st.integers(1, 3))):
        written = []
        for index in range(data.draw(st.integers(1, 5))):
            made = data.draw(steps(index)) | {"phase": phases[min(index, 2)]}
            written.append({**made, **({"of": f"{number} {index}"} if made["kind"] == "set" else {})})
        listed.append({"id": f"p{number}", "tasks": "oil", "title": "P", "steps": written})
    ruleset = small_rules(procedures=listed)
    on_card = steps_of_stop(ruleset.procedures, ENGINE)
    places = {step.id: index for index, step in enumerate(on_card)}
    assert len(places) == len(on_card)
    assert [phases.index(step.phase) for step in on_card] == sorted(phases.index(step.phase) for step in on_card)
    assert all(places[name] < places[step.id] for step in on_card for name in step.needs)
    expected = {f"{each['id']}.{step['id']}" for each in listed for step in each["steps"] if step.get("when") != {"pan": True}}
    assert {step.id for step in on_card if not step.is_restore} == expected
    back = [step.set_id for step in on_card if step.is_restore]
    assert back == [step.id for step in reversed(on_card) if step.step.restore and not step.is_restore]
