"""A what-if as a page: both sides, escaped, needing nothing else."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from intervals import read_site
from intervals.questions.what_if.what_if import compare_rules
from intervals.questions.what_if.what_if_models import WhatIf
from intervals.reports.what_if.what_if_page import what_if_page
from intervals.rules.changes import RuleChanges
from tests.unit.reports.month.test_page import Reader
from tests.unit.reports.month_sites import HOSTILE

ROOT = Path(__file__).parents[4]


def asked(*sets: str, drop: tuple[str, ...] = ()) -> WhatIf:
    """Ask what if, of a sample site's October."""
    return compare_rules(read_site(ROOT / "sample_logs/brackwater"), date(2026, 10, 31), RuleChanges.typed(sets, drop))


def page_of(found: WhatIf, title: str = "Brackwater") -> str:
    """Return the page."""
    return what_if_page(found, title=title, made_at="2 November 2026, 09:00 (UTC)", version="1.2.3")


def test_each_changed_task_has_both_sides() -> None:
    """Without the rule for heavy load G1's oil has used 1,886 h of 2,000, and 2,277 with it; what does not change is counted."""
    found = asked(drop=("heavy-load",))
    page = page_of(found)
    (oil,) = re.findall(r"<tbody>\n<tr><th scope=\"rowgroup\"(?:(?!</tbody>).)*G1 oil-change.*?</tbody>", page, re.DOTALL)
    before, after = oil.split('<th scope="row">')[1:]
    assert before.startswith("as it is")
    assert "2,277 / 2,000 h" in before
    assert "overdue" in before
    assert after.startswith("what if")
    assert "1,886 / 2,000 h" in after
    assert "upcoming" in after
    assert page.count("rowgroup") == sum(row.is_changed for row in found.tasks)
    assert "<li>without heavy-load</li>" in page


def test_it_needs_nothing_else_and_runs_nothing() -> None:
    """No script, no address, every shape in its place."""
    page = page_of(asked(drop=("heavy-load",)))
    reader = Reader(page)
    assert "script" not in reader.tags
    assert reader.addresses == []
    assert len(reader.ids) == len(set(reader.ids))
    assert set(reader.links) <= set(reader.ids)
    assert found_addresses(page) == []


def found_addresses(page: str) -> list[str]:
    """Return every address in a page."""
    return re.findall(r"https?://[^\s\"'<]+", page)


def test_without_a_change_it_says_so() -> None:
    """Nothing changed, nothing different, 52 tasks as before."""
    page = page_of(asked())
    assert "Nothing is changed in the rules." in page
    assert "As before: 52 tasks" in page


def test_no_text_from_a_file_becomes_markup() -> None:
    """Titles, ids and changes that hold a script stay text; a control character is written out."""
    found = asked(drop=("heavy-load",))
    rows = tuple(row.model_copy(update={"title": HOSTILE, "engine": HOSTILE, "task": HOSTILE}) for row in found.tasks)
    page = page_of(found.model_copy(update={"tasks": rows, "site": HOSTILE, "changes": (HOSTILE, "\x1b[2J")}), HOSTILE)
    assert "script" not in Reader(page).tags
    assert "<script>alert" not in page
    assert "{{7*7}}" in page
    assert "\x1b" not in page
