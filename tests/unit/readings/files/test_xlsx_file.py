"""Logs kept in workbooks."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any

import pytest
import xlsxwriter

from intervals.problems import ReadingsProblemError
from intervals.readings import read_readings
from intervals.readings.files import xlsx_file
from intervals.readings.times.column_stamps import _clock_text
from tests.unit.readings.conftest import READINGS, MakeSite, us

Cell = str | float | bool | datetime | date | time | None
HEADER: list[Cell] = ["Time", "Unit", "Hours", "P"]


def workbook(*rows: list[Cell], sheet: str = "Log", first_row: int = 0) -> bytes:
    """Return a workbook with a sheet of these rows, after a sheet of remarks unless it is the only one."""
    sink = BytesIO()
    with xlsxwriter.Workbook(sink, {"in_memory": True}) as book:
        formats = {
            kind: book.add_format({"num_format": text})
            for kind, text in (("datetime", "yyyy-mm-dd hh:mm"), ("date", "yyyy-mm-dd"), ("time", "hh:mm"))
        }
        if sheet != "Log":
            book.add_worksheet("Remarks").write_row(0, 0, ["nothing here"])
        page = book.add_worksheet(sheet)
        for number, row in enumerate(rows, start=first_row):
            for place, cell in enumerate(row):
                if isinstance(cell, datetime | date | time):
                    page.write_datetime(number, place, cell, formats[type(cell).__name__])
                elif cell is not None:
                    page.write(number, place, cell)
    return sink.getvalue()


def moment(day: int, hour: int = 0, minute: int = 0) -> datetime:
    """Return a local time of January 2026."""
    return datetime(2026, 1, day, hour, minute)  # noqa: DTZ001 - a sheet has no zones


def test_real_dates_and_texts(make_site: MakeSite) -> None:
    """Real dates and texts may stand in one column; rows are those of the sheet."""
    content = workbook(
        HEADER,
        [moment(1, 8, 10), "G1", 1.5, 100],
        ["01.01.2026 09:20", "G1", 2, 100],
        [date(2026, 1, 2), "G2", 3, None],
        first_row=2,
    )
    rows = read_readings(make_site({"readings/a.xlsx": content}), now_us=None).blocks[0]
    assert rows.at_us.tolist() == [us("2026-01-01T07:10"), us("2026-01-01T08:20"), us("2026-01-01T23:00")]
    assert rows.line.tolist() == [4, 5, 6]
    assert rows.values["hour_meter_h"].tolist() == [1.5, 2, 3]


def test_every_minute_is_exact(make_site: MakeSite) -> None:
    """A sheet keeps times as fractions of a day; no minute is off for that."""
    rows_of_a_day: list[list[Cell]] = [[moment(1, hour, minute), "G1", None, 1] for hour in range(24) for minute in range(0, 60, 7)]
    content = workbook(HEADER, *rows_of_a_day)
    rows = read_readings(make_site({"readings/a.xlsx": content}), now_us=None).blocks[0]
    assert {int(at_us) % 60_000_000 for at_us in rows.at_us} == {0}


def test_numbers_as_text_and_other_cells(make_site: MakeSite) -> None:
    """A number kept as text is a number; words, truth values and errors are named; 1.234 kept as a number is one."""
    content = workbook(
        HEADER,
        [moment(1), "G1", 1.234, "12,5"],
        [moment(2), "G1", "8.120,4", True],
        [moment(3), "G1", "n/a", "1,234"],
        [moment(4), "G1", moment(3), "  "],
    )
    readings = read_readings(make_site({"readings/a.xlsx": content}), now_us=None)
    rows = readings.blocks[0]
    assert rows.values["hour_meter_h"][:2].tolist() == [1.234, 8120.4]
    assert rows.values["load_kw"][0] == 12.5
    assert [(fault.kind, fault.line) for fault in readings.faults] == [("unreadable_cell", line) for line in (3, 4, 4, 5)]


def test_engines_that_are_numbers(make_site: MakeSite) -> None:
    """The number 1 in a sheet is the engine "1"."""
    content = workbook(HEADER, [moment(1), 1, 1, 1], [moment(1), "2", 1, 1])
    assert read_readings(make_site({"readings/a.xlsx": content}, None, [{"id": "1"}, {"id": "2"}]), now_us=None).blocks[
        0
    ].engine.tolist() == [0, 1]


def test_date_and_time_columns(make_site: MakeSite) -> None:
    """A date cell and a time cell make a time; a time may be text."""
    layout = {**READINGS, "timestamp": {"column": ["Day", "Clock"]}}
    content = workbook(
        ["Day", "Clock", "Unit", "Hours", "P"],
        [date(2026, 1, 1), time(8, 15), "G1", 1, 1],
        [date(2026, 1, 2), "9:30", "G1", 2, 1],
        ["03.01.2026", time(0, 0), "G1", 3, 1],
    )
    rows = read_readings(make_site({"readings/a.xlsx": content}, layout), now_us=None).blocks[0]
    assert rows.at_us.tolist() == [us("2026-01-01T07:15"), us("2026-01-02T08:30"), us("2026-01-02T23:00")]


def test_times_of_day_kept_otherwise(make_site: MakeSite) -> None:
    """A time of day may be kept as a moment of some day or as a span of less than a day; a longer span is none, and not midnight."""
    assert [_clock_text(cell) for cell in (moment(1, 8, 15), timedelta(hours=9, minutes=30), timedelta(hours=30), 0.5, None)] == [
        "08:15:00",
        "09:30:00",
        "1 day, 6:00:00",
        "0.5",
        "",
    ]
    layout = {**READINGS, "timestamp": {"column": ["Day", "Clock"]}}
    content = workbook(["Day", "Clock", "Unit", "Hours", "P"], [moment(1), moment(1, 8, 15), "G1", 1, 1])
    assert read_readings(make_site({"readings/a.xlsx": content}, layout), now_us=None).blocks[0].at_us.tolist() == [us("2026-01-01T07:15")]


def test_wide_sheet(make_site: MakeSite) -> None:
    """A sheet may have a column for each engine; an engine has a row where its cell is filled."""
    layout = {"files": "readings/*", "timestamp": {"column": "Time"}, "quantities": {"hour_meter_h": {"column": "{engine} h"}}}
    content = workbook(["Time", "G1 h", "G2 h"], [moment(1), 1, None], [moment(2), 2, 3], [moment(3), None, " "])
    readings = read_readings(make_site({"readings/a.xlsx": content}, layout), now_us=None)
    assert readings.blocks[0].values["hour_meter_h"].tolist() == [1, 2, 3]
    assert [(fault.kind, fault.line) for fault in readings.faults] == [("blank_row", 4)]


def test_blank_rows_and_numbers_for_times(make_site: MakeSite) -> None:
    """A blank row is none; a bare number is no time, as nobody knows from which day it counts."""
    content = workbook(HEADER, [moment(1), "G1", 1, 1], [None, " ", None, None], [46023.5, "G1", 2, 1], [None, "G1", 3, 1])
    readings = read_readings(make_site({"readings/a.xlsx": content}), now_us=None)
    assert readings.rows_read == 3
    assert [(fault.kind, fault.line, fault.text.split(";")[0]) for fault in readings.faults] == [
        ("unreadable_time", 4, '"46023.5" cannot be read as a time'),
        ("unreadable_time", 5, "the time is blank"),
    ]


def test_sheet_by_name(make_site: MakeSite) -> None:
    """Without a name the first sheet is read, with one that sheet; a name that is not there is refused with those that are."""
    files = {"readings/a.xlsx": workbook(HEADER, [moment(1), "G1", 1, 1], sheet="Hours 2026")}
    with pytest.raises(ReadingsProblemError, match="REA003"):
        read_readings(make_site(files), now_us=None)
    assert read_readings(make_site(files, {**READINGS, "sheet": "Hours 2026"}), now_us=None).rows_accepted == 1
    with pytest.raises(ReadingsProblemError, match=r'REA013(?s:.*)"Remarks", "Hours 2026"'):
        read_readings(make_site(files, {**READINGS, "sheet": "Hours 2025"}), now_us=None)


def test_header_below_a_title(make_site: MakeSite) -> None:
    """The header is the first row that holds the sought columns; with skip_rows it is the row after those."""
    rows: list[list[Cell]] = [["Plant log"], ["Time", "Unit"], HEADER, [moment(1), "G1", 1, 1]]
    assert read_readings(make_site({"readings/a.xlsx": workbook(*rows)}), now_us=None).blocks[0].line.tolist() == [4]
    with pytest.raises(ReadingsProblemError, match=r"REA003 readings/a\.xlsx:2"):
        read_readings(make_site({"readings/a.xlsx": workbook(*rows)}, {**READINGS, "csv": {"skip_rows": 1}}), now_us=None)


def test_of_a_sheet_of_other_columns_the_header_is_shown(make_site: MakeSite) -> None:
    """Below a title and the day of the export the header is the row of words that is as wide as what follows."""
    rows: list[list[Cell]] = [["Export"], ["Made", moment(1)], ["Zeit", "Aggregat", "Bh"], [moment(1), "G1", 1], [moment(2), "G1", 2]]
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site({"readings/a.xlsx": workbook(*rows)}), now_us=None)
    (problem,) = caught.value.problems
    assert (problem.line, 'the file has "Zeit", "Aggregat", "Bh"' in problem.text) == (3, True)


def test_large_sheet_is_read_again_rather_than_held(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a sheet is kept in memory or read twice makes no difference."""
    site = make_site({"readings/a.xlsx": workbook(HEADER, [moment(1), "G1", 1, 1], [moment(2), "G1", 2, 1])})
    kept = read_readings(site, now_us=None).blocks[0].values["hour_meter_h"].tolist()
    monkeypatch.setattr(xlsx_file, "_MOST_KEPT_ROWS", 1)
    assert read_readings(site, now_us=None).blocks[0].values["hour_meter_h"].tolist() == kept == [1, 2]


