"""Procedures of rule sets: what lies over what, what lint says of them, and what engines state for their cards."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest

from intervals.problems import Problem, RuleSetProblemError
from intervals.reports.schemas import schema_of
from intervals.rules.review.lint import warnings_of
from intervals.rules.review.stated_facts import check_stated_facts
from intervals.rules.ruleset import RuleSet, load_ruleset, shipped_rulesets
from tests.small_models import small_rules, small_site

BASE = """\
ruleset: plant
title: The plant's schedule
version: "1"
source: the plant's book
tasks:
  - {id: oil, title: Change oil, every: {running_hours: 500}}
  - {id: plugs, title: Plugs, every: {running_hours: 500}}
procedures:
  - id: oil-change
    tasks: [oil]
    title: Change oil
    hours: 2
    steps:
      - {id: hot, kind: caution, text: Hot}
      - {id: pump, kind: wait, minutes: 20, text: Pump}
      - {id: valve, kind: set, of: valve, to: open, before: shut, restore: true}
      - {id: fill, kind: do, text: Fill, needs: [pump, valve.restore], phase: after}
    examples:
      - {name: Base, expect: {verdict: credited}}
  - id: plug-change
    tasks: [plugs]
    title: Plugs
    steps:
      - {id: gap, kind: do, text: Gap}
"""
OWN = """\
ruleset: ours
title: Ours
version: "2"
based_on: ./base.yaml
without: {steps: [oil-change.valve], tasks: [plugs]}
procedures:
  - id: oil-change
    hours: 3
    steps:
      - {id: pump, minutes: 30}
      - {id: sample, kind: sample, phase: before}
