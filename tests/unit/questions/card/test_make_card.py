"""The card of a stop, worked out by hand: its tasks and why, its sums, its steps in order, its values, its language, its code."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals.language.words import LANGUAGES
from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import card_text, code_of, is_genuine
from intervals.questions.card.card_models import Card, CardOil, CardPart, CardWaste, StepLine
from intervals.questions.card.card_words import all_words
from tests.card_site import DAY, LOCK, OIL, PLUGS, card_site, cards_of


def step(card: Card, step_id: str) -> StepLine:
    """Return a step of a card."""
    return next(each for each in card.steps if each.id == step_id)


def refused(folder: Path, **asked: Any) -> list[tuple[str, str]]:  # noqa: ANN401 - fields of CardsAsked
    """Return code and text of what is refused."""
    with pytest.raises(RequestProblemError) as caught:
        cards_of(folder, **asked)
    return [(problem.code, problem.text) for problem in caught.value.problems]


def test_without_tasks_a_card_takes_what_is_due(tmp_path: Path) -> None:
    """1,180 of 1,000 h: oil is on the card with the finding's sentence and the meter; 1,180 of 2,000 h is not due."""
    card_site(tmp_path)
    cards = cards_of(tmp_path)
    assert [(card.engine, [task.task for task in card.tasks]) for card in cards] == [("G1", ["oil"]), ("G2", ["oil"])]
    (oil,) = cards[0].tasks
    assert (oil.standing, oil.title, oil.procedure, oil.meter_h_expected) == ("overdue", "Change oil", "oil", 1180)
    assert oil.because == "overdue by 180 h: 1,180 running hours since the first day 2026-01-01, allowed 1,000"
    assert (cards[0].made_on, cards[0].stop.on, cards[0].stop.plan) == ("2026-02-28", "2026-02-28", None)


def test_nothing_due_is_no_card(tmp_path: Path) -> None:
    """After ten days, 200 of 1,000 h, no engine has anything to do."""
    card_site(tmp_path)
    assert cards_of(tmp_path, day=date(2026, 1, 10)) == ()


def test_cautions_first_then_phases_and_shared_steps_once(tmp_path: Path) -> None:
    """Oil and plugs: both cautions, the sample before the stop, one lock for both, each work in turn, the lock off, the look for leaks."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"))
    assert [each.id for each in card.steps] == [
        "oil.hot", "plugs.charge", "oil.sample", "oil.lock", "oil.drain", "oil.drained", "oil.filled", "plugs.gap.1", "plugs.gap.2",
        "oil.lock.restore", "oil.leaks",
    ]  # fmt: skip
    assert step(card, "oil.lock").tasks == ("oil", "plugs")
    assert step(card, "oil.lock.restore").text == "Put back: start of the engine: ready"
    assert step(card, "oil.drain").needs == ("oil.lock",)
    assert step(card, "plugs.gap.2").text == "cylinder 2: Measure and write down: gap"


def test_what_to_bring_is_added_up(tmp_path: Path) -> None:
    """Two filters; 1 + 6 gaskets; 300 L; the tray once; two people at most; 3 + 2 hours."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"))
    assert card.parts == (CardPart(part="filter", title="oil filter", count=2), CardPart(part="gasket", title=None, count=7))
    assert card.oil == (CardOil(grade="plain 40", litres=300),)
    assert card.waste == (CardWaste(name="oil_l", value=300),)
    assert card.tools == ("filter wrench", "tray", "torque wrench")
    assert (card.people, card.hours, card.remarks) == (2, 5, ())


def test_values_are_the_engine_s_own(tmp_path: Path) -> None:
    """20 min to drain; 0.9 and 1.1 times 300 L are 270 and 330 L."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",))
    drain, filled = step(card, "oil.drain"), step(card, "oil.filled")
    assert (drain.minutes, drain.minutes_source, drain.unstated) == (20, "card.drain_min", ())
    assert (filled.limits, filled.limits_text) == ({"at_least": 270, "at_most": 330}, "at least 270 L, at most 330 L")


def test_what_an_engine_does_not_state_is_a_line_to_fill_in(tmp_path: Path) -> None:
    """G2 states no volume, no minutes, no filters: unknown on the card, and said in a remark; a sum with an unknown part is unknown."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G2",))
    drain, filled = step(card, "oil.drain"), step(card, "oil.filled")
    assert (drain.minutes, drain.unstated) == (None, ("card.drain_min",))
    assert (filled.limits, filled.unstated) == ({"at_least": None, "at_most": None}, ("engine.oil_volume_l",))
    assert filled.limits_text == "at least [not stated], at most [not stated]"
    assert [part.count for part in card.parts] == [None, 1]
    assert card.oil[0].litres is None
    assert card.remarks == (
        "G2 does not state card.drain_min, engine.oil_volume_l: these are lines to fill in, and their steps cannot be judged",
    )


