"""The order of a card, worked out by hand: phases, what is put back, what is shared, what needs what, what cannot stand together."""

from __future__ import annotations

from typing import Any

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.steps import steps_of_stop
from intervals.rules.ruleset import RuleSet
from intervals.site.engines import Engine
from tests.small_models import small_rules


def step(step_id: str, kind: str = "do", **keys: Any) -> dict[str, Any]:  # noqa: ANN401 - any key of a step
    """Return the data of a step."""
    text = {"text": step_id} if kind in ("do", "check", "caution", "wait") else {}
    return {"id": step_id, "kind": kind, **text, **keys}


def setting(step_id: str, of: str, to: str = "open", before: str = "shut", **keys: Any) -> dict[str, Any]:  # noqa: ANN401 - any key of a step
    """Return the data of a step that sets something and comes back."""
    return step(step_id, "set", of=of, to=to, before=before, restore=True, **keys)


def rules(*procedures: list[dict[str, Any]], **keys: Any) -> RuleSet:  # noqa: ANN401 - any key of a procedure
    """Return a rule set with procedures a, b, ... of these steps."""
    listed = [{"id": "abc"[index], "tasks": "oil", "title": "T", "steps": steps, **keys} for index, steps in enumerate(procedures)]
    return small_rules(procedures=listed)


def engine(card: dict[str, float] | None = None, **attributes: Any) -> Engine:  # noqa: ANN401 - anything that an engine states
    """Return an engine that states these attributes and card values."""
    return Engine.model_validate({"id": "G1", "oil_volume_l": 400, "attributes": attributes, "card": card or {}})


def ordered(ruleset: RuleSet, of: Engine | None = None) -> list[str]:
    """Return the ids of the steps on the card."""
    return [each.id for each in steps_of_stop(ruleset.procedures, of or engine())]


def only(ruleset: RuleSet, step_id: str, of: Engine | None = None) -> CardStep:
    """Return one step of the card."""
    return next(each for each in steps_of_stop(ruleset.procedures, of or engine()) if each.id == step_id)


def test_phases_follow_one_another_whatever_the_file_says() -> None:
    """A file that begins with the end gives before, secure, work, restore, after; within a phase it keeps the file's order."""
    phases = ["after", "work", "restore", "before", "secure", "work", "before"]
    made = rules([step(f"s{index}", phase=phase) for index, phase in enumerate(phases)])
    assert ordered(made) == ["a.s3", "a.s6", "a.s4", "a.s1", "a.s5", "a.s2", "a.s0"]


def test_what_was_set_comes_back_in_reverse_order() -> None:
    """Top-up off, start locked, tank shut off: the tank is joined first, then the lock comes off, then the top-up goes on."""
    made = rules(
        [
            setting("tank", "tank valve"),
            setting("lock", "start", phase="secure"),
            setting("top-up", "top-up", phase="before"),
            step("work"),
        ]
    )
    assert ordered(made) == ["a.top-up", "a.lock", "a.tank", "a.work", "a.tank.restore", "a.lock.restore", "a.top-up.restore"]


def test_a_restore_says_the_position_of_before_and_needs_its_setting() -> None:
    """Set from shut to open, it comes back from open to shut; evidence that it did is required unless the rule set says otherwise."""
    made = rules([setting("valve", "valve"), setting("lamp", "lamp", evidence="asked")])
    back = only(made, "a.valve.restore")
    assert (str(back.position_before), str(back.position), back.needs, back.evidence) == ("open", "shut", ("a.valve",), "required")
    assert (only(made, "a.valve").evidence, only(made, "a.lamp.restore").evidence) == ("asked", "asked")
    assert back.set_id == "a.valve"


def test_procedures_of_one_stop_go_through_the_phases_together() -> None:
    """The work of both lies between one securing and one putting back."""
    made = rules([step("x", phase="secure"), step("y")], [step("x", phase="secure"), step("y"), step("z", phase="after")])
    assert ordered(made) == ["a.x", "b.x", "a.y", "b.y", "b.z"]


