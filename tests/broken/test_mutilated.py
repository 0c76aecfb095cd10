"""However a file is mutilated, what comes is problems with places, never another error."""

from __future__ import annotations

import json
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intervals.language.yamlmarks import load_yaml
from intervals.problems import ProblemsError
from intervals.rules.review.lint import lint_ruleset
from intervals.rules.review.site_fit import check_against_site
from intervals.rules.ruleset import load_ruleset
from intervals.site.model import load_site
from tests.small_models import small_site

SITE = small_site()
SOUND_SITE = """\
{site: a, time_zone: UTC, ruleset: x, running_when: {load_kw: {above: 5}}, records_from: 2024-01-01, services: {columns: {at: Date}},
 engines: [{id: G1, in_service: 2024-01-15, at_start: {starts: 0}, meter_changes: [{at: "2025-02-03T08:00", old_read_h: 8, new_read_h: 0}],
   laid_up: [{from: 2025-11-01, to: 2026-03-15}], attributes: {pan: true}}, {id: G2}],
 readings: [{files: [a.csv], timestamp: {column: [D, T], covers: after}, engine: {from_file_name: "(G1)"}, csv: {separator: ";"},
   quantities: {hour_meter_h: {column: H, unit: min}, vib: {column: V, unit: mm/s, kind: level, holds_for: P1D}}, engine_names: {N: G1}}]}
"""
SOUND_RULES = """\
{ruleset: a, title: A, version: 1, conditions: {hot: {oil_temp_c: {above: 95}}}, limits: {counts_as_at_most: 4},
 tasks: [{id: oil, title: Oil, every: [{running_hours: 5, calendar: P1Y}, {in_force_from: 2024-01-01, running_hours: 5}],
   lead: {calendar: P1D}, first: {running_hours: 1}, renews: [hose], makes_new: all, applies_to: {any_of: [{fuel: [a, b]}]}},
   {id: hose, title: Hose, every: {starts: 5}, tolerance_pct: 5}],
 adjustments: [{id: h, tasks: [oil], when: {condition: hot}, counts_as: 2},
   {id: i, tasks: all, when: {pan: true}, interval_becomes: {starts: 3}},
   {id: s, tasks: all, when: {hours_share_pct: {hot: {above: 20}}}, interval_times: 0.5}],
 examples: [{name: n, task: oil, since_last: {days: 5}, expect: {fired: [h], due_on: 2024-01-01}}]}
"""
JUNK: tuple[Any, ...] = (
    None, True, -1, 0, 2.5, 1e308, 10**40, "", "x", "yes", "P1Y", "2024-13-01", "{engine}", "\n", "\x1b[2J", "all", "hot", "G1", "(", "%",
    [], {}, [[]], ["a"], {"a": 1}, {"above": 5}, [{"above": "x"}], {"any_of": [{"a": {"above": 1}}]}, {"1": {"2": {"3": [4]}}}, "x" * 3000,
)  # fmt: skip
KEYS = ("x", "id", "every", "legs", "from", "unit", "kind", "colum", "condition", "hours_share_pct", "")


def places(data: object, here: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every value."""
    yield here
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in entries:
        yield from places(value, (*here, key))


def mutilate(data: Any, random: Random) -> None:  # noqa: ANN401 - plain data of any shape
    """Replace, remove, add or repeat a few values."""
    for _ in range(random.randint(1, 3)):
        chosen = random.choice([place for place in places(data) if place] or [()])
        if not chosen:
            return
        holder = data
        for key in chosen[:-1]:
            holder = holder[key]
        way = random.random()
        if way < 0.6:
            holder[chosen[-1]] = deepcopy(random.choice(JUNK))
        elif way < 0.75:
            del holder[chosen[-1]]
        elif isinstance(holder, dict):
            holder[random.choice(KEYS)] = deepcopy(random.choice(JUNK))
        else:
            holder.append(deepcopy(random.choice(holder)))


def mutilated(folder: Path, text: str, random: Random) -> Path:
    """Write a sound file with a few values mutilated; JSON is YAML too."""
    path = folder / "site.yaml"
    path.write_text(text, encoding="utf-8")
    data = json.loads(json.dumps(load_yaml(path, code_prefix="SIT").data))
    mutilate(data, random)
    path.write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
    return path


def check_problems(error: ProblemsError) -> None:
    """Each problem has a place and prints on lines of its own."""
    assert error.problems
    for problem in error.problems:
        assert problem.line is not None
        assert all(text.isprintable() for text in (problem.path or "", problem.text, problem.fix or ""))


def test_sound_files_are_sound(tmp_path: Path) -> None:
    """What is mutilated below is accepted as it stands."""
    path = tmp_path / "a.yaml"
    path.write_text(SOUND_SITE, encoding="utf-8")
    load_site(path)
    path.write_text(SOUND_RULES, encoding="utf-8")
    load_ruleset(path)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(random=st.randoms(use_true_random=False))
def test_mutilated_sites_give_problems_only(tmp_path: Path, random: Random) -> None:
    """A site file with junk in places is accepted or refused with problems."""
    try:
        site = load_site(mutilated(tmp_path, SOUND_SITE, random))
    except ProblemsError as error:
        check_problems(error)
    else:
        assert site.quantities
        assert site.model_dump(mode="json")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(random=st.randoms(use_true_random=False))
def test_mutilated_rule_sets_give_problems_only(tmp_path: Path, random: Random) -> None:
    """A rule set with junk in places is accepted or refused with problems; an accepted one can be linted and held against a site."""
    path = mutilated(tmp_path, SOUND_RULES, random)
    try:
        ruleset = load_ruleset(path)
    except ProblemsError as error:
        check_problems(error)
    else:
        # a name that nothing supplies is all that lint refuses of what loads
        assert all(problem.code == "RUL034" and problem.text.isprintable() for problem in lint_ruleset(path)[0])
        assert ruleset.model_dump(mode="json")
        for problem in check_against_site(ruleset, SITE):
            assert problem.text.isprintable()


@pytest.mark.parametrize("text", ["\x00", "\x1b[2J: 1", "a: \x1b]0;x\x07", "\ud800".encode("utf-8", "surrogatepass").decode("latin-1")])
def test_control_characters_never_reach_a_terminal(tmp_path: Path, text: str) -> None:
    """A file cannot move the cursor of whoever reads its problems."""
    path = tmp_path / "odd.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProblemsError) as caught:
        load_ruleset(path)
    assert all(problem.text.isprintable() and (problem.path or "").isprintable() for problem in caught.value.problems)
