"""Rule pages: every form says the same, nothing of a rule is left out, text of a file stays text, every value has its source."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from intervals.reports.lines import plain_text
from intervals.reports.rules.rule_html import rule_set_html
from intervals.reports.rules.rule_page import chapters_of, rule_list_lines, rule_set_lines, rule_set_markdown
from intervals.reports.rules.rule_pages import SOURCES, pages_of, stale_pages
from intervals.reports.rules.rule_words import adjustment_words, task_words
from intervals.reports.rules.source_page import source_rows
from intervals.rules.citations import NOT_SAID
from intervals.rules.ruleset import RuleSet, load_ruleset, shipped_rulesets

ROOT = Path(__file__).parents[4]
SHIPPED = {name: load_ruleset(path) for name, path in shipped_rulesets().items()}
NASTY = """\
ruleset: nasty
title: "<script>alert('x')</script> & *stars* | bars"
version: "1"
source: "\\"><img src=x onerror=alert(1)>"
tasks:
  - {id: "<b>", title: "</style><script>1</script>", every: {calendar: P1Y}, because: "[link](http://example.invalid)"}
"""


def nasty(folder: Path) -> RuleSet:
    """Return a rule set whose text tries to be markup."""
    (folder / "nasty.yaml").write_text(NASTY, encoding="utf-8")
    return load_ruleset(folder / "nasty.yaml")


class _Page(HTMLParser):
    """What a browser sees of a page: its tags, what they ask for, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.asked: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag and its attributes."""
        self.tags.append(tag)
        self.asked += attrs

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.text += data


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_the_three_forms_say_the_same(name: str) -> None:
    """Each entry and each fact stands in the text, on the Markdown page and on the HTML page."""
    ruleset = SHIPPED[name]
    forms = (
        plain_text(rule_set_lines(ruleset)),
        re.sub(r"\\(.)", r"\1", rule_set_markdown(ruleset)),
        _Page(rule_set_html(ruleset)).text,
    )
    for _, entries in chapters_of(ruleset):
        for _, facts in entries:
            for _, text in facts:
                assert all(" ".join(text.split()) in form for form in forms), text


def test_no_field_of_a_rule_is_left_out() -> None:
    """Whatever a task or an adjustment says beside its defaults is a fact, under the key it stands under in the file."""
    joined = {"id", "title", "whichever", "visit_days"}
    for ruleset in SHIPPED.values():
        for task in ruleset.tasks:
            said = {key for key in task.model_fields_set if getattr(task, key) != type(task).model_fields[key].default}
            assert said - joined <= {fact.key.split(" from ")[0] for fact in task_words(task)}
        for rule in ruleset.adjustments:
            said = {key for key in rule.model_fields_set if getattr(rule, key) != type(rule).model_fields[key].default}
            assert said - joined <= {fact.key for fact in adjustment_words(rule)}


def test_text_of_a_file_stays_text(tmp_path: Path) -> None:
    """No tag, no link and no markup comes from a rule set; the page fetches nothing and runs nothing."""
    ruleset = nasty(tmp_path)
    page = _Page(rule_set_html(ruleset))
    assert not {"script", "img", "b", "link", "iframe"} & set(page.tags)
    assert page.tags.count("style") == 1
    assert "<script>alert('x')</script> & *stars* | bars" in page.text
    assert not [value for name, value in page.asked if name in ("src", "href") and not str(value).startswith("#")]
    assert ("content", "default-src 'none'; style-src 'unsafe-inline'") in page.asked
    markdown = rule_set_markdown(ruleset)
    assert "<script>" not in markdown.replace("\\<script\\>", "")
    assert "\\[link\\](" in markdown


def test_the_html_page_has_a_way_to_every_task() -> None:
    """The table at its head links to each task, and each target is there once."""
    for ruleset in SHIPPED.values():
        page = _Page(rule_set_html(ruleset))
        targets = [str(value).removeprefix("#") for name, value in page.asked if name == "href"]
        assert targets == [value for name, value in page.asked if name == "id"]
        assert len(targets) == len(ruleset.tasks)


def test_the_list_tells_title_source_tasks_and_engines() -> None:
    """Of each rule set: which engines its tasks are for, by what applies_to asks."""
    text = plain_text(rule_list_lines([SHIPPED["gas-engine"]]))
    assert text.startswith("gas-engine 2026.12.2  Lean-burn gas engine, heat and power\n    holds: 13 tasks, 8 adjustments, 7 procedures\n")
    assert "    4 tasks for fuel is natural-gas or biogas: oil-change, oil-sample, spark-plugs, ignition-cables\n" in text
    assert "    9 tasks for any engine: valve-clearance," in text
    assert "    source: common practice;" in text


@pytest.mark.parametrize("name", sorted(SHIPPED))
def test_every_shipped_value_has_its_source(name: str) -> None:
    """Each interval and each effect stands with a document, or with how it is known; none is left unsaid."""
    ruleset = SHIPPED[name]
    rows = source_rows(ruleset)
    for rule, facts in [(task.id, task_words(task)) for task in ruleset.tasks] + [
        (rule.id, adjustment_words(rule)) for rule in ruleset.adjustments
    ]:
        for fact in facts:
            if fact.name in ("every", "first", "then", "tolerance"):
                assert any(row.rule == rule and fact.text in row.value for row in rows), (rule, fact)
    assert [row for row in rows if not row.citation.document and row.citation.known_by == NOT_SAID] == []


def test_the_shipped_pages_are_current() -> None:
    """The folder rulesets/pages holds what the rule sets say now; `intervals rules pages --output rulesets/pages` makes it anew."""
    assert stale_pages(pages_of(list(SHIPPED.values())), ROOT / "rulesets" / "pages") == []


def test_what_is_not_current_is_named(tmp_path: Path) -> None:
    """A page that is missing, one that was changed, one of a rule set that is gone; other people's files are let be."""
    pages = pages_of([nasty(tmp_path)])
    assert list(pages) == ["nasty.md", SOURCES]
    (tmp_path / "nasty.md").write_text("old", encoding="utf-8")
    (tmp_path / "gone.md").write_text(pages["nasty.md"], encoding="utf-8")
    (tmp_path / "notes.md").write_text("mine", encoding="utf-8")
    assert stale_pages(pages, tmp_path) == [("nasty.md", "not current"), (SOURCES, "missing"), ("gone.md", "left over")]
