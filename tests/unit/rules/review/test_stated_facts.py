"""What engines state must be of a name and a kind that rules can compare."""

from __future__ import annotations

from typing import Any

import pytest

from intervals.problems import Problem
from intervals.rules.review.lint import warnings_of
from intervals.rules.review.stated_facts import asked_by, check_stated_facts
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from tests.small_models import small_rules, small_site


def rules_on(*whens: dict[str, Any], **changes: object) -> RuleSet:
    """Return a rule set that asks for these conditions."""
    adjustments = [{"id": f"a{number}", "tasks": "all", "when": when, "counts_as": 2} for number, when in enumerate(whens)]
    return small_rules(adjustments=adjustments, **changes)


def problems_of(rules: RuleSet | list[RuleSet], *engines: dict[str, Any], **site: object) -> list[Problem]:
    """Return what is wrong with what engines state, all of them judged by the same rule sets."""
    judged_by = rules if isinstance(rules, list) else [rules]
    stated = [{"id": f"G{number}", **engine} for number, engine in enumerate(engines, 1)]
    return check_stated_facts(small_site(engines=stated, **site), lambda _: judged_by).problems


@pytest.mark.parametrize(
    ("when", "value", "fix"),
    [
        ({"dusty_air": True}, "ja", "write true or false"),
        ({"dusty_air": True}, "wahr", "write true or false"),
        ({"dusty_air": True}, "true", "write true or false"),
        ({"dusty_air": True}, 1, "write true or false"),
        ({"dusty_air": False}, 0, "write true or false"),
        ({"cylinders": {"above": 12}}, "sixteen", "write a number"),
        ({"cylinders": {"above": 12}}, True, "write a number"),
        ({"cylinders": [6, 8]}, "6", "write a number"),
        ({"cooling": ["water", "air"]}, True, 'write one of "water", "air"'),
        ({"cooling": ["water", "air"]}, 1, 'write one of "water", "air"'),
        ({"any_of": [{"pan": True}, {"pan": "deep"}]}, 2, 'write true or false or one of "deep"'),
    ],
)
def test_a_value_of_another_kind_is_refused(when: dict[str, Any], value: object, fix: str) -> None:
    """Nothing that is compared with true can be a word; each is told what would be accepted."""
    name = next(iter(when)) if "any_of" not in when else "pan"
    (problem,) = problems_of(rules_on(when, attributes={name: "stated"}), {"attributes": {name: value}})
    assert (problem.code, problem.path, problem.fix) == ("SIT046", f"$.engines[0].attributes.{name}", fix)
    assert "which no rule can compare" in problem.text


@pytest.mark.parametrize(
    ("when", "value"),
    [
        ({"dusty_air": True}, False),
        ({"cylinders": {"above": 12}}, 6),
        # a number is compared, whichever it is
        ({"cylinders": [6, 8]}, 5),
        ({"cooling": ["water", "air"]}, "air"),
    ],
)
def test_a_value_of_the_same_kind_is_taken(when: dict[str, Any], value: object) -> None:
    """What does not hold is as good an answer as what holds."""
    (name,) = when
    assert problems_of(rules_on(when), {"attributes": {name: value}}) == []


@pytest.mark.parametrize("name", ["dusty-air", "Dusty Air", "dustyair", "dusty_aire", "dust_air", "dusty_iar"])
def test_a_name_that_is_nearly_asked_for_is_refused(name: str) -> None:
    """The rule asks for dusty_air, and would not hold."""
    (problem,) = problems_of(rules_on({"dusty_air": True}), {"attributes": {name: True}})
    assert (problem.code, problem.text) == ("SIT046", f'no rule asks for "{name}"; did you mean "dusty_air"?')


@pytest.mark.parametrize(
    "attributes",
    [
        # near nothing that rules ask for: it is there for a person
        {"colour": "green"},
        {"extended_pan": "yellow"},
        # both are stated, so the one is no slip for the other
        {"dusty_air": True, "dusty_hair": True},
    ],
)
def test_an_attribute_that_no_rule_asks_for_is_let_through(attributes: dict[str, object]) -> None:
    """It changes nothing, and is meant for nothing."""
    assert problems_of(rules_on({"dusty_air": True}), {"attributes": attributes}) == []


def test_a_name_that_another_shipped_rule_set_asks_for_is_no_slip() -> None:
    """`oil_analysed` belongs to standby-diesel, whatever these rules ask for."""
    assert problems_of(rules_on({"oil_analyser": True}), {"attributes": {"oil_analysed": True}}) == []


@pytest.mark.parametrize(
    ("fuel", "meant"),
    [
        ("natural gas", "natural-gas"),
        ("Natural-Gas", "natural-gas"),
        ("natural-gaz", "natural-gas"),
        ("Biogas", "biogas"),
        ("Diesel", "diesel"),
    ],
)
def test_another_spelling_of_a_word_is_refused(fuel: str, meant: str) -> None:
    """Capitals, a blank for a hyphen, one letter."""
    (problem,) = problems_of(rules_on({"fuel": ["natural-gas", "biogas"]}), {"fuel": fuel})
    assert (problem.code, problem.path) == ("SIT013", "$.engines[0].fuel")
    assert problem.text == f'fuel is "{fuel}", which no rule names; did you mean "{meant}"?'


