"""The findings as a sheet."""

from __future__ import annotations

import csv
from io import StringIO

import pytest

from intervals.reports.check.sheet import findings_csv
from tests.unit.reports.made_findings import finding, made_findings


def rows_of(text: str) -> list[dict[str, str]]:
    """Return the rows of a sheet."""
    return list(csv.DictReader(StringIO(text)))


def test_one_row_a_finding_in_the_order_given() -> None:
    """Every finding has a row with its figures; skipped occurrences still open are counted beside it."""
    rows = rows_of(findings_csv(made_findings()))
    assert [(row["engine"], row["task"], row["standing"]) for row in rows] == [
        ("G1", "oil-change", "overdue"),
        ("G1", "spark-plugs", "upcoming"),
        ("G1", "hoses", "in_interval"),
        ("G2", "oil-change", "unknown"),
        ("G2", "coolant", "upcoming"),
    ]
    assert (rows[0]["used"], rows[0]["allowed"], rows[0]["unit"], rows[0]["past_by"]) == ("2311.0", "2000.0", "h", "311.0")
    assert [row["skipped_open"] for row in rows] == ["0", "1", "0", "0", "0"]


def test_negative_figures_stay_numbers() -> None:
    """The hours past the line are a number, not a text."""
    assert rows_of(findings_csv(made_findings()))[0]["remaining"] == "-311.0"


def test_unknown_figures_are_blank() -> None:
    """What is unknown is an empty cell, not a word."""
    row = rows_of(findings_csv(made_findings()))[3]
    assert (row["used"], row["remaining"], row["due_on"], row["governing"]) == ("", "", "", "")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n"])
def test_no_cell_is_run_by_a_spreadsheet(start: str) -> None:
    """Text that would be taken for a formula gets an apostrophe in front."""
    dangerous = f'{start}HYPERLINK("x")'
    row = rows_of(findings_csv(made_findings((finding(engine=dangerous),))))[0]
    assert row["engine"] == f"'{dangerous}"


def test_no_findings_still_give_a_header() -> None:
    """An empty sheet has its header."""
    assert findings_csv(made_findings((), skipped=())).startswith("engine,task,title,standing,")
