"""The workbook, read back by another library than the one that wrote it."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from intervals.findings import Findings
from intervals.judge.monthly import narrowed
from intervals.reports.workbook import findings_workbook
from tests.unit.reports.month_sites import FORMULA, hostile_report, sample_report

SHEETS = ["findings", "reasons", "skipped", "faults", "compliance"]


def read_back(findings: Findings, **more: Any) -> Any:  # noqa: ANN401 - the library's workbook
    """Return the workbook as another library reads it."""
    return load_workbook(BytesIO(findings_workbook(findings, **more)))


@pytest.fixture(scope="module")
def october() -> Any:  # noqa: ANN401 - the library's workbook
    """Return the workbook of a sample site's October."""
    report = sample_report("brackwater")
    return read_back(report.findings, history=report.history)


def row_of(sheet: Any, **wanted: str) -> dict[str, Any]:  # noqa: ANN401 - the library's sheet
    """Return the one row in which the cells are as wanted."""
    rows = list(sheet.iter_rows(values_only=True))
    found = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    (one,) = (row for row in found if all(row[name] == value for name, value in wanted.items()))
    return one


def test_it_has_a_sheet_for_everything(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """Findings, reasons, skipped, faults, compliance, and the months of the report."""
    assert october.sheetnames == [*SHEETS, "months"]
    report = sample_report("brackwater")
    assert october["findings"].max_row == 1 + len(report.findings.findings)
    assert october["reasons"].max_row == 1 + sum(len(finding.reasons) for finding in report.findings.findings)
    assert october["faults"].max_row == 1 + len(report.findings.faults)


def test_headings_stay_and_every_sheet_filters(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """The first row is frozen and carries filters over all columns."""
    for sheet in october.worksheets:
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref.startswith("A1:")


def test_figures_are_numbers_and_days_are_dates(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """The overdue oil of the sample: 2,277 of 2,000 h, crossed on 20 October, with the clock of the site."""
    row = row_of(october["findings"], engine="G1", task="oil-change")
    assert row["used"] == pytest.approx(2277.35)
    assert (row["allowed"], row["past by"]) == (2000, pytest.approx(277.35))
    assert row["due on"] == datetime(2026, 10, 20)  # noqa: DTZ001 - a workbook knows no offsets
    assert row["crossed at"].replace(microsecond=0).isoformat() == "2026-10-20T15:43:20"
    assert row["within tolerance"] is False
    assert row_of(october["skipped"], engine="G2")["at"] == datetime(2026, 10, 14)  # noqa: DTZ001 - a workbook knows no offsets


def test_no_text_is_run(tmp_path: Path) -> None:
    """A title that begins like a formula is text, and stays text when somebody edits the cell."""
    book = read_back(hostile_report(tmp_path).findings)
    cells = [cell for row in book["findings"].iter_rows() for cell in row if cell.value == FORMULA]
    assert cells
    assert all(cell.data_type == "s" and cell.quotePrefix for cell in cells)
    assert not any(cell.data_type == "f" for sheet in book.worksheets for row in sheet.iter_rows() for cell in row)


def test_without_a_month_the_sheets_are_there_all_the_same() -> None:
    """Compliance has its headings and no rows."""
    book = read_back(narrowed(sample_report("brackwater").findings, None))
    assert book.sheetnames == SHEETS
    assert book["compliance"].max_row == 1


def test_the_same_findings_give_the_same_bytes() -> None:
    """No clock is in the file."""
    findings = sample_report("harbour-clinic").findings
    assert findings_workbook(findings) == findings_workbook(findings)