@pytest.mark.parametrize("fuel", ["erdgas", "wood-gas"])
def test_a_fuel_that_no_rule_names_anywhere_is_refused(fuel: str) -> None:
    """With the words that are named."""
    (problem,) = problems_of(rules_on({"fuel": ["natural-gas", "biogas"]}), {"fuel": fuel})
    assert problem.text == f'fuel is "{fuel}", which no rule names'
    assert (problem.fix or "").startswith('write one of "natural-gas", "biogas", "diesel", "heavy-fuel", "dual-fuel"')


@pytest.mark.parametrize(
    ("rules", "engine"),
    [
        # a word of the trade, whether these rules name it or not
        (rules_on({"fuel": ["natural-gas"]}), {"fuel": "diesel"}),
        (rules_on({"duty": "standby"}), {"duty": "continuous"}),
        # a word of the site's own that its rule set names, in a condition or where it describes the name
        (rules_on({"fuel": ["natural-gas", "wood-gas"]}), {"fuel": "wood-gas"}),
        (rules_on({"fuel": ["natural-gas"]}, attributes={"fuel": "natural-gas or wood-gas"}), {"fuel": "wood-gas"}),
        # nobody asks, so it changes nothing
        (rules_on({"duty": "standby"}), {"fuel": "wood-gas"}),
        (rules_on({"fuel": "diesel"}), {"duty": "peaking"}),
    ],
)
def test_a_word_that_is_known_or_changes_nothing_is_taken(rules: RuleSet, engine: dict[str, Any]) -> None:
    """Known to the program, named by the rules, or asked for by none."""
    assert problems_of(rules, engine) == []


def test_another_spelling_of_a_known_word_is_refused_even_where_no_rule_set_asks() -> None:
    """`duty` is held against the rating by the program itself."""
    (problem,) = problems_of(rules_on({"fuel": "diesel"}), {"duty": "Stand-by"})
    assert problem.text == 'duty is "Stand-by", which no rule names; did you mean "standby"?'


def test_words_of_an_attribute_are_those_that_its_description_or_conditions_name() -> None:
    """`burn: rich` stands only in the description; `ignition: diesel` nowhere. Where nothing is described, a word may be another's."""
    rules = rules_on(
        {"ignition": "spark"},
        {"burn": "lean"},
        {"hall": "machine hall 1"},
        attributes={"ignition": "compression or spark", "burn": "lean or rich"},
    )
    assert problems_of(rules, {"attributes": {"burn": "rich", "ignition": "compression", "hall": "machine hall 2"}}) == []
    (problem,) = problems_of(rules, {"attributes": {"ignition": "diesel"}})
    assert (problem.code, problem.text) == ("SIT013", 'ignition is "diesel", which no rule names')
    (problem,) = problems_of(rules, {"attributes": {"hall": "Machine-Hall 1"}})
    assert problem.text == 'hall is "Machine-Hall 1", which no rule names; did you mean "machine hall 1"?'


def test_an_engine_s_id_is_no_word() -> None:
    """A rule for G-1 is not meant for G1."""
    assert problems_of(rules_on({"engine": ["G-1"]}), {}) == []


def test_components_are_held_to_the_same() -> None:
    """Their kind, and their attributes; a kind that no rule is for is let through."""
    rules = rules_on({"kind": "turbocharger", "water_cooled": True})
    fitted = [{"engine": "G1", "from": "2024-01-01"}]
    components = [
        {"id": "T1", "kind": "Turbo-Charger", "fitted": fitted},
        {"id": "T2", "kind": "turbocharger", "attributes": {"water_cooled": "nein"}, "fitted": fitted},
        {"id": "T3", "kind": "gearbox", "fitted": fitted},
    ]
    told = [(problem.path, problem.text) for problem in problems_of(rules, {}, components=components)]
    assert told == [
        ("$.components[0].kind", 'kind is "Turbo-Charger", which no rule names; did you mean "turbocharger"?'),
        ("$.components[1].attributes.water_cooled", 'water_cooled is "nein", which no rule can compare'),
    ]


def test_rule_sets_that_judge_one_engine_together_are_asked_together() -> None:
    """What one of them compares with true and the other with a word may be either."""
    both = [rules_on({"pan": True}), rules_on({"pan": "deep"})]
    assert problems_of(both, {"attributes": {"pan": True}}, {"attributes": {"pan": "deep"}}) == []
    assert len(problems_of(both, {"attributes": {"pan": 3}})) == 1


def test_every_word_that_shipped_rule_sets_describe_is_taken() -> None:
    """Their own descriptions name the words that an engine may state."""
    described = {
        "us-area-source": {"ignition": "spark", "role": "up-to-24-h", "cycle": "two-stroke", "burn": "rich"},
        "us-major-source": {"ignition": "compression", "role": "black-start"},
        "standby-hospital": {"rating": "continuous"},
    }
    for name, attributes in described.items():
        assert problems_of(load_ruleset(find_ruleset(name, None)), {"attributes": attributes}) == []


def test_measures_and_quantities_of_the_log_are_no_facts() -> None:
    """What the log tells is not asked of the engine."""
    rules = rules_on({"load_pct": {"above": 90}, "dusty_air": True})
    assert list(asked_by([rules])) == ["dusty_air"]


def test_lint_tells_of_facts_of_examples() -> None:
    """An example whose engine states `ja` shows the longer interval, whatever its name says."""
    example = {"name": "In dust", "engine": {"dusty_air": "ja"}, "since_last": {"running_hours": 1}, "task": "oil", "expect": {}}
    rules = rules_on({"dusty_air": True}, examples=[example])
    assert [problem.text for problem in warnings_of(rules) if problem.code == "RUL077"] == ['dusty_air is "ja", which no rule can compare']
