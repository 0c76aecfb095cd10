"""`intervals rules`: list, show, lint, test."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from intervals.rules.ruleset import RuleSet, shipped_rulesets
from tests.cli.conftest import Run, Stage, stub

GOOD = """\
ruleset: mine
title: A rule set | of *mine*
version: 2026.10
source: practice
tasks:
  - id: oil-change
    title: Change oil
    every: [{in_force_from: 2013-05-03, running_hours: 500, calendar: P1Y, source: old}, {in_force_from: 2024-10-29, calendar: P1Y30D}]
    because: Oil ages.
    source: practice
    tolerance_pct: 2.5
adjustments:
  - id: heavy-load
    tasks: [oil-change]
    when: {load_pct: {above: 90}}
    counts_as: 1.5
    because: Load ages oil.
    source: practice
limits: {counts_as_at_most: 4}
examples:
  - name: Half the interval
    since_last: {running_hours: 250, days: 10, load_pct: 95}
    task: oil-change
    as_of: 2024-01-01
    expect: {used: 375, allowed: 500, fired: [heavy-load]}
"""


@dataclass(frozen=True)
class ExampleResult:
    """How an example came out."""

    name: str
    passed: bool
    text: str


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    """Return a rule set file."""
    path = tmp_path / "mine.yaml"
    path.write_text(GOOD, encoding="utf-8")
    return path


def test_list_names_every_shipped_rule_set(run: Run) -> None:
    """Each has a row with its name, version and number of tasks."""
    result = run("rules", "list")
    assert result.exit_code == 0
    assert [line.split()[0] for line in result.stdout.splitlines()[1:]] == list(shipped_rulesets())


def test_show_says_the_rules_in_words(run: Run, rules: Path) -> None:
    """Tasks with dated intervals, adjustments with their grounds, limits, sources."""
    text = run("rules", "show", rules).stdout
    for part in (
        "rule set: mine 2026.10",
        "limits: an hour counts at most 4",
        "every: 500 h or 1 year, whichever comes first; in force from 2013-05-03; source: old",
        "every: 1 year and 30 days; in force from 2024-10-29",
        "tolerance: 2.5 %",
        "when: load_pct above 90",
        "then: each such hour counts as 1.5 h",
        "because: Load ages oil.",
        "Half the interval",
    ):
        assert part in text


def test_show_as_markdown_escapes_what_is_written(run: Run, rules: Path, tmp_path: Path) -> None:
    """The page has a heading a task; text of the rule set cannot be markup."""
    page = run("rules", "show", rules, "--format", "markdown").stdout
    assert page.startswith("# A rule set \\| of \\*mine\\*\n\n- **rule set**: mine 2026.10\n")
    assert "### oil-change: Change oil\n" in page
    run("rules", "show", rules, "--format", "markdown", "--output", tmp_path / "page.md")
    assert (tmp_path / "page.md").read_text(encoding="utf-8") == page


@pytest.mark.parametrize("name", sorted(shipped_rulesets()))
def test_every_shipped_rule_set_can_be_shown(run: Run, name: str) -> None:
    """Both forms can be drawn of every rule set that comes with the program."""
    assert run("rules", "show", name).exit_code == 0
    assert run("rules", "show", name, "--format", "markdown").exit_code == 0


def test_show_of_an_unknown_name_lists_what_there_is(run: Run) -> None:
    """A name near a shipped one is named."""
    result = run("rules", "show", "gas-engin")
    assert result.exit_code == 2
    assert "gas-engine" in result.stderr


def test_lint_of_a_sound_rule_set(run: Run, rules: Path) -> None:
    """Nothing to say: exit 0."""
    result = run("rules", "lint", rules)
    assert (result.exit_code, result.stdout, result.stderr) == (0, "0 warnings in 1 rule set\n", "")


def test_lint_warns_of_what_is_likely_not_meant(run: Run, rules: Path) -> None:
    """A rule without its grounds is a warning: exit 1, on standard output."""
    rules.write_text(GOOD.replace("    because: Load ages oil.\n", ""), encoding="utf-8")
    result = run("rules", "lint", rules)
    assert result.exit_code == 1
    assert "because" in result.stdout
    assert result.stdout.endswith("1 warning in 1 rule set\n")


def test_lint_lists_the_errors_of_all_files(run: Run, rules: Path, tmp_path: Path) -> None:
    """Errors of every file are on standard error, all at once: exit 2."""
    rules.write_text(GOOD.replace("P1Y30D", "1 year"), encoding="utf-8")
    other = tmp_path / "other.yaml"
    other.write_text("ruleset: other\nversion: 1\n", encoding="utf-8")
    result = run("rules", "lint", rules, other)
    assert result.exit_code == 2
    assert "mine.yaml:8" in result.stderr
    assert "other.yaml" in result.stderr


@pytest.mark.parametrize(
    ("results", "code", "said"),
    [
        ([ExampleResult("Half", passed=True, text="")], 0, ". mine 2026.10  1 of 1 example came out"),
        ([ExampleResult("Half", passed=False, text="used 251, expected 250")], 1, "      used 251, expected 250"),
        ([], 1, "? mine 2026.10  has no worked example"),
    ],
)
def test_examples_are_judged(
    run: Run, rules: Path, monkeypatch: pytest.MonkeyPatch, results: list[ExampleResult], code: int, said: str
) -> None:
    """All came out: 0. One did not, or there is none: 1, and it is told in full."""
    stage = stub(monkeypatch, "intervals.judge.examples", "run_examples", results)
    result = run("rules", "test", rules)
    assert result.exit_code == code
    assert said in result.stdout.splitlines()
    assert isinstance(stage.calls[0][0][0], RuleSet)


def test_without_a_name_all_shipped_rule_sets_are_tested(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each shipped rule set is judged once."""
    stage: Stage = stub(monkeypatch, "intervals.judge.examples", "run_examples", [ExampleResult("Any", passed=True, text="")])
    assert run("rules", "test").exit_code == 0
    assert [call[0][0].ruleset for call in stage.calls] == list(shipped_rulesets())