"""


def written(folder: Path, own: str = OWN) -> Path:
    """Write base and own rule set into a folder and return the path of the own one."""
    (folder / "base.yaml").write_text(BASE, encoding="utf-8")
    (folder / "ours.yaml").write_text(own, encoding="utf-8")
    return folder / "ours.yaml"


def codes(problems: tuple[Problem, ...] | list[Problem]) -> list[tuple[str, str | None]]:
    """Return code and path of problems."""
    return [(problem.code, problem.path) for problem in problems]


def test_steps_are_laid_over_those_of_one_id(tmp_path: Path) -> None:
    """Minutes change, the text stays; a new step follows; one that goes is needed no longer; a procedure without tasks goes too."""
    made = load_ruleset(written(tmp_path))
    (procedure,) = made.procedures
    assert (procedure.id, procedure.hours, procedure.tasks, procedure.source) == ("oil-change", 3, ("oil",), "the plant's book")
    assert [step.id for step in procedure.steps] == ["hot", "pump", "fill", "sample"]
    assert (procedure.step("pump").minutes, str(procedure.step("pump").text)) == (30, "Pump")
    assert procedure.step("fill").needs == ("pump",)
    assert procedure.examples == ()


def test_each_part_of_a_step_keeps_its_own_place(tmp_path: Path) -> None:
    """Minutes stand in the own file, the text beside them in the base."""
    marked = load_ruleset(written(tmp_path)).marked
    own, base = str(tmp_path / "ours.yaml"), str(tmp_path / "base.yaml")
    pump = ("procedures", 0, "steps", 1)
    assert [(marked.origin_of((*pump, key))[0], marked.line_of((*pump, key))) for key in ("minutes", "text")] == [(own, 10), (base, 15)]
    assert (marked.origin_of(("procedures", 0, "steps", 3))[0], marked.line_of(("procedures", 0, "steps", 3))) == (own, 11)
    assert (marked.origin_of(("procedures", 0, "steps", 2))[0], marked.line_of(("procedures", 0, "steps", 2))) == (base, 17)


def test_a_fault_of_an_inherited_step_is_told_where_it_stands(tmp_path: Path) -> None:
    """The own file takes the kind of a step away, which the base wrote: the problem names the own file and line."""
    own = OWN.replace("{id: pump, minutes: 30}", "{id: pump, minutes: 30 min}")
    with pytest.raises(RuleSetProblemError) as caught:
        load_ruleset(written(tmp_path, own))
    assert [(Path(problem.file).name, problem.line, problem.code) for problem in caught.value.problems] == [("ours.yaml", 10, "RUL012")]


@pytest.mark.parametrize(
    ("without", "words"),
    [("steps: [oil-change.vent]", 'the base has no step "oil-change.vent"'), ("procedures: [oil]", 'the base has no procedure "oil"')],
)
def test_what_the_base_does_not_have_cannot_be_taken_away(tmp_path: Path, without: str, words: str) -> None:
    """A step is named by its procedure and its own id."""
    own = f"ruleset: ours\ntitle: Ours\nversion: 1\nbased_on: ./base.yaml\nwithout: {{{without}}}\n"
    with pytest.raises(RuleSetProblemError, match=words):
        load_ruleset(written(tmp_path, own))


def test_a_rule_set_without_a_procedure_of_its_base(tmp_path: Path) -> None:
    """A whole procedure is taken away by its id."""
    own = "ruleset: ours\ntitle: Ours\nversion: 1\nbased_on: ./base.yaml\nwithout: {procedures: oil-change}\n"
    assert [each.id for each in load_ruleset(written(tmp_path, own)).procedures] == ["plug-change"]


def procedure(*steps: dict[str, Any], **keys: Any) -> dict[str, Any]:  # noqa: ANN401 - any key of a procedure
    """Return the data of a procedure that lint has nothing to say of but its steps."""
    data: dict[str, Any] = {"id": "a", "tasks": "oil", "title": "A", "steps": list(steps)}
    return {**data, "examples": [{"name": "n", "expect": {}}], **keys}


def doubts(*procedures: dict[str, Any], **keys: Any) -> list[tuple[str, str | None]]:  # noqa: ANN401 - any key of a rule set
    """Return the warnings about procedures of a rule set."""
    ruleset = small_rules(procedures=list(procedures), **keys)
    return [each for each in codes(warnings_of(ruleset)) if each[1] and each[1].startswith("$.procedures")]


WAIT = {"id": "w", "kind": "wait", "text": "w"}
CHECK = {"id": "c", "kind": "check", "text": "c"}


@pytest.mark.parametrize(
    ("steps", "keys", "found"),
    [
        ([CHECK], {}, []),
        ([CHECK], {"examples": []}, [("RUL063", "$.procedures[0]")]),
        ([{**CHECK, "phase": "secure"}], {}, [("RUL080", "$.procedures[0]")]),
        ([{**CHECK, "phase": "secure"}, {"id": "d", "kind": "caution", "text": "d"}], {}, []),
        ([WAIT], {}, [("RUL079", "$.procedures[0].steps[0]")]),
        ([{**WAIT, "minutes": 0}], {}, [("RUL079", "$.procedures[0].steps[0].minutes")]),
        ([{**WAIT, "minutes": "card.w_min"}], {}, []),
        ([{"id": "m", "kind": "measure", "value": "x", "evidence": "asked"}], {}, [("RUL079", "$.procedures[0].steps[0]")]),
        ([{"id": "m", "kind": "measure", "value": "x"}], {}, []),
        ([{"id": "m", "kind": "measure", "value": "x", "limits": {"at_most": 3}}], {}, [("RUL079", "$.procedures[0].steps[0].limits")]),
        ([{**WAIT, "minutes": "engine.oil_volum_l"}], {}, [("RUL075", "$.procedures[0].steps[0].minutes")]),
    ],
)
def test_lint_says_what_a_procedure_could_do_better(
    steps: list[dict[str, Any]], keys: dict[str, Any], found: list[tuple[str, str]]
) -> None:
    """Examples, cautions, waits and values that nothing can be wrong with, slips in what is asked of an engine."""
    assert doubts(procedure(*steps, **keys)) == found


def test_lint_asks_for_a_source() -> None:
    """Where neither the rule set nor the procedure has one."""
    assert doubts(procedure(CHECK), source=None) == [("RUL061", "$.procedures[0]")]
    assert doubts(procedure(CHECK, source="common practice"), source=None) == []


@pytest.mark.parametrize(("fuel", "other", "count"), [("diesel", "biogas", 0), ("diesel", ["biogas", "diesel"], 1), (None, "biogas", 1)])
def test_lint_tells_of_two_that_set_one_thing_differently_where_an_engine_may_have_both(fuel: object, other: object, count: int) -> None:
    """Tasks for different fuels never share a card; those without a fuel may."""
    tasks = [
        {"id": name, "title": name, "every": {"running_hours": 500}, **({"applies_to": {"fuel": words}} if words else {})}
        for name, words in (("oil", fuel), ("plugs", other))
    ]
    open_it = {"id": "v", "kind": "set", "of": "valve", "to": "open"}
    both = [procedure(open_it), procedure({**open_it, "to": "shut"}, id="b", tasks="plugs")]
    assert doubts(*both, tasks=tasks) == [("RUL078", "$.procedures[1].steps[0]")] * count


def rules_asking(*values: str) -> RuleSet:
    """Return a rule set whose steps ask for these values."""
    return small_rules(procedures=[procedure(*({**WAIT, "id": f"w{index}", "minutes": value} for index, value in enumerate(values)))])


@pytest.mark.parametrize(
    ("engine", "text"),
    [
        ({"card": {"drain_pan_min": 20}}, None),
        ({"card": {"own_note": 3}}, None),
        ({"card": {"drain-pan-min": 20}}, 'no step of a procedure asks for "card.drain-pan-min"; did you mean "drain_pan_min"?'),
        ({"card": {"drain_pn_min": 20}}, 'did you mean "drain_pan_min"?'),
        ({"card": {"drain_pan_min": 20, "drain_pn_min": 20}}, None),
        ({"card": {"drain_tank_min": 20}}, None),
        ({"attributes": {"cylinder": 6}}, 'no rule asks for "cylinder"; did you mean "cylinders"?'),
        ({"attributes": {"cylinders": "six"}}, "which no rule can compare"),
    ],
)
def test_a_slip_in_what_an_engine_states_for_its_cards_is_told(engine: dict[str, Any], text: str | None) -> None:
    """Nearly the name of a value that steps ask for and that the engine does not state; a name of its own is the site's affair."""
    site = small_site(engines=[{"id": "G1", **engine}])
    problems = check_stated_facts(site, lambda _: [rules_asking("card.drain_pan_min", "engine.cylinders")]).problems
    assert (not problems) if text is None else (len(problems) == 1 and text in problems[0].text and problems[0].code == "SIT046")