def test_a_shared_step_stands_once_and_the_stricter_of_each_holds() -> None:
    """Where the first procedure has it; it belongs to both, needs what either needs, and is required if one requires it."""
    lock = {"of": "start", "shared": "secure"}
    made = rules(
        [setting("lock", phase="secure", **lock), step("work")],
        [step("first", phase="secure"), setting("out", phase="secure", needs=["first"], evidence="required", **lock), step("work")],
    )
    assert ordered(made) == ["b.first", "a.lock", "a.work", "b.work", "a.lock.restore"]
    lock_step = only(made, "a.lock")
    assert (lock_step.procedures, lock_step.needs, lock_step.evidence) == (("a", "b"), ("b.first",), "required")


def test_who_needs_a_shared_step_needs_the_one_that_stands_there() -> None:
    """b.work needs b.lock, which stands on the card as a.lock; its putting back likewise."""
    lock = {"of": "start", "shared": "secure", "phase": "secure"}
    made = rules(
        [setting("lock", **lock)], [setting("out", **lock), step("work", needs="out"), step("on", phase="restore", needs="out.restore")]
    )
    assert only(made, "b.work").needs == ("a.lock",)
    assert ordered(made) == ["a.lock", "b.work", "a.lock.restore", "b.on"]


def test_needs_move_a_step_behind_what_it_needs_and_no_further() -> None:
    """s0 needs s2: s1 and s2 come first, then s0 at once, then s3."""
    made = rules([step("s0", needs=["s2"]), step("s1"), step("s2"), step("s3")])
    assert ordered(made) == ["a.s1", "a.s2", "a.s0", "a.s3"]


def test_a_check_may_need_what_is_put_back() -> None:
    """The line-up is looked at once the tank is joined again, and before the lock comes off."""
    made = rules(
        [
            setting("lock", "start", phase="secure"),
            setting("tank", "tank valve"),
            step("tidy", "check", phase="restore"),
            step("line-up", "check", phase="restore", needs=["tank.restore"]),
        ]
    )
    assert ordered(made) == ["a.lock", "a.tank", "a.tidy", "a.tank.restore", "a.line-up", "a.lock.restore"]


def test_a_step_is_on_the_card_where_its_condition_holds() -> None:
    """With a tank, without one, and where nobody says: then it stands there and is not certain."""
    made = rules([step("tank", when={"extension_tank": True}), step("pan", needs=["tank"])])
    assert ordered(made, engine(extension_tank=True)) == ["a.tank", "a.pan"]
    assert ordered(made, engine(extension_tank=False)) == ["a.pan"]
    assert only(made, "a.pan", engine(extension_tank=False)).needs == ()
    assert [each.is_certain for each in steps_of_stop(made.procedures, engine())] == [False, True]


def test_a_procedure_is_on_the_card_where_it_is_for_the_engine() -> None:
    """Of a procedure for gas engines nothing stands on a diesel's card; where the fuel is not stated nothing of it is certain."""
    made = rules([step("x")], applies_to={"fuel": "biogas"})
    assert ordered(made, Engine(id="G1", fuel="diesel")) == []
    assert [each.is_certain for each in steps_of_stop(made.procedures, Engine(id="G1", fuel="biogas"))] == [True]
    assert [each.is_certain for each in steps_of_stop(made.procedures, Engine(id="G1"))] == [False]


def test_values_of_the_engine_stand_on_its_card() -> None:
    """0.9 of 400 L are 360 L; minutes that are not stated are unknown, and what would have to be stated is named."""
    made = rules(
        [
            step("pump", "wait", minutes="card.drain_min"),
            step("filled", "measure", value="oil_l", limits={"at_least": "0.9 x engine.oil_volume_l", "below": "card.most_l"}),
        ]
    )
    assert only(made, "a.pump", engine({"drain_min": 20})).minutes == 20
    assert (only(made, "a.pump").minutes, only(made, "a.pump").unstated) == (None, ("card.drain_min",))
    assert only(made, "a.filled").limits == (("at_least", 360.0), ("below", None))
    assert only(made, "a.filled").unstated == ("card.most_l",)