def test_a_task_without_a_procedure_is_one_step(tmp_path: Path) -> None:
    """Its title is the step; the card says that no procedure tells how, and how long it takes is unknown."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",), tasks=("filters",))
    (only,) = card.steps
    assert (only.id, only.kind, only.text, only.evidence, only.tasks) == ("filters.do", "do", "Air filters", "required", ("filters",))
    assert (card.tasks[0].procedure, card.hours) == (None, None)
    assert card.remarks == ("filters: no procedure says how it is done; one step stands for it",)


def test_a_component_has_a_card_of_its_own(tmp_path: Path) -> None:
    """TC-1 is asked for by its id."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("TC-1",), tasks=("turbo",))
    assert (card.engine, [each.id for each in card.steps]) == ("TC-1", ["turbo.do"])


def test_procedures_that_set_one_thing_differently_are_refused(tmp_path: Path) -> None:
    """One locks the start, the other leaves it open: the engine is named, no card is made."""
    other = {**PLUGS, "steps": [{**LOCK, "shared": None, "to": "free", "text": "Free"}]}
    del other["steps"][0]["shared"]
    card_site(tmp_path, procedures=(OIL, other))
    with pytest.raises(RequestProblemError) as caught:
        cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"))
    assert [(problem.code, problem.file) for problem in caught.value.problems] == [("CLI150", "card of G1")]


def test_a_task_that_is_not_for_the_engine_is_refused_with_why(tmp_path: Path) -> None:
    """The pump is for diesel engines, and G1 burns gas."""
    card_site(tmp_path)
    with pytest.raises(RequestProblemError) as caught:
        cards_of(tmp_path, engines=("G1",), tasks=("pump",))
    (problem,) = caught.value.problems
    assert (problem.code, problem.text) == ("CLI015", "pump: not for G1")
    assert 'for G1: fuel is "natural-gas"' in str(problem.fix)


def test_of_several_engines_those_without_the_task_have_no_card(tmp_path: Path) -> None:
    """The turbocharger's task is for the component alone."""
    card_site(tmp_path)
    assert [card.engine for card in cards_of(tmp_path, tasks=("turbo",))] == ["TC-1"]


def test_a_stop_has_the_tasks_of_the_plan(tmp_path: Path) -> None:
    """The plan's stop on 3 March names plugs and filters for G1; its name and day are on the card."""
    card_site(tmp_path)
    (tmp_path / "plan.yaml").write_text(
        "plan: spring\nstops:\n"
        "  - {engine: G1, day: 2026-03-03, tasks: [plugs, filters], hours: 4}\n"
        "  - {engine: G2, day: 2026-03-04, tasks: [oil]}\n",
        encoding="utf-8",
    )
    (card,) = cards_of(tmp_path, stop=date(2026, 3, 3))
    assert (card.engine, card.stop.on, card.stop.plan, [task.task for task in card.tasks]) == (
        "G1", "2026-03-03", "spring", ["plugs", "filters"],
    )  # fmt: skip
    assert refused(tmp_path, stop=date(2026, 3, 5)) == [("CLI152", "plan.yaml has no stop on 2026-03-05 for the engines asked for")]