def test_the_schema_knows_procedures() -> None:
    """A shipped file with procedures is valid by the JSON Schema; a step without kind, and a wait of `20 min`, are not."""
    schema = schema_of("ruleset")
    good: dict[str, Any] = {
        "ruleset": "r",
        "title": "R",
        "version": "1",
        "tasks": [{"id": "oil", "title": "O", "every": {"running_hours": 5}}],
    }
    fine = {**good, "procedures": [procedure({**WAIT, "minutes": "0.5 x card.w_min"})]}
    jsonschema.validate(fine, schema)
    for step in ({"id": "w", "text": "w"}, {**WAIT, "minutes": "20 min"}, {**WAIT, "text": {"it": "w"}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({**good, "procedures": [procedure(step)]}, schema)


@pytest.mark.parametrize("name", shipped_rulesets())
def test_every_shipped_procedure_warns_and_gives_way(name: str) -> None:
    """Each has cautions, one of them that other documents come first, a source and examples; none names what cannot be judged."""
    ruleset = load_ruleset(shipped_rulesets()[name])
    for each in ruleset.procedures:
        cautions = [str(step.text) for step in each.steps if step.kind == "caution"]
        assert len(cautions) >= 2, each.id
        assert "come before this card" in cautions[0], each.id
        assert each.source, each.id
        inherited = ruleset.marked.origin_of(("procedures", ruleset.procedures.index(each)))[0] != ruleset.file
        assert inherited or each.examples, each.id
    assert [each for each in codes(warnings_of(ruleset)) if each[0] in ("RUL078", "RUL079", "RUL080")] == []


@pytest.mark.parametrize("name", ["gas-engine", "diesel-prime", "standby-diesel"])
def test_the_oil_change_is_there_in_german_and_dutch(name: str) -> None:
    """Its title and each of its cautions."""
    ruleset = load_ruleset(shipped_rulesets()[name])
    for each in ruleset.procedures_of("oil-change"):
        said = [each.title, *(step.text for step in each.steps if step.kind == "caution")]
        assert all(words is not None and {"en", "de", "nl"} <= {*words.languages} for words in said), each.id