def test_a_step_at_each_cylinder_stands_once_for_each() -> None:
    """Three cylinders: as found 1 to 3, as left 1 to 3, each needing its own; what needs all of them needs all of them."""
    each = {"what": "cylinder", "count": "engine.cylinders"}
    made = rules([step("found", for_each=each), step("left", for_each=each, needs="found"), step("done", needs=["left"])])
    of = engine(cylinders=3)
    assert ordered(made, of) == ["a.found.1", "a.found.2", "a.found.3", "a.left.1", "a.left.2", "a.left.3", "a.done"]
    assert (only(made, "a.left.2", of).needs, only(made, "a.left.2", of).place) == (("a.found.2",), 2)
    assert only(made, "a.done", of).needs == ("a.left.1", "a.left.2", "a.left.3")


@pytest.mark.parametrize("attributes", [{}, {"cylinders": 0.5}, {"cylinders": 1e9}, {"cylinders": "six"}])
def test_how_many_is_not_known_of_an_engine_that_does_not_say_so(attributes: dict[str, Any]) -> None:
    """Then the step stands there once, whatever the number would be."""
    made = rules([step("found", for_each={"what": "cylinder", "count": "engine.cylinders"})])
    assert ordered(made, engine(**attributes)) == ["a.found"]


def test_two_procedures_that_set_one_thing_differently_are_refused() -> None:
    """Open in one and shut in the other; spelling and spacing make no difference."""
    made = rules([step("x", "set", of="Drain valve", to="open")], [step("y", "set", of="drain  valve", to="shut")])
    with pytest.raises(RequestProblemError) as caught:
        steps_of_stop(made.procedures, engine())
    (problem,) = caught.value.problems
    assert problem.code == "CLI150"
    assert "a.x sets Drain valve to open" in problem.text
    assert "b.y sets it to shut" in problem.text


def test_two_procedures_agree_where_they_set_alike_in_the_same_order() -> None:
    """Both open and shut it again: no conflict. One that shuts it only has another course."""
    course = [step("x", "set", of="valve", to="open"), step("y", "set", of="valve", to="shut")]
    assert ordered(rules(course, course)) == ["a.x", "a.y", "b.x", "b.y"]
    with pytest.raises(RequestProblemError):
        steps_of_stop(rules(course, course[:1]).procedures, engine())


def test_what_is_not_for_the_engine_is_in_nobodys_way() -> None:
    """Of two procedures that differ only in a step for engines with a tank, an engine without one has a card."""
    made = rules(
        [step("x", "set", of="valve", to="open", when={"extension_tank": True})],
        [step("y", "set", of="valve", to="shut", when={"extension_tank": True})],
    )
    assert ordered(made, engine(extension_tank=False)) == []
    with pytest.raises(RequestProblemError):
        steps_of_stop(made.procedures, engine(extension_tank=True))


def test_steps_of_one_name_that_are_not_the_same_are_refused() -> None:
    """A check and a setting cannot be one shared step."""
    made = rules([step("x", "check", shared="s")], [step("y", "do", shared="s")])
    with pytest.raises(RequestProblemError, match='shared as "s" and are not the same step'):
        steps_of_stop(made.procedures, engine())


def test_a_circle_that_only_two_procedures_make_is_refused() -> None:
    """A does p before q, b does q before p, and both share both."""
    made = rules(
        [step("p", shared="p"), step("q", shared="q", needs="p")],
        [step("q", shared="q"), step("p", shared="p", needs="q")],
    )
    with pytest.raises(RequestProblemError, match=r"circle: a[.]p, a[.]q"):
        steps_of_stop(made.procedures, engine())
