"""The workbook, read back by another library than the one that wrote it."""

from __future__ import annotations

from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from intervals.findings import Deferral, Findings
from intervals.questions.month.monthly import narrowed
from intervals.reports.check.workbook import findings_workbook
from tests.unit.reports.made_findings import finding, hours_leg, made_findings
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


def test_shares_are_per_cent_and_standings_are_words(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """2,277.35 of 2,000 h are 113.9 %: the cell holds the fraction and shows it as per cent; `in_interval` is spoken."""
    sheet = october["findings"]
    column = [cell.value for cell in sheet[1]].index("consumed")
    shares = [row[column] for row in sheet.iter_rows(min_row=2) if row[column].value is not None]
    assert {cell.number_format for cell in shares} <= {"0.0%", "0.0000%"}
    assert row_of(sheet, engine="G1", task="oil-change")["consumed"] == pytest.approx(1.138675)
    standings = [row[4].value for row in sheet.iter_rows(min_row=2)]
    assert set(standings) <= {"overdue", "upcoming", "in interval", "unknown"}
    assert "in interval" in standings


def test_no_share_is_rounded_across_its_line() -> None:
    """99.98 % and 100.02 % are shown so, and not as 100.0 %."""
    report = made_findings()
    findings = tuple(finding(task=f"task-{used}", legs=(hours_leg(used),)) for used in (1999.6, 2000.0, 2000.4, 2001.2))
    sheet = read_back(report.model_copy(update={"findings": findings}))["findings"]
    formats = {row[2].value: row[11].number_format for row in sheet.iter_rows(min_row=2)}
    assert formats == {"task-1999.6": "0.0000%", "task-2000.0": "0.0%", "task-2000.4": "0.0000%", "task-2001.2": "0.0%"}


def test_what_is_urgent_comes_first(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """Overdue, unknown, upcoming by day, in interval by day."""
    rows = list(october["findings"].iter_rows(min_row=2, values_only=True))
    order = ["overdue", "unknown", "upcoming", "in interval"]
    assert [order.index(row[4]) for row in rows] == sorted(order.index(row[4]) for row in rows)
    days = [row[13] for row in rows if row[4] == "upcoming" and row[13]]
    assert days == sorted(days)


def test_a_deferral_has_a_column_of_its_own() -> None:
    """A day where it names nothing else; hours, and hours or a day, in words."""
    ends = (
        Deferral(hour_meter_h=None, date="2026-12-31"),
        Deferral(hour_meter_h=12000.0, date=None),
        Deferral(hour_meter_h=1.5, date="2027-01-31"),
    )
    findings = tuple(finding(task=f"task-{place}", standing="upcoming", deferred_until=end) for place, end in enumerate((*ends, None)))
    sheet = read_back(made_findings().model_copy(update={"findings": findings}))["findings"]
    shown = [row_of(sheet, task=f"task-{place}")["deferred until"] for place in range(4)]
    assert shown[0] == datetime(2026, 12, 31)  # noqa: DTZ001 - a workbook knows no offsets
    assert shown[1:] == ["12,000 h on the meter", "1.5 h on the meter or 2027-01-31", None]


def test_an_instant_that_was_looked_up_is_shown_by_its_day(october: Any) -> None:  # noqa: ANN401 - the library's workbook
    """Where the line was crossed between two readings no minute is certain: the cell shows the day."""
    sheet = october["findings"]
    columns = [place for place, cell in enumerate(sheet[1]) if cell.value in ("crossed at", "last done at")]
    assert {row[column].number_format for row in sheet.iter_rows(min_row=2) for column in columns if row[column].value} == {"yyyy-mm-dd"}


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
