"""The monthly page as text: whole, escaped, self-contained, small, the same every time."""

from __future__ import annotations

import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from intervals.questions.month.month_models import MonthReport
from intervals.reports.month.page import month_page
from tests.unit.reports.month_sites import HOSTILE, hostile_report, large_report, sample_report

MADE_AT = "2 November 2026, 09:00 (Europe/Amsterdam)"
SAMPLES = ("brackwater", "harbour-clinic", "skerry-island")
VOID = frozenset({"meta", "br", "use", "path", "circle", "img", "link", "input", "hr"})


def page_of(report: MonthReport) -> str:
    """Return the page of a report."""
    return month_page(report, made_at=MADE_AT, version="1.2.3")


@cache
def sample_page(name: str) -> str:
    """Return the page of a sample site's October."""
    return page_of(sample_report(name))


class Reader(HTMLParser):
    """Collects what a page is made of, and whether its elements close one another."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self._open: list[str] = []
        self.feed(page)
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.tags.append(tag)
        for name, value in attrs:
            self.ids += [value or ""] if name == "id" else []
            self.links += [value[1:]] if name in ("href", "xlink:href") and value and value.startswith("#") else []
            self.addresses += (
                [value or ""] if name in ("src", "href", "xlink:href", "action", "data") and not (value or "").startswith("#") else []
            )
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that closes itself."""
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        """Close an element: the one that was opened last."""
        if tag not in VOID:
            assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.words.append(data)


@pytest.mark.parametrize("name", SAMPLES)
def test_every_link_leads_somewhere_and_every_id_is_one(name: str) -> None:
    """No id stands twice, and each link inside the page, each shape and each clip of a chart has its place."""
    reader = Reader(sample_page(name))
    assert len(reader.ids) == len(set(reader.ids))
    assert set(reader.links) <= set(reader.ids)


@pytest.mark.parametrize("name", SAMPLES)
def test_the_page_needs_nothing_else(name: str) -> None:
    """It names no address outside itself; the only ones in its text are the names of the drawing language."""
    page = sample_page(name)
    assert Reader(page).addresses == []
    assert set(re.findall(r"https?://[^\s\"'<]+", page)) <= {"http://www.w3.org/1999/xlink", "http://www.w3.org/2000/svg"}
    assert "@import" not in page
    assert "url(" not in page.replace("url(#", "")


def test_the_same_report_gives_the_same_page() -> None:
    """Two drawings of one report are the same bytes."""
    assert page_of(sample_report("skerry-island")) == sample_page("skerry-island")


def test_everything_that_a_reader_asks_for_is_there() -> None:
    """Verdict, each part, digests, versions, when and by what it was made; nothing of the machine that made it."""
    report = sample_report("brackwater")
    text = " ".join(" ".join(Reader(sample_page("brackwater")).words).split())
    for words in (
        report.sentence, "Since last month", "Fleet at a glance", "What to do", "Engine by engine", "Compliance", "SMRP metric 5.4.14",
        "Before anyone works on an engine", "who are trained", report.findings.rulesets[0].sha256, report.inputs[-1].sha256, MADE_AT,
        "1.2.3", "2,277 equivalent hours since 2026-07-02 (services.csv:152), allowed 2,000", "gas-engine.yaml:",
    ):  # fmt: skip
        assert words in text
    assert str(Path.home()) not in text
    assert str(Path(__file__).parents[4]) not in text


def test_each_finding_has_its_reasons_and_its_place_in_the_table() -> None:
    """52 findings: 52 folded sums, and 52 cells that lead to them."""
    report = sample_report("brackwater")
    page = sample_page("brackwater")
    assert page.count("<article ") == len(report.findings.findings) == 52
    assert page.count('<i class="bar">') == 52


def test_effective_intervals_are_told_in_figures_to_those_who_cannot_see_them() -> None:
    """G1's oil lasts 1,554 h at October's duty; in December 2025 some hours have no load, so its figure is not the whole of it."""
    told = re.findall(r'role="img" aria-label="(Effective interval of G1 [^"]*)"', sample_page("brackwater"))
    assert len(told) == 1
    assert "Change lube oil and oil filters, rule set 2,000 h: 2025-11 1,554 h; 2025-12 1,617 h, not fully judged; 2026-01" in told[0]
    assert "2026-10 1,554 h" in told[0]
    months = {point.month: point for point in sample_report("brackwater").engines[0].intervals[0].months}
    assert months["2026-10"].effective_h == pytest.approx(1554, abs=0.5)


def test_standing_is_told_by_word_and_shape_beside_its_shade() -> None:
    """A cell that is overdue holds the shape, the word and the figure."""
    page = sample_page("brackwater")
    (cell,) = re.findall(r'<td class="overdue"><a href="#G1-oil-change">.*?</td>', page)
    assert 'href="#shape-overdue"' in cell
    assert "114 %" in cell
    assert ">overdue<" in cell


def test_no_text_from_a_file_becomes_markup(tmp_path: Path) -> None:
    """Engine, task, notes, sources and titles that hold a script stay text, in prose, attributes and charts."""
    page = page_of(hostile_report(tmp_path))
    reader = Reader(page)
    assert reader.tags.count("script") == 1
    assert "alert(1)" in page
    assert "<script>alert" not in page
    assert "49" not in re.findall(r"script&gt;[^<]{0,30}", page)[0]
    assert any(HOSTILE in words for words in reader.words)


def test_ten_engines_take_less_than_a_megabyte(tmp_path: Path) -> None:
    """Ten engines with fourteen tasks each, a year of services."""
    assert len(page_of(large_report(tmp_path)).encode()) < 1_000_000


def test_control_characters_are_written_out(tmp_path: Path) -> None:
    """A note with an escape sequence is shown, and does nothing."""
    report = hostile_report(tmp_path)
    odd = report.model_copy(update={"title": "A\x1b[2Jquay"})
    assert "A\\x1b[2Jquay" in page_of(odd)
