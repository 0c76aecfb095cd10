"""Tolerance, window and run of a task as a rule set writes them: what is read, what is warned of, how it is told."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest

from intervals.language.done_when import parse_done_when
from intervals.questions.examples.examples import run_examples
from intervals.reports.rules.rule_page import rule_set_markdown
from intervals.rules.review.lint import lint_ruleset
from intervals.rules.ruleset import RuleSet, load_ruleset

RULES = """\
ruleset: timing
title: Timing
version: 1
source: a test
tasks:
  - id: exercise
    title: Exercise
    every: {running_hours: 500, calendar: P30D}
    tolerance: {pct: 20, calendar: P28D, running_hours: 50, rounding: inward}
    window: {before: P10D, after: P5D}
    restarts_from: due_unless_early
    done_when:
      sequence: [{running_min: 30, condition: loaded}, {running_min: 60, load_pct: {at_least: 75}}]
      sampling_min: 7.5
conditions:
  loaded: {load_pct: {at_least: 50}}
examples:
  # the 0.5 h at 80 % are what was run since it was last done; an example has no log that could complete it
  - name: Thirty-five days after, at the end of its window
    engine: {rated_kw: 400}
    task: exercise
    since_last: {running_hours: 0.5, days: 35, load_pct: 80}
    expect: {standing: upcoming, governing: calendar, used: 35, allowed: 35}
"""


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Return the file of the rule set."""
    path = tmp_path / "timing.yaml"
    path.write_text(RULES, encoding="utf-8")
    return path


def test_every_form_is_read(rules: Path) -> None:
    """Shares and minutes are exact, steps are calendar steps, named conditions are looked up."""
    task = load_ruleset(rules).task("exercise")
    assert task.tolerance is not None
    assert task.window is not None
    assert task.done_when is not None
    assert (task.tolerance.pct, task.tolerance.rounding) == (Decimal(20), "inward")
    assert {leg: str(value) for leg, value in task.tolerance.legs.items()} == {"calendar": "P28D", "running_hours": "50.0"}
    assert (task.window.before.text, task.window.after.text) == ("P10D", "P5D")
    assert [str(part) for part in task.run_parts] == ["30 min with load_pct at least 50", "60 min with load_pct at least 75"]
    assert task.done_when.sampling_min == Decimal("7.5")


def test_a_single_run_needs_no_sequence() -> None:
    """Its parts are one, and the sampling stands beside the condition."""
    read = parse_done_when({"running_min": 30, "load_pct": {"at_least": 30}, "sampling_min": 5}, {})
    assert (len(read.parts), read.sampling_min) == (1, Decimal("5.0"))
    assert parse_done_when({"running_min": 30}, {}).parts[0].when is None


def test_examples_are_judged_without_a_log(rules: Path) -> None:
    """What an example states was used since the last completion; it completes nothing itself."""
    (result,) = run_examples(load_ruleset(rules))
    assert result.passed, result.text


def test_nothing_is_warned_of_without_need(rules: Path) -> None:
    """The condition that only a run names is no idle one."""
    assert lint_ruleset(rules) == ([], [])


def test_a_tolerance_of_a_leg_that_the_task_has_not_is_warned_of(rules: Path) -> None:
    """It can have no effect."""
    rules.write_text(RULES.replace("running_hours: 50,", "starts: 50,"), encoding="utf-8")
    assert [problem.text for problem in lint_ruleset(rules)[1]] == ['tolerance names the leg "starts", which every does not have']


def test_rounding_needs_a_calendar_leg(tmp_path: Path) -> None:
    """Only days are rounded."""
    path = tmp_path / "hours.yaml"
    text = RULES.replace(", calendar: P30D}", "}").replace("    window: {before: P10D, after: P5D}\n", "").replace("calendar: P28D, ", "")
    path.write_text(text.partition("examples:")[0], encoding="utf-8")
    assert "rounding is of whole days, and every has no calendar leg" in [problem.text for problem in lint_ruleset(path)[1]]


def test_a_page_tells_all_three(rules: Path) -> None:
    """A rule set is read by people too."""
    page = rule_set_markdown(load_ruleset(rules)).replace("\\", "")
    assert "20 % or 28 days or 50 h, the smallest that applies to a leg; whole days, rounded inward" in page
    assert "30 min with load_pct at least 50, then 60 min with load_pct at least 75; 7.5 min less is accepted" in page


@pytest.mark.parametrize(
    ("task", "is_accepted"),
    [
        ({"tolerance": {"pct": 10, "calendar": "P28D", "rounding": "outward"}}, True),
        ({"tolerance": {"pct": 101}}, False),
        ({"tolerance": {"rounding": "down"}}, False),
        ({"window": {"before": "P10D"}}, True),
        ({"window": {"before": "10 days"}}, False),
        ({"window": {"until": "P10D"}}, False),
        ({"done_when": {"running_min": 30, "load_pct": {"at_least": 30}}}, True),
        ({"done_when": {"load_pct": {"at_least": 30}}}, False),
        ({"done_when": {"running_min": 30, "load_pct": {"over": 30}}}, False),
        ({"done_when": {"sequence": [{"running_min": 30}], "sampling_min": 15}}, True),
        ({"done_when": {"sequence": []}}, False),
        ({"restarts_from": "due_unless_early"}, True),
    ],
)
def test_the_schema_for_editors_fits(task: dict[str, object], is_accepted: bool) -> None:
    """What can be written is accepted while one types, and slips are not."""
    checker = jsonschema.Draft202012Validator(RuleSet.model_json_schema())
    whole = {"ruleset": "x", "title": "X", "version": "1", "tasks": [{"id": "a", "title": "A", "every": {"calendar": "P1Y"}, **task}]}
    assert checker.is_valid(whole) == is_accepted
