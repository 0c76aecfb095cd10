"""Adjustments that cannot both be meant: what lint says of them, where, and what it says nothing of."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.rules.review.lint import lint_ruleset
from intervals.rules.ruleset import shipped_rulesets

HEAD = """\
ruleset: mine
title: Mine
version: "1"
source: practice
tasks:
  - {id: oil, title: Oil, applies_to: {fuel: [diesel, biogas]}, every: {running_hours: 500}, lead: {running_hours: 50}}
  - {id: plugs, title: Plugs, every: {running_hours: 500}}
conditions:
  light: {load_pct: {below: 25}}
limits: {counts_as_at_most: 4, interval_times_at_least: 0.25}
adjustments:
"""
FIRST_LINE = len(HEAD.splitlines()) + 1
NEW = {f"RUL{number:03d}" for number in range(68, 75)}


def warned(folder: Path, *rules: str, head: str = HEAD) -> list[tuple[str, int, str]]:
    """Return code, line after the head, and printed form of each warning of this kind, the rules standing one a line."""
    path = folder / "mine.yaml"
    lines = [f"  - {{id: r{index}, because: so, {rule}}}\n" for index, rule in enumerate(rules)]
    path.write_text(head + "".join(lines), encoding="utf-8")
    errors, warnings = lint_ruleset(path)
    assert errors == []
    return [(each.code, (each.line or 0) - FIRST_LINE, each.render()) for each in warnings if each.code in NEW]


def test_bands_that_overlap(tmp_path: Path) -> None:
    """Both hold from 0.8 to 1.0: one warning at the later rule, with where, what comes of it, and a fix."""
    ((code, line, text),) = warned(
        tmp_path,
        "tasks: oil, when: {fuel_sulphur_pct: {at_least: 0.5, at_most: 1.0}}, counts_as: 2",
        "tasks: [oil, plugs], when: {fuel_sulphur_pct: {at_least: 0.8, below: 2}}, counts_as: 1.5",
    )
    assert (code, line) == ("RUL068", 1)
    for part in (
        "$.adjustments[1].when",
        '"r0" and "r1" both hold at fuel_sulphur_pct at_least 0.8, at_most 1 for oil',
        "counts 3",
        "below beside",
    ):
        assert part in text


def test_one_shared_bound_is_an_overlap(tmp_path: Path) -> None:
    """At exactly 0.5 both hold."""
    ((code, _, text),) = warned(
        tmp_path,
        "tasks: oil, when: {mean_fuel_sulphur_pct: {at_most: 0.5}}, interval_becomes: {running_hours: 400}",
        "tasks: oil, when: {mean_fuel_sulphur_pct: {at_least: 0.5}}, interval_becomes: {running_hours: 300}",
    )
    assert code == "RUL068"
    assert "mean_fuel_sulphur_pct 0.5 for oil; there the shorter one holds" in text


def test_the_same_hours_count_twice(tmp_path: Path) -> None:
    """Every hour above 95 % is also above 90 %: it counts 1.5 x 2 = 3."""
    ((code, line, text),) = warned(
        tmp_path, "tasks: oil, when: {load_pct: {above: 90}}, counts_as: 1.5", "tasks: all, when: {load_pct: {above: 95}}, counts_as: 2"
    )
    assert (code, line) == ("RUL069", 1)
    assert "each such hour counts 3" in text


@pytest.mark.parametrize(
    ("upper", "lower", "gap"),
    [
        ("at_most: 0.50", "at_least: 0.51", "between 0.5 and 0.51"),
        ("below: 0.5", "above: 0.5", "0.5 itself"),
        ("at_most: 200", "at_least: 201", "between 200 and 201"),
        ("at_most: 1", "above: 1.01", "between 1 and 1.01"),
    ],
)
def test_a_gap_between_bands(tmp_path: Path, upper: str, lower: str, gap: str) -> None:
    """A step of the last decimal, or the bound itself, that neither band covers."""
    ((code, line, text),) = warned(
        tmp_path,
        f"tasks: oil, when: {{fuel_h2s_ppm: {{{lower}}}}}, counts_as: 3",
        f"tasks: oil, when: {{fuel_h2s_ppm: {{{upper}}}}}, counts_as: 2",
    )
    assert (code, line) == ("RUL071", 1)
    assert f"neither holds at fuel_h2s_ppm {gap}" in text
    assert "let the second begin where the first ends" in text


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (
            "tasks: oil, when: {load_pct: {above: 140}}, counts_as: 2",
            "load_pct above 140 is outside what is possible (at_least 0, at_most 130)",
        ),
        ("tasks: oil, when: {average_power_pct: {below: 30}}, interval_times: 0.5", "average_power_pct below 30 is outside"),
        (
            "tasks: oil, when: {hours_share_pct: {light: {above: 100}}}, interval_times: 0.5",
            "outside what is possible (at_least 0, at_most 100)",
        ),
        ("tasks: oil, when: {condition: light, any_of: [{load_pct: {above: 90}}]}, counts_as: 2", "contradicts itself"),
        ("tasks: oil, when: {fuel: natural-gas}, interval_times: 0.5", "its tasks are for fuel is diesel or biogas"),
    ],
)
def test_a_band_that_nothing_reaches(tmp_path: Path, rule: str, words: str) -> None:
    """Outside what the quantity can be, against itself, or against what its tasks are for."""
    ((code, line, text),) = warned(tmp_path, rule)
    assert (code, line) == ("RUL070", 0)
    assert words in text


def test_a_lead_that_is_longer_than_the_interval(tmp_path: Path) -> None:
    """It is told apart from one that is only more than half."""
    rule = "tasks: plugs, when: {load_pct: {above: 90}}, counts_as: 2"
    ((code, _, text),) = warned(tmp_path, rule, head=HEAD.replace("lead: {running_hours: 50}", "lead: {running_hours: 501}"))
    assert code == "RUL072"
    assert "longer than the interval" in text
    assert warned(tmp_path, rule, head=HEAD.replace("lead: {running_hours: 50}", "lead: {running_hours: 500}")) == []


@pytest.mark.parametrize(
    ("rule", "words"),
    [("counts_as: 5", "above the limit counts_as_at_most: 4"), ("interval_times: 0.2", "below the limit interval_times_at_least")],
)
def test_a_factor_that_the_limits_do_not_let_through(tmp_path: Path, rule: str, words: str) -> None:
    """The rule and the limit cannot both be right."""
    ((code, _, text),) = warned(tmp_path, f"tasks: oil, when: {{fuel: diesel}}, {rule}")
    assert code == "RUL073"
    assert words in text


@pytest.mark.parametrize(
    "rules",
    [
        # a series without gap or overlap
        (
            "tasks: oil, when: {fuel_sulphur_pct: {at_least: 0.5, at_most: 1}}, counts_as: 2",
            "tasks: oil, when: {fuel_sulphur_pct: {above: 1}}, counts_as: 4",
        ),
        # far apart: low and high load are two matters
        ("tasks: oil, when: {load_pct: {below: 25}}, counts_as: 2", "tasks: oil, when: {load_pct: {above: 90}}, counts_as: 1.5"),
        # other tasks, other effects, other fuels, other questions
        ("tasks: oil, when: {load_pct: {above: 90}}, counts_as: 2", "tasks: plugs, when: {load_pct: {above: 80}}, counts_as: 1.5"),
        ("tasks: oil, when: {load_pct: {above: 90}}, counts_as: 2", "tasks: oil, when: {mean_load_pct: {above: 90}}, interval_times: 0.9"),
        (
            "tasks: oil, when: {fuel: diesel, fuel_h2s_ppm: {above: 90}}, counts_as: 2",
            "tasks: oil, when: {fuel: biogas, fuel_h2s_ppm: {above: 80}}, counts_as: 1.5",
        ),
        ("tasks: oil, when: {load_pct: {above: 90}}, counts_as: 2", "tasks: oil, when: {oil_temp_c: {above: 95}}, counts_as: 1.5"),
        # a third band fills what two leave
        (
            "tasks: oil, when: {load_pct: {at_most: 90}}, counts_as: 2",
            "tasks: oil, when: {load_pct: {at_least: 91}}, counts_as: 3",
            "tasks: oil, when: {load_pct: {above: 90, below: 91}}, counts_as: 2.5",
        ),
        # other legs of the same task
        (
            "tasks: oil, when: {duty: standby}, interval_becomes: {running_hours: 300}",
            "tasks: oil, when: {duty: standby}, interval_times: 0.5",
        ),
    ],
)
def test_nothing_is_said_of_rules_that_can_stand_together(tmp_path: Path, rules: tuple[str, ...]) -> None:
    """No warning of this kind."""
    assert warned(tmp_path, *rules) == []


def test_the_shipped_rule_sets_are_clean() -> None:
    """Lint has nothing to say of any rule set that comes with the program."""
    assert {name: lint_ruleset(path) for name, path in shipped_rulesets().items()} == {name: ([], []) for name in shipped_rulesets()}