@pytest.mark.parametrize("named", ["5", "5.0"])
def test_header_that_is_a_number(make_site: MakeSite, named: str) -> None:
    """A column whose header is the number 5 is named as the sheet shows it, 5; a site that names it 5.0 is understood too."""
    layout = {**READINGS, "quantities": {"hour_meter_h": {"column": named}, "load_kw": {"column": "P"}}}
    content = workbook(["Time", "Unit", 5, "P"], [moment(1), "G1", 7, 1])
    assert read_readings(make_site({"readings/a.xlsx": content}, layout), now_us=None).blocks[0].values["hour_meter_h"].tolist() == [7]


def test_header_that_is_another_number(make_site: MakeSite) -> None:
    """A site that names a number which is not there is told the numbers that are, as the sheet shows them."""
    layout = {**READINGS, "quantities": {"hour_meter_h": {"column": "6"}}}
    with pytest.raises(ReadingsProblemError, match=r'"Time", "Unit", "5", "2\.5"'):
        read_readings(make_site({"readings/a.xlsx": workbook(["Time", "Unit", 5, 2.5], [moment(1), "G1", 7, 1])}, layout), now_us=None)


@pytest.mark.parametrize("rows", [[], [[None]]])
def test_empty_sheet(make_site: MakeSite, rows: list[list[Any]]) -> None:
    """A sheet of nothing is an empty file."""
    files = {"readings/a.xlsx": workbook(*rows), "readings/b.csv": "Time,Unit,Hours,P\n2026-01-01,G1,1,\n"}
    readings = read_readings(make_site(files), now_us=None)
    assert [(fault.kind, fault.file) for fault in readings.faults] == [("empty_file", "readings/a.xlsx")]