@pytest.mark.parametrize(
    ("text", "places"),
    [
        (None, [None]),
        ("stops: 3\n", ["$.stops"]),
        (
            "stops:\n  - {engine: G1, day: soon, tasks: [oil]}\n  - {day: 2026-03-03, tasks: []}\n",
            ["$.stops[0].day", "$.stops[1].engine", "$.stops[1].tasks"],
        ),
    ],
)  # fmt: skip
def test_a_plan_that_cannot_be_read_is_refused_whole(tmp_path: Path, text: str | None, places: list[str | None]) -> None:
    """No file, no list, stops without a day, engine or tasks: every place at once."""
    card_site(tmp_path)
    if text is not None:
        (tmp_path / "plan.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(RequestProblemError) as caught:
        cards_of(tmp_path, stop=date(2026, 3, 3))
    assert [(problem.code, problem.path) for problem in caught.value.problems] == [("CLI152", place) for place in places]


def test_the_last_three_results_of_a_measure_stand_beside_it(tmp_path: Path) -> None:
    """Five earlier fillings: the last three by time and no later than the day; another unit, engine or a broken row is passed over."""
    card_site(tmp_path)
    (tmp_path / "records").mkdir()
    rows = [
        "2025-01-01,G1,oil,oil_filled_l,290,L,A", "2025-04-01,G1,oil,oil_filled_l,292.5,L,B", "2025-03-01,G1,oil,oil_filled_l,291,L,C",
        "2025-05-01,G1,oil,oil_filled_l,295,L,D", "2026-03-01,G1,oil,oil_filled_l,1,L,E", "2025-05-02,G2,oil,oil_filled_l,2,L,F",
        "2025-05-03,G1,oil,oil_filled_l,3,gal,G", "2025-05-04,G1,oil,oil_filled_l,?,L,H",
    ]  # fmt: skip
    (tmp_path / "records/measures.csv").write_text("\n".join(["at,engine,task,measure,value,unit,card", *rows, ""]), encoding="utf-8")
    (card,) = cards_of(tmp_path, engines=("G1",))
    assert [(each.at, each.value, each.card) for each in step(card, "oil.filled").last] == [
        ("2025-03-01", 291, "C"), ("2025-04-01", 292.5, "B"), ("2025-05-01", 295, "D"),
    ]  # fmt: skip
    assert card.remarks == ("1 row of records/measures.csv cannot be read: earlier results may be missing",)


def test_texts_come_in_the_language_asked_for(tmp_path: Path) -> None:
    """German where there is German, with its language; else what there is. Findings stay in English."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"), language="de")
    assert (step(card, "oil.hot").lang, step(card, "oil.hot").text) == ("de", "Heißes Öl verbrennt.")
    assert (step(card, "plugs.charge").lang, step(card, "plugs.charge").text) == ("", "Coils hold a charge.")
    assert step(card, "plugs.gap.1").text.startswith("Zylinder 1: ")
    assert step(card, "oil.filled").limits_text == "mindestens 270 L, höchstens 330 L"
    assert card.parts[0].title == "Ölfilter"
    assert card.tasks[0].because.startswith("overdue by 180 h")


def test_limits_are_shown_as_they_are(tmp_path: Path) -> None:
    """0.9 and 1.1 times 1,405 L are 1,264.5 and 1,545.5: with their decimals, and no comma that could be taken for a decimal one."""
    limits = {"at_least": 1264.5, "at_most": 1545.5}
    steps = [{"id": "filled", "kind": "measure", "value": "oil_filled_l", "unit": "L", "limits": limits}]
    card_site(tmp_path, procedures=({**OIL, "steps": steps},))
    for language, text in (("en", "at least 1264.5 L, at most 1545.5 L"), ("de", "mindestens 1264,5 L, höchstens 1545,5 L")):
        (card,) = cards_of(tmp_path, engines=("G1",), language=language)
        assert card.steps[0].limits_text == text


def test_every_word_is_there_in_every_language() -> None:
    """No word is missing, and the words in braces are the same in each."""
    for key, texts in all_words().items():
        assert set(texts) == set(LANGUAGES), key
        assert all(isinstance(text, str) and text.strip() for text in texts.values()), key
        assert len({tuple(sorted(part.partition("}")[0] for part in text.split("{")[1:])) for text in texts.values()}) == 1, key


def test_two_rule_sets_share_a_procedure_that_is_the_same_in_both(tmp_path: Path) -> None:
    """A second set with its own copy of oil and another plugs procedure: oil stands once, plugs under the names of their sets."""
    card_site(tmp_path, ruleset=["./rules.yaml", "./more.yaml"])
    rules = (tmp_path / "rules.yaml").read_text("utf-8")
    more = rules.replace("ruleset: ", "ruleset: more-", 1).replace("Coils hold a charge.", "Mind the coils.")
    (tmp_path / "more.yaml").write_text(more, encoding="utf-8")
    (card,) = cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"))
    own = card.tasks[0].ruleset
    assert [(task.task, task.procedure) for task in card.tasks] == [
        (f"{own}.oil", "oil"), (f"{own}.plugs", f"{own}.plugs"), (f"more-{own}.oil", "oil"), (f"more-{own}.plugs", f"more-{own}.plugs"),
    ]  # fmt: skip
    assert step(card, "oil.hot").tasks == (f"{own}.oil", f"more-{own}.oil")
    assert {each.ruleset for each in card.rulesets} == {own, f"more-{own}"}


def test_a_card_proves_itself(tmp_path: Path) -> None:
    """The same request gives the same code; read back from JSON it still has it, whole numbers as others write them; altered it has not."""
    card_site(tmp_path)
    (card,), (again,) = (cards_of(tmp_path, engines=("G1",)) for _ in range(2))
    assert card == again
    assert is_genuine(card)
    by_others = json.dumps(json.loads(card_text(card))).replace(".0,", ",").replace(".0}", "}")
    read = Card.model_validate_json(by_others)
    assert code_of(read) == card.code
    assert not is_genuine(card.model_copy(update={"people": 3}))
    (other,) = cards_of(tmp_path, engines=("G1",), on=date(2026, 3, 9))
    assert other.code != card.code
    assert other.stop.on == "2026-03-09"


def test_the_day_judged_is_on_the_card(tmp_path: Path) -> None:
    """Judged on 28 February."""
    card_site(tmp_path)
    (card,) = cards_of(tmp_path, engines=("G1",), completes="7K3M-9QXT-02HD-15WV")
    assert (card.made_on, card.stop.completes) == (DAY.isoformat(), "7K3M-9QXT-02HD-15WV")
