"""What a rule set asks for must be declared somewhere."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from intervals.rules.review.site_fit import check_against_site
from intervals.rules.ruleset import RuleSet
from tests.small_models import small_rules, small_site
from tests.unit.rules.whole_ruleset import WHOLE


def test_a_site_that_declares_everything_has_no_problem(whole: RuleSet) -> None:
    """A counter of the site's own satisfies the leg that names it."""
    quantities = {"hour_meter_h": {"column": "H"}, "vibration_hours": {"column": "V", "unit": "h", "kind": "counter"}}
    readings = {"files": "a.csv", "timestamp": {"column": "T"}, "engine": {"value": "G1"}, "quantities": quantities}
    assert check_against_site(whole, small_site(readings=readings)) == []


def test_an_undeclared_leg_is_a_problem(whole: RuleSet, whole_file: Path) -> None:
    """The problem stands at the leg's place in the rule set."""
    (problem,) = check_against_site(whole, small_site())
    line = next(number for number, text in enumerate(WHOLE.splitlines(), 1) if "vibration_hours" in text)
    assert (problem.code, problem.file, problem.line) == ("RUL026", str(whole_file), line)
    assert '"vibration_hours" is not a counter or an amount of this site' in problem.text


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ({"vibration_mm_s": {"above": 5}}, '"vibration_mm_s" is declared nowhere'),
        ({"laod_pct": {"above": 90}}, 'did you mean "load_pct"?'),
        ({"feul": "biogas"}, 'did you mean "fuel"?'),
        ({"extension_tnak": True}, 'did you mean "extension_tank"?'),
    ],
)
def test_an_undeclared_name_is_a_problem(when: dict[str, Any], words: str) -> None:
    """A bound on what nobody declares, and a slip for what somebody does."""
    rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": when, "counts_as": 2}])
    (problem,) = check_against_site(rules, small_site(engines=[{"id": "G1", "attributes": {"extension_tank": True}}]))
    assert problem.code == "RUL026"
    assert words in problem.text


def test_an_attribute_that_nobody_states_is_only_unknown() -> None:
    """A rule for engines with some equipment may be used where no engine says whether it has it."""
    rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": {"dusty_air": True}, "counts_as": 2}])
    assert check_against_site(rules, small_site()) == []


def test_attributes_of_the_rule_set_are_declared() -> None:
    """A number that engines may state is declared by the rule set that asks for it."""
    adjustments = [{"id": "a", "tasks": "all", "when": {"cylinders": {"above": 12}}, "counts_as": 2}]
    assert len(check_against_site(small_rules(adjustments=adjustments), small_site())) == 1
    assert check_against_site(small_rules(adjustments=adjustments, attributes={"cylinders": "how many"}), small_site()) == []


@pytest.mark.parametrize(
    ("name", "effect", "code"),
    [
        ("vibration", {"counts_as": 2}, None),
        ("vibration", {"interval_times": 0.5}, "RUL024"),
        ("mean_vibration", {"interval_times": 0.5}, None),
        ("pulses", {"counts_as": 2}, "RUL024"),
        ("mean_pulses", {"interval_times": 0.5}, "RUL026"),
    ],
)
def test_a_sites_own_quantities_suit_their_rules(name: str, effect: dict[str, Any], code: str | None) -> None:
    """A level hour by hour, its mean on the window; a counter nowhere."""
    quantities = {
        "vibration": {"column": "V", "unit": "mm/s", "kind": "level"},
        "pulses": {"column": "P", "unit": "count", "kind": "counter"},
    }
    readings = {"files": "a.csv", "timestamp": {"column": "T"}, "engine": {"value": "G1"}, "quantities": quantities}
    rules = small_rules(adjustments=[{"id": "a", "tasks": "all", "when": {name: {"above": 5}}, **effect}])
    assert [problem.code for problem in check_against_site(rules, small_site(readings=readings))] == ([code] if code else [])
