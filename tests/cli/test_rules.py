"""`intervals rules`: list, show, lint, test."""

from __future__ import annotations

import json
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
    every: [{in_force_from: 2013-05-03, running_hours: 500, calendar: P1Y, source: old}, {in_force_from: 2024-08-30, calendar: P1Y30D}]
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
    """Each has a paragraph that begins with its name; below it what it holds, which engines it is for, and its source."""
    result = run("rules", "list")
    assert result.exit_code == 0
    assert [line.split()[0] for line in result.stdout.splitlines() if line and line[0] != " "] == list(shipped_rulesets())
    assert result.stdout.count("\n    source: ") == len(shipped_rulesets())


def test_show_says_the_rules_in_words(run: Run, rules: Path) -> None:
    """Tasks with dated intervals, adjustments with their grounds, limits, sources."""
    text = run("rules", "show", rules).stdout
    for part in (
        "rule set: mine 2026.10",
        "limits: an hour counts at most 4",
        "every: 500 h or 1 year, whichever comes first; in force from 2013-05-03; source: old",
        "every: 1 year and 30 days; in force from 2024-08-30",
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


def test_show_as_html_is_one_page(run: Run, rules: Path, tmp_path: Path) -> None:
    """The page stands alone: from its doctype to its end, with its style in it."""
    assert run("rules", "show", rules, "--format", "html", "--output", tmp_path / "page.html").exit_code == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert page.endswith("</html>\n")
    assert "<title>A rule set | of *mine*</title>" in page


def test_diff_says_what_changed(run: Run, rules: Path, tmp_path: Path) -> None:
    """Same: 0. Different: 1, in words or as a document. Cannot: 2, with the problems of both."""
    other = tmp_path / "other.yaml"
    other.write_text(GOOD.replace("counts_as: 1.5", "counts_as: 2"), encoding="utf-8")
    assert (run("rules", "diff", rules, rules).exit_code, run("rules", "diff", rules, rules).stdout.splitlines()[-1]) == (
        0,
        "no difference",
    )
    result = run("rules", "diff", rules, other)
    assert result.exit_code == 1
    assert "heavy-load: the effect is now each such hour counts as 2 h; was each such hour counts as 1.5 h" in result.stdout
    document = run("rules", "diff", rules, other, "--format", "json", "--output", tmp_path / "diff.json")
    assert (document.exit_code, document.stdout) == (1, "")
    assert json.loads((tmp_path / "diff.json").read_text(encoding="utf-8"))["differences"][0]["entry"] == "heavy-load"
    result = run("rules", "diff", tmp_path / "none.yaml", "no-such-rules")
    assert result.exit_code == 2
    assert result.stderr.endswith("2 problems\n")


def test_pages_are_made_and_checked(run: Run, tmp_path: Path) -> None:
    """Made into a new folder they are current; one that was changed is told and made anew, one left over is taken away."""
    folder = tmp_path / "pages"
    assert run("rules", "pages", "--output", folder, "--check").exit_code == 1
    assert run("rules", "pages", "--output", folder).exit_code == 0
    assert sorted(path.stem for path in folder.iterdir()) == sorted([*shipped_rulesets(), "sources"])
    (folder / "left.md").write_bytes((folder / "gas-engine.md").read_bytes())
    with (folder / "gas-engine.md").open("a", encoding="utf-8") as page:
        page.write("changed")
    result = run("rules", "pages", "--output", folder, "--check")
    assert result.exit_code == 1
    assert result.stdout.splitlines()[:2] == [f"{folder / 'gas-engine.md'}: not current", f"{folder / 'left.md'}: left over"]
    assert run("rules", "pages", "--output", folder).exit_code == 0
    assert run("rules", "pages", "--output", folder, "--check").exit_code == 0
    assert not (folder / "left.md").exists()


@pytest.mark.parametrize("name", ["sources.md", "gas-engine.md"])
def test_a_file_that_is_no_page_is_not_written_over(run: Run, tmp_path: Path, name: str) -> None:
    """Notes of one's own under the name of a page are named and left, and no page is written beside them; --check only tells."""
    (tmp_path / name).write_text("my own notes", encoding="utf-8")
    result = run("rules", "pages", "--output", tmp_path)
    assert (result.exit_code, result.stderr.startswith(f"CLI110 {tmp_path / name}\n")) == (2, True)
    assert [path.read_text(encoding="utf-8") for path in tmp_path.iterdir()] == ["my own notes"]
    assert run("rules", "pages", "--output", tmp_path, "--check").exit_code == 1


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
        ([ExampleResult("Half", passed=True, text="")], 0, ". mine 2026.10  1 of 1 example as expected"),
        ([ExampleResult("Half", passed=False, text="used 251, expected 250")], 1, "      used 251, expected 250"),
        ([], 1, "? mine 2026.10  has no worked example"),
    ],
)
def test_examples_are_judged(
    run: Run, rules: Path, monkeypatch: pytest.MonkeyPatch, results: list[ExampleResult], code: int, said: str
) -> None:
    """All came out: 0. One did not, or there is none: 1, and it is told in full."""
    stage = stub(monkeypatch, "intervals.questions.examples.examples", "run_examples", results)
    result = run("rules", "test", rules)
    assert result.exit_code == code
    assert said in result.stdout.splitlines()
    assert isinstance(stage.calls[0][0][0], RuleSet)


def test_without_a_name_all_shipped_rule_sets_are_tested(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each shipped rule set is judged once."""
    stage: Stage = stub(monkeypatch, "intervals.questions.examples.examples", "run_examples", [ExampleResult("Any", passed=True, text="")])
    assert run("rules", "test").exit_code == 0
    assert [call[0][0].ruleset for call in stage.calls] == list(shipped_rulesets())
