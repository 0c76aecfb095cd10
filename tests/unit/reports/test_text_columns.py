"""Tables where the terminal is narrow: a figure never stands without what it is a figure of."""

from __future__ import annotations

import pytest

from intervals.reports.check.table import Asked, findings_lines
from intervals.reports.lines import Span, plain_text
from intervals.reports.log.log_table import log_lines
from intervals.reports.text_columns import Column, lay_out
from tests.unit.reports.made_findings import made_findings, made_log

LOG_G1 = (
    "rows 26,280",
    "first reading 2024-01-15 01:00",
    "hour meter 0 to 18,210 h",
    "running 18,210 h",
    "doubtful 3 h",
    "gaps 2 (90.5 h)",
)
COLUMNS = (Column("pump", is_plain=True), Column("flow", to_right=True), Column("head", to_right=True), Column("note"))


def drawn(width: int, *cells: str) -> list[str]:
    """Return the lines of one row."""
    return plain_text(lay_out(COLUMNS, [[Span(cell) for cell in cells]], width=width)).splitlines()


@pytest.mark.parametrize("width", [50, 80, 100])
def test_each_figure_of_the_log_stands_beside_its_heading(width: int) -> None:
    """Three doubtful hours, two gaps and a fault are told apart without the line of headings, which does not fit."""
    text = plain_text(log_lines(made_log(), width=width))
    row = text.split("\n\n")[1]
    assert max(map(len, row.splitlines())) <= width
    # no line is broken inside a figure
    for told in (*LOG_G1, "faults 1", "first reading none", "hour meter none", "gaps 0"):
        assert any(told in line for line in row.splitlines())
    assert "known share of the running hours: load_pct 99.9999 %, oil_temp_c 100 %" in " ".join(row.split())


def test_each_figure_of_a_finding_stands_beside_its_heading_at_80_columns() -> None:
    """What says by itself what it is stays as it is; a question mark says of what it is one."""
    row = plain_text(findings_lines(made_findings(), Asked("site"), width=80)).split("\n\n")[1].splitlines()
    assert row[:2] == ["G1  oil-change  ! overdue  used / allowed 2,311 / 2,000 h; 311 h past;", "    due on 2026-10-09"]
    assert "G2  oil-change  ? unknown  used / allowed ?; past by or left ?; due on ?" in row
    assert max(map(len, row)) <= 80


def test_where_the_prose_stands_below_its_heading_goes_with_it() -> None:
    """The figures have their headings above them, and the note, which has none above it, begins with its own."""
    assert drawn(30, "P1", "12 m3/h", "31 m", "worn") == ["pump     flow  head", "P1    12 m3/h  31 m", "    note: worn"]
    assert drawn(30, "P1", "12 m3/h", "31 m", "") == ["pump     flow  head", "P1    12 m3/h  31 m"]


def test_a_row_that_does_not_fit_is_told() -> None:
    """At 18 columns two figures do not fit a line; the first one ends with a semicolon, the last one with nothing."""
    assert drawn(18, "P1", "12 m3/h", "31 m", "worn") == ["P1  flow 12 m3/h;", "    head 31 m", "    note: worn"]


def test_what_is_to_be_found_again_is_not_broken_at_its_hyphens() -> None:
    """A task's id and a date stay whole beside and below their row, at every width that takes them."""
    columns = [Column("engine"), Column("how")]
    text = "the engine stopped for ignition-cables on 2025-12-23"
    for width in range(24, 80):
        shown = [span.text for line in lay_out(columns, [[Span("G4"), Span(text)]], width=width) for span in line]
        assert [any(whole in each for each in shown) for whole in ("ignition-cables", "2025-12-23")] == [True, True]
