"""Files of any layout to accepted rows, faults and counts."""

from __future__ import annotations

import math
from copy import deepcopy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from intervals.faults import FAULT_KINDS
from intervals.problems import ReadingsProblemError
from intervals.readings import READINGS_CODES, Readings, csvfile, encodings, read_readings, times_seen
from intervals.site.model import Site
from tests.unit.readings.conftest import READINGS, MakeSite, us

HEADER = "Time,Unit,Hours,P\n"
SETS_ASIDE = {
    "unreadable_time", "time_does_not_exist", "time_comes_twice", "unknown_engine", "row_in_future", "row_before_in_service",
    "row_after_out_of_service", "duplicate_row", "conflicting_row", "malformed_row", "blank_row",
}  # fmt: skip
Row = tuple[str, int, int, dict[str, float]]


def read(site: Site, now: str | None = None) -> Readings:
    """Read a site and check what always holds: the count, and a known fault for each row set aside."""
    readings = read_readings(site, now_us=None if now is None else us(now))
    assert readings.rows_read == readings.rows_accepted + readings.rows_set_aside
    assert all(fault.kind in FAULT_KINDS for fault in readings.faults)
    aside = {(fault.file, fault.line) for fault in readings.faults if fault.kind in SETS_ASIDE}
    kept = {(readings.files[file], line) for block in readings.blocks for file, line in zip(block.file, block.line, strict=True)}
    assert len(aside - kept) == readings.rows_set_aside
    assert all(fault.text for fault in readings.faults)
    return readings


def rows_of(readings: Readings, site: Site, block: int = 0) -> list[Row]:
    """Return engine, instant, line and filled cells of each row."""
    rows = readings.blocks[block]
    return [
        (
            site.engines[rows.engine[row]].id,
            int(rows.at_us[row]),
            int(rows.line[row]),
            {name: float(column[row]) for name, column in rows.values.items() if not np.isnan(column[row])},
        )
        for row in range(len(rows))
    ]


def faults_of(readings: Readings) -> list[tuple[str, int | None]]:
    """Return kind and line of each fault."""
    return [(fault.kind, fault.line) for fault in readings.faults]


def problems_of(site: Site, now_us: int | None = None) -> list[str]:
    """Return the codes of what refuses a site; every one is in the list of codes."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(site, now_us=now_us)
    codes = [problem.code for problem in caught.value.problems]
    assert set(codes) <= set(READINGS_CODES)
    return codes


def block(**changes: object) -> dict[str, Any]:
    """Return the usual block with some keys changed."""
    return {**READINGS, **changes}


# rows and order


def test_rows_are_sorted_by_engine_then_time(make_site: MakeSite) -> None:
    """Rows stand by engine in the site's order, then by time, each with its line; local winter time is an hour ahead of UTC."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01 02:00,G2,12,50\n2026-01-01 01:00,G1,3,\n2026-01-01 00:00,G2,11,40\n"})
    assert rows_of(read(site), site) == [
        ("G1", us("2026-01-01T00:00"), 3, {"hour_meter_h": 3}),
        ("G2", us("2025-12-31T23:00"), 4, {"hour_meter_h": 11, "load_kw": 40}),
        ("G2", us("2026-01-01T01:00"), 2, {"hour_meter_h": 12, "load_kw": 50}),
    ]


def test_several_files_in_order_of_name(make_site: MakeSite) -> None:
    """Each row knows its file; the files are listed by name, whatever pattern found them."""
    site = make_site(
        {"readings/b.csv": HEADER + "2026-01-02,G1,2,\n", "readings/a.csv": HEADER + "2026-01-01,G1,1,\n"},
        block(files=["readings/b*", "readings/*.csv"]),
    )
    readings = read(site)
    assert readings.files == ("readings/a.csv", "readings/b.csv")
    assert readings.blocks[0].file.tolist() == [0, 1]
    assert readings.blocks[0].files == readings.files


def test_temporary_files_are_left_alone(make_site: MakeSite) -> None:
    """The lock file of a workbook that someone has open, and hidden files, are no logs."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n", "readings/~$a.xlsx": b"x", "readings/.a.csv.swp": b"x"})
    assert read(site).files == ("readings/a.csv",)


def test_types_of_the_arrays(make_site: MakeSite) -> None:
    """The arrays are as narrow as they are promised to be."""
    rows = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n"})).blocks[0]
    kinds = [str(column.dtype) for column in (rows.engine, rows.at_us, rows.file, rows.line)]
    assert kinds == ["int32", "int64", "int32", "int32"]
    assert {column.dtype for column in rows.values.values()} == {np.dtype(np.float64)}


def test_two_blocks(make_site: MakeSite) -> None:
    """Each block has its own rows; the counts are those of both."""
    oil = {
        "files": "oil.csv",
        "timestamp": {"column": "when"},
        "engine": {"value": "G2"},
        "quantities": {"oil_added_l": {"column": "litres"}},
    }
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n", "oil.csv": "when;litres\n02.01.2026 08:00;12,5\n"}, [READINGS, oil])
    readings = read(site)
    assert rows_of(readings, site, 1) == [("G2", us("2026-01-02T07:00"), 2, {"oil_added_l": 12.5})]
    assert (readings.rows_read, readings.files) == (2, ("oil.csv", "readings/a.csv"))


# engines


def test_engine_spelling(make_site: MakeSite) -> None:
    """Ids are found whatever their case and surrounding blanks, other spellings by the site's list."""
    text = HEADER + "2026-01-01 00:00, g1 ,1,\n2026-01-01 01:00,North,2,\n2026-01-01 02:00,NORTH ,3,\n2026-01-01 03:00,G2,4,\n"
    site = make_site({"readings/a.csv": text}, block(engine_names={"north": "G1"}))
    assert [(row[0], row[3]["hour_meter_h"]) for row in rows_of(read(site), site)] == [("G1", 1), ("G1", 2), ("G1", 3), ("G2", 4)]


def test_ids_that_differ_by_case_alone(make_site: MakeSite) -> None:
    """Two such ids are told apart by their exact spelling; another spelling is unknown rather than guessed."""
    site = make_site(
        {"readings/a.csv": HEADER + "2026-01-01,a1,1,\n2026-01-02,A1,2,\n2026-01-03, a1,3,\n"}, None, [{"id": "A1"}, {"id": "a1"}]
    )
    readings = read(site)
    assert [row[0] for row in rows_of(readings, site)] == ["A1", "a1"]
    assert faults_of(readings) == [("unknown_engine", 4)]


def test_unknown_and_blank_engine(make_site: MakeSite) -> None:
    """Rows of an engine that the site does not declare, or of none, are set aside and say so."""
    readings = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n2026-01-01,G9,1,\n2026-01-01,,1,\n"}))
    assert faults_of(readings) == [("unknown_engine", 3), ("unknown_engine", 4)]
    assert [fault.text for fault in readings.faults] == [
        'no engine "G9" is declared; the row is set aside',
        "the engine is blank; the row is set aside",
    ]


def test_engine_of_the_file_name(make_site: MakeSite) -> None:
    """One file an engine: the brackets of the pattern hold its name."""
    layout = block(engine={"from_file_name": "^(.+)-2026"})
    site = make_site(
        {"readings/g2-2026.csv": "Time,Hours,P\n2026-01-01,1,\n", "readings/G1-2026.csv": "Time,Hours,P\n2026-01-01,2,\n"}, layout
    )
    assert [(row[0], row[3]) for row in rows_of(read(site), site)] == [("G1", {"hour_meter_h": 2}), ("G2", {"hour_meter_h": 1})]


def test_file_name_without_an_engine(make_site: MakeSite) -> None:
    """A file whose name does not match is refused; one that names a stranger has its rows set aside."""
    layout = block(engine={"from_file_name": "(G\\d)"})
    assert problems_of(make_site({"readings/north.csv": "Time,Hours,P\n2026-01-01,1,\n"}, layout)) == ["REA009"]
    stranger = make_site({"readings/north.csv": "", "readings/G1.csv": "Time,Hours,P\n2026-01-01,1,\n"}, layout)
    (Path(stranger.folder) / "readings/north.csv").rename(Path(stranger.folder) / "readings/G7.csv")
    (Path(stranger.folder) / "readings/G7.csv").write_text("Time,Hours,P\n2026-01-01,1,\n")
    assert faults_of(read(stranger)) == [("unknown_engine", 2)]


# wide files

WIDE = {
    "files": ["readings/*"],
    "timestamp": {"column": "Time"},
    "quantities": {"hour_meter_h": {"column": "{engine} Hours"}, "load_kw": {"column": "{engine} kW"}, "ambient_c": {"column": "Out"}},
}


def test_wide_file(make_site: MakeSite) -> None:
    """A row gives one reading for each engine that has a cell filled; a column without engine is of all; the file row counts once."""
    site = make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW,G2 Hours,g2 kw\n2026-01-01,5,1,100,2,200\n2026-01-02,6,,,3,\n"}, WIDE)
    readings = read(site)
    assert rows_of(readings, site) == [
        ("G1", us("2025-12-31T23:00"), 2, {"hour_meter_h": 1, "load_kw": 100, "ambient_c": 5}),
        ("G2", us("2025-12-31T23:00"), 2, {"hour_meter_h": 2, "load_kw": 200, "ambient_c": 5}),
        ("G2", us("2026-01-01T23:00"), 3, {"hour_meter_h": 3, "ambient_c": 6}),
    ]
    assert (readings.rows_read, readings.rows_accepted) == (2, 2)


def test_wide_row_without_any_reading(make_site: MakeSite) -> None:
    """A row with a time and nothing of any engine is set aside by name, not dropped."""
    readings = read(make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW\n2026-01-01,5,1,\n2026-01-02,6,,\n"}, WIDE))
    assert faults_of(readings) == [("blank_row", 3)]
    assert (readings.rows_accepted, readings.rows_set_aside) == (1, 1)


def test_wide_row_of_which_one_engine_is_out_of_service(make_site: MakeSite) -> None:
    """The file row is accepted for the other engine, the fault names the one."""
    engines = [{"id": "G1"}, {"id": "G2", "in_service": "2026-01-02"}]
    readings = read(make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW,G2 Hours,G2 kW\n2026-01-01,5,1,,2,\n"}, WIDE, engines))
    assert [(fault.engine, fault.kind) for fault in readings.faults] == [("G2", "row_before_in_service")]
    assert (readings.rows_read, readings.rows_set_aside) == (1, 0)


def test_wide_engine_without_an_instrument(make_site: MakeSite) -> None:
    """An engine may lack a column that others have; its figures are blank."""
    site = make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW,G2 Hours\n2026-01-01,5,1,100,2\n"}, WIDE)
    assert rows_of(read(site), site)[1][3] == {"hour_meter_h": 2, "ambient_c": 5}


def test_wide_column_of_a_stranger(make_site: MakeSite) -> None:
    """A column that looks like an engine's and belongs to none is named once, at the header."""
    readings = read(make_site({"readings/w.csv": "x\nTime,Out,G1 Hours,G1 kW,G7 Hours\n2026-01-01,5,1,100,2\n"}, WIDE))
    assert [(fault.kind, fault.line, "G7 Hours" in fault.text) for fault in readings.faults] == [("stray_column", 2, True)]


# times


def test_daylight_saving(make_site: MakeSite) -> None:
    """The hour that the clock skipped and the hour that came twice are set aside by name; a stated offset settles both."""
    text = (
        HEADER
        + "2026-03-29 02:30,G1,1,\n2026-03-29 03:30,G1,2,\n2026-10-25 02:30,G1,3,\n2026-10-25T02:30+02:00,G2,4,\n2026-10-25 03:00,G1,5,\n"
    )
    site = make_site({"readings/a.csv": text})
    readings = read(site)
    assert faults_of(readings) == [("time_does_not_exist", 2), ("time_comes_twice", 4)]
    assert [(row[0], row[1]) for row in rows_of(readings, site)] == [
        ("G1", us("2026-03-29T01:30")),
        ("G1", us("2026-10-25T02:00")),
        ("G2", us("2026-10-25T00:30")),
    ]


def test_time_zone_of_the_log(make_site: MakeSite) -> None:
    """A log may be kept in another zone than the site's."""
    site = make_site({"readings/a.csv": HEADER + "2026-07-01 12:00,G1,1,\n"}, block(timestamp={"column": "Time", "time_zone": "UTC"}))
    assert rows_of(read(site), site)[0][1] == us("2026-07-01T12:00")


def test_date_and_time_in_two_columns(make_site: MakeSite) -> None:
    """Date and time are put together, also where the date is written with a clock of its own."""
    text = "Date;Clock;Unit;Hours;P\n01.02.2026;08:15;G1;1;\n2026-02-02 00:00:00;9:30;G1;2;\n03.02.2026;;G1;3;\n"
    site = make_site({"readings/a.csv": text}, block(timestamp={"column": ["Date", "Clock"]}))
    assert [row[1] for row in rows_of(read(site), site)] == [us("2026-02-01T07:15"), us("2026-02-02T08:30"), us("2026-02-02T23:00")]


def test_mixed_times(make_site: MakeSite) -> None:
    """Rows of one column may be written in several ways; one that cannot be read is set aside with its text."""
    site = make_site(
        {"readings/a.csv": HEADER + "2026-01-01 00:00,G1,1,\n01.01.2026 01:00,G1,2,\nnoon,G1,3,\n,G1,4,\n2026-01-01T02:00Z,G1,5,\n"}
    )
    readings = read(site)
    assert [row[1] for row in rows_of(readings, site)] == [us("2025-12-31T23:00"), us("2026-01-01T00:00"), us("2026-01-01T02:00")]
    assert [(fault.line, fault.text) for fault in readings.faults] == [
        (4, '"noon" cannot be read as a time; the row is set aside'),
        (5, "the time is blank; the row is set aside"),
    ]


def test_day_first_told_by_another_row(make_site: MakeSite) -> None:
    """13/02 in the last row says that 03/04 in the first is 3 April."""
    site = make_site({"readings/a.csv": HEADER + "03/04/2026 08:00,G1,1,\n13/02/2026 08:00,G1,2,\n"})
    assert [row[1] for row in rows_of(read(site), site)] == [us("2026-02-13T07:00"), us("2026-04-03T06:00")]


def test_day_first_told_by_another_file(make_site: MakeSite) -> None:
    """One file of the block may tell the order for another."""
    site = make_site({"readings/a.csv": HEADER + "03/04/2026 08:00,G1,1,\n", "readings/b.csv": HEADER + "02/13/2026 08:00,G1,2,\n"})
    assert [row[1] for row in rows_of(read(site), site)] == [us("2026-02-13T07:00"), us("2026-03-04T07:00")]


def test_day_and_month_that_cannot_be_told(make_site: MakeSite) -> None:
    """Where no row tells, the log is refused and the format asked for; stated, it is read."""
    files = {"readings/a.csv": HEADER + "03/04/2026 08:00,G1,1,\n05/06/2026 08:00,G1,2,\n"}
    site = make_site(files)
    with pytest.raises(ReadingsProblemError, match=r"readings\.timestamp\.format") as caught:
        read_readings(site, now_us=None)
    assert [(problem.code, problem.file) for problem in caught.value.problems] == [("REA007", "readings/a.csv")]
    site = make_site(files, block(timestamp={"column": "Time", "format": "%d/%m/%Y %H:%M"}))
    assert rows_of(read(site), site)[0][1] == us("2026-04-03T06:00")


def test_both_orders_in_one_file(make_site: MakeSite) -> None:
    """Where rows prove both orders, those with one meaning are read and the others set aside."""
    site = make_site({"readings/a.csv": HEADER + "13/02/2026,G1,1,\n02/14/2026,G1,2,\n03/04/2026,G1,3,\n"})
    readings = read(site)
    assert [row[2] for row in rows_of(readings, site)] == [2, 3]
    assert faults_of(readings) == [("unreadable_time", 4)]
    assert readings.faults[0].text == (
        '"03/04/2026" may have the day or the month first; readings/a.csv:2 "13/02/2026" has the day first; '
        'readings/a.csv:3 "02/14/2026" has the month first; $.readings.timestamp.format can state it; the row is set aside'
    )


def test_files_that_disagree_on_day_and_month(make_site: MakeSite) -> None:
    """A file that says nothing itself is refused, with a row of each of the others that disagree; date and time may stand apart."""
    head = "Day,Clock,Unit,Hours,P\n"
    site = make_site(
        {
            "readings/a.csv": head + "03/04/2026,08:00,G1,1,\n",
            "readings/b.csv": head + "04/04/2026,08:00,G1,1,\n05/13/2026,08:00,G1,2,\n",
            "readings/c.csv": head + "04/04/2026,08:00,G1,1,\n13/05/2026,08:30,G1,2,\n",
        },
        block(timestamp={"column": ["Day", "Clock"]}),
    )
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(site, now_us=None)
    (problem,) = caught.value.problems
    assert (problem.code, problem.file) == ("REA007", "readings/a.csv")
    assert 'readings/c.csv:3 "13/05/2026 08:30" has the day first' in problem.text
    assert 'readings/b.csv:3 "05/13/2026 08:00" has the month first' in problem.text


def test_one_unclear_date_among_clear_ones(make_site: MakeSite) -> None:
    """A single hand-written row does not refuse the log; it is set aside."""
    readings = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n2026-01-02,G1,2,\n03/04/2026,G1,3,\n"}))
    assert faults_of(readings) == [("unreadable_time", 4)]
    assert "may have the day or the month first, and no other time tells which" in readings.faults[0].text


def test_format_that_cannot_be_used(make_site: MakeSite) -> None:
    """A format with a directive that is not understood is refused at its place in the site file."""
    site = make_site({"readings/a.csv": HEADER}, block(timestamp={"column": "Time", "format": "%Q"}))
    with pytest.raises(ReadingsProblemError, match=r"\$\.readings\.timestamp\.format"):
        read_readings(site, now_us=None)
    assert problems_of(site) == ["REA012"]


def test_column_of_which_nothing_is_a_time(make_site: MakeSite) -> None:
    """Eleven rows and no time among them: another column is meant, or a format is needed."""
    assert problems_of(make_site({"readings/a.csv": HEADER + "noon,G1,1,\n" * 11})) == ["REA015"]


def test_years_that_no_log_is_of(make_site: MakeSite) -> None:
    """A time in a year before 1900 or after 2199 is told as such, with the years that are taken."""
    text = HEADER + "2026-01-01,G1,1,\n1899-12-31,G1,1,\n2200-01-01 00:00,G1,2,\n31.12.1899,G1,2,\n1899-02-30,G1,3,\n"
    readings = read(make_site({"readings/a.csv": text}))
    said = "lies outside the years that are taken, 1900 to 2199; the row is set aside"
    assert [(fault.kind, fault.line, fault.text) for fault in readings.faults] == [
        ("unreadable_time", 3, f'"1899-12-31" {said}'),
        ("unreadable_time", 4, f'"2200-01-01 00:00" {said}'),
        ("unreadable_time", 5, f'"31.12.1899" {said}'),
        ("unreadable_time", 6, '"1899-02-30" cannot be read as a time; the row is set aside'),
    ]


@pytest.mark.parametrize("size", [40, 100, 400, 1000, 8_000_000])
def test_verdicts_do_not_depend_on_the_cut(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Wherever a file is cut in reading, bad rows beside good ones are set aside, and a file that has nothing else is refused."""
    monkeypatch.setattr(csvfile, "chunks_of", lambda stream: encodings.chunks_of(stream, size))
    good = "".join(f"2026-01-{day:02d} 00:00,G1,{day},\n" for day in range(1, 29))
    for odd in ("noon,G1,1,\n" * 20, "03/04/2026,G1,1,\n" * 20):
        for text in (good + odd, odd + good, odd[: len(odd) // 2] + good + odd[len(odd) // 2 :]):
            readings = read(make_site({"readings/a.csv": HEADER + text}))
            assert (readings.rows_accepted, readings.rows_set_aside) == (28, 20)
    assert problems_of(make_site({"readings/a.csv": HEADER + "noon,G1,1,\n" * 20})) == ["REA015"]
    assert problems_of(make_site({"readings/a.csv": HEADER + "noon,G1,1,\n" * 10})) == ["REA014"]
    assert problems_of(make_site({"readings/a.csv": HEADER + good + "03/04/2026,G1,1,\n" * 29})) == ["REA007"]


@pytest.mark.parametrize("size", [40, 1000, 8_000_000])
def test_file_that_begins_with_far_too_many_rows_without_time(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """A file is refused for the rows that it begins with once they are very many, wherever it is cut in reading."""
    monkeypatch.setattr(csvfile, "chunks_of", lambda stream: encodings.chunks_of(stream, size))
    monkeypatch.setattr(times_seen, "_MANY_ROWS", 50)
    good = "2026-01-01 00:00,G1,1,\n"
    assert read(make_site({"readings/a.csv": HEADER + "noon,G1,1,\n" * 49 + good})).rows_accepted == 1
    assert problems_of(make_site({"readings/a.csv": HEADER + "noon,G1,1,\n" * 50 + good})) == ["REA015"]


def test_rows_later_than_the_clock(make_site: MakeSite) -> None:
    """A row at the clock's own moment is accepted, a later one is not; without a clock all are."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01T12:00Z,G1,1,\n2026-01-01T12:01Z,G1,2,\n"})
    assert faults_of(read(site, "2026-01-01T12:00")) == [("row_in_future", 3)]
    assert faults_of(read(site)) == []


def test_rows_outside_the_engines_time(make_site: MakeSite) -> None:
    """The first moment of the first day is in, and so is the last: a row stamped there tells of the time before it."""
    engines = [{"id": "G1", "in_service": "2026-01-02", "out_of_service": "2026-01-04"}]
    text = HEADER + "2026-01-01 23:59,G1,1,\n2026-01-02 00:00,G1,2,\n2026-01-04 00:00,G1,3,\n2026-01-04 00:01,G1,4,\n"
    readings = read(make_site({"readings/a.csv": text}, None, engines))
    assert faults_of(readings) == [("row_before_in_service", 2), ("row_after_out_of_service", 5)]
    assert [fault.engine for fault in readings.faults] == ["G1", "G1"]


def test_wide_row_later_than_the_clock(make_site: MakeSite) -> None:
    """A wide row in the future is one fault, of no engine."""
    readings = read(make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW\n2026-01-01,5,1,\n2026-01-02,6,2,\n"}, WIDE), "2026-01-01T12:00")
    assert [(fault.engine, fault.kind, fault.line) for fault in readings.faults] == [(None, "row_in_future", 3)]


# repeated rows


def test_repeated_rows(make_site: MakeSite) -> None:
    """The first by file name and line counts; the same values again are a duplicate, others a conflict, blanks being equal."""
    site = make_site(
        {
            "readings/b.csv": HEADER + "2026-01-01,G1,1,\n2026-01-02,G1,9,\n",
            "readings/a.csv": HEADER + "2026-01-02,G1,2,50\n2026-01-01,G1,1,\n2026-01-02,G1,2,50\n",
        }
    )
    readings = read(site)
    assert [(row[2], row[3]) for row in rows_of(readings, site)] == [(3, {"hour_meter_h": 1}), (2, {"hour_meter_h": 2, "load_kw": 50})]
    assert [(fault.kind, fault.file, fault.line, fault.text) for fault in readings.faults] == [
        ("duplicate_row", "readings/a.csv", 4, "the same engine, time and values as readings/a.csv:2; that row counts"),
        ("duplicate_row", "readings/b.csv", 2, "the same engine, time and values as readings/a.csv:3; that row counts"),
        (
            "conflicting_row",
            "readings/b.csv",
            3,
            "the same engine and time as readings/a.csv:2 with other values (hour_meter_h 9, there 2; load_kw blank, there 50); "
            "that row counts",
        ),
    ]


def test_same_moment_written_differently(make_site: MakeSite) -> None:
    """08:00 in Amsterdam in winter and 07:00 UTC are one time."""
    assert faults_of(read(make_site({"readings/a.csv": HEADER + "2026-01-01 08:00,G1,1,\n2026-01-01T07:00Z,G1,1,\n"}))) == [
        ("duplicate_row", 3)
    ]


# cells


def test_cells_that_are_no_numbers(make_site: MakeSite) -> None:
    """Such a cell is blanked and named; the row stays with its other cells."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,n/a,50\n2026-01-02,G1,2,run\n"})
    readings = read(site)
    assert [row[3] for row in rows_of(readings, site)] == [{"load_kw": 50}, {"hour_meter_h": 2}]
    assert readings.faults[0].text == 'hour_meter_h "n/a" in column "Hours" is not a number; it is taken as blank'
    assert [(fault.kind, fault.engine, fault.line, fault.at_us) for fault in readings.faults] == [
        ("unreadable_cell", "G1", 2, us("2025-12-31T23:00")),
        ("unreadable_cell", "G1", 3, us("2026-01-01T23:00")),
    ]


def test_impossible_values(make_site: MakeSite) -> None:
    """Load above 130 % of the engine's own rating, sulphur above 5 %, anything below zero but a temperature: blanked."""
    layout = block(
        quantities={
            "hour_meter_h": {"column": "Hours"},
            "load_kw": {"column": "P"},
            "fuel_sulphur_pct": {"column": "S"},
            "oil_temp_c": {"column": "T"},
        }
    )
    text = "Time,Unit,Hours,P,S,T\n" + "".join(
        f"2026-01-{day:02d},{row}\n"
        for day, row in enumerate(
            ("G1,1,1300,5,-20", "G1,2,1300.1,5.01,20", "G2,1,650,0,0", "G2,2,650.1,-0.1,0", "G2,-3,0,1,1", "G1,nan,inf,1,1"), start=1
        )
    )
    site = make_site({"readings/a.csv": text}, layout)
    readings = read(site)
    assert [row[3] for row in rows_of(readings, site)] == [
        {"hour_meter_h": 1, "load_kw": 1300, "fuel_sulphur_pct": 5, "oil_temp_c": -20},
        {"hour_meter_h": 2, "oil_temp_c": 20},
        {"fuel_sulphur_pct": 1, "oil_temp_c": 1},
        {"hour_meter_h": 1, "load_kw": 650, "fuel_sulphur_pct": 0, "oil_temp_c": 0},
        {"hour_meter_h": 2, "oil_temp_c": 0},
        {"load_kw": 0, "fuel_sulphur_pct": 1, "oil_temp_c": 1},
    ]
    assert faults_of(readings) == [("impossible_value", line) for line in (3, 3, 5, 5, 6, 7, 7)]
    assert readings.faults[0].text == "load_kw 1300.1 kW is above 130 % of the rated 1000 kW; it is taken as blank"


def test_load_of_an_engine_without_a_rating(make_site: MakeSite) -> None:
    """Where no rated power is stated, no load is too high."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,99999\n"}, None, [{"id": "G1"}])
    assert faults_of(read(site)) == []


def test_units(make_site: MakeSite) -> None:
    """Figures are turned into canonical units, and limits are held against those."""
    layout = block(
        quantities={
            "hour_meter_h": {"column": "Hours", "unit": "min"},
            "load_kw": {"column": "P", "unit": "MW"},
            "oil_temp_c": {"column": "T", "unit": "degF"},
        }
    )
    site = make_site({"readings/a.csv": "Time,Unit,Hours,P,T\n2026-01-01,G1,90,0.5,212\n2026-01-02,G1,120,2,14\n"}, layout)
    readings = read(site)
    assert [row[3] for row in rows_of(readings, site)] == [
        {"hour_meter_h": 1.5, "load_kw": 500, "oil_temp_c": pytest.approx(100)},
        {"hour_meter_h": 2, "oil_temp_c": pytest.approx(-10)},
    ]
    assert faults_of(readings) == [("impossible_value", 3)]


def test_quantity_of_the_sites_own(make_site: MakeSite) -> None:
    """A declared level may be negative, a declared amount may not."""
    layout = block(
        quantities={
            "draught_mbar": {"column": "Hours", "unit": "mbar", "kind": "level"},
            "urea_l": {"column": "P", "unit": "L", "kind": "amount"},
        }
    )
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,-5,-1\n"}, layout)
    readings = read(site)
    assert rows_of(readings, site)[0][3] == {"draught_mbar": -5}
    assert faults_of(readings) == [("impossible_value", 2)]


def test_thousands_and_decimal_commas(make_site: MakeSite) -> None:
    """A file with decimal commas and points in the thousands."""
    site = make_site({"readings/a.csv": "Time;Unit;Hours;P\n01.01.2026 00:00;G1;8.120,4;412,5\n01.01.2026 01:00;G1;8.121;400\n"})
    assert [row[3] for row in rows_of(read(site), site)] == [
        {"hour_meter_h": 8120.4, "load_kw": 412.5},
        {"hour_meter_h": 8121, "load_kw": 400},
    ]


def test_unquoted_decimal_comma(make_site: MakeSite) -> None:
    """A decimal comma between commas shifts the row; it is set aside and not read as two figures, though the last one is blank."""
    readings = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n2026-01-02,G1,2,5,\n2026-01-03,G1,3,\n"}))
    assert faults_of(readings) == [("malformed_row", 3)]


def test_decimal_mark_that_cannot_be_told(make_site: MakeSite) -> None:
    """8,120 alone is refused rather than guessed; stated, it is read."""
    files = {"readings/a.csv": "Time;Unit;Hours;P\n01.01.2026 00:00;G1;8,120;\n"}
    assert problems_of(make_site(files)) == ["REA008"]
    site = make_site(files, block(csv={"decimal": ","}))
    assert rows_of(read(site), site)[0][3] == {"hour_meter_h": 8.12}
    site = make_site(files, block(csv={"decimal": "."}))
    assert rows_of(read(site), site)[0][3] == {"hour_meter_h": 8120}


def test_rows_of_wrong_width(make_site: MakeSite) -> None:
    """Such rows are set aside with the number of their fields."""
    readings = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n2026-01-02,G1\n2026-01-03,G1,3,4,5\n"}))
    assert [(fault.kind, fault.line, fault.text) for fault in readings.faults] == [
        ("malformed_row", 3, "2 fields where the header has 4; the row is set aside"),
        ("malformed_row", 4, "5 fields where the header has 4; the row is set aside"),
    ]


# files


@pytest.mark.parametrize("empty", ["", "\n\n", HEADER])
def test_file_of_nothing(make_site: MakeSite, empty: str) -> None:
    """An empty file, or one with a header alone, is named and does not stop the others."""
    readings = read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n", "readings/b.csv": empty}))
    assert [(fault.kind, fault.file, fault.line) for fault in readings.faults] == [("empty_file", "readings/b.csv", None)]
    assert readings.rows_read == 1


def test_log_of_nothing(make_site: MakeSite) -> None:
    """A log of which no row is accepted leaves nothing to judge, and says what most of its rows have wrong."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G8,1,\n2026-01-01,G9,1,\nnoon,G1,1,\n"})
    with pytest.raises(ReadingsProblemError, match=r"3 rows in 1 file; 2 times unknown_engine(?s:.*)readings/a\.csv:2"):
        read_readings(site, now_us=None)
    assert problems_of(site) == ["REA014"]
    assert problems_of(make_site({"readings/a.csv": HEADER})) == ["REA014"]


def test_problems_of_all_files_at_once(make_site: MakeSite) -> None:
    """A file that is refused keeps no other from being read: all that stands against each comes at once, in order of blocks and files."""

    def oil(files: str, column: str = "l", **timestamp: str) -> dict[str, Any]:
        quantities = {"oil_added_l": {"column": column}}
        return {"files": files, "timestamp": {"column": "when", **timestamp}, "engine": {"value": "G1"}, "quantities": quantities}

    site = make_site(
        {
            "readings/a.csv": "Time;Unit;Hours\n2026-01-01;G1;1\n",  # without P
            "readings/b.csv": HEADER + "03/04/2026,G1,1,\n",
            "readings/c.csv": "Time;Unit;Hours;P\n03/04/2026;G1;8,120;\n",
            "readings/d.csv": HEADER + "noon,G1,1,\n" * 11,
            "readings/e.csv": HEADER + "2026-01-01,G1,1,\n",
            "readings/f.doc": "x",
            "oil/a.csv": "when,l\n05/06/2026,1\n",
            "tank/a.csv": "when,l\n2026-01-01,1\n",
        },
        [
            READINGS,
            oil("oil/*"),
            oil("none/*"),
            oil("tank/*", format="%Q"),
            oil("tank/*", column="litres"),
        ],
    )
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(site, now_us=None)
    assert [(problem.code, problem.file) for problem in caught.value.problems] == [
        ("REA012", site.file),
        ("REA003", "readings/a.csv"),
        ("REA007", "readings/b.csv"),
        ("REA008", "readings/c.csv"),
        ("REA007", "readings/c.csv"),
        ("REA015", "readings/d.csv"),
        ("REA005", "readings/f.doc"),
        ("REA007", "oil/a.csv"),
        ("REA001", site.file),
        ("REA003", "tank/a.csv"),
    ]


def test_nothing_is_said_that_follows_from_a_problem(make_site: MakeSite) -> None:
    """That no row is left is not said where files are refused; and a refused file still tells the others the order of day and month."""
    files = {"readings/a.csv": HEADER + "03/04/2026,G9,1,\n", "readings/b.csv": "Time,Unit,Hours\n13/04/2026,G1,1\n"}
    assert problems_of(make_site(files)) == ["REA003"]


def test_name_and_figures_of_a_file_that_are_both_unclear(make_site: MakeSite) -> None:
    """Of a file whose name gives no engine and whose commas may mean two things, both are told, and that its dates are unclear."""
    files = {"readings/north.csv": "Time;Hours;P\n03/04/2026;8,120;\n"}
    assert problems_of(make_site(files, block(engine={"from_file_name": "(G\\d)"}))) == ["REA008", "REA009", "REA007"]


def test_one_problem_of_two_blocks_is_told_once(make_site: MakeSite) -> None:
    """A file that two blocks read and that cannot be opened is one problem."""
    assert problems_of(make_site({"readings/a.xlsx": "x"}, [READINGS, deepcopy(READINGS)])) == ["REA002"]


def test_missing_columns_of_all_files_at_once(make_site: MakeSite) -> None:
    """Every missing column of every file is named, in one problem a file, with what the file has and what is nearest to each."""
    site = make_site(
        {
            "readings/a.csv": "Time,Unit,Hour,P\n2026-01-01,G1,1,\n",
            "readings/b.csv": "x\nTimestamp,Unit,Hours,Load\n2026-01-01,G1,1,\n",
            "readings/c.csv": HEADER + "2026-01-01,G1,1,\n",
        }
    )
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(site, now_us=None)
    assert [(problem.code, problem.file, problem.line) for problem in caught.value.problems] == [
        ("REA003", "readings/a.csv", 1),
        ("REA003", "readings/b.csv", 2),
    ]
    assert [problem.text for problem in caught.value.problems] == [
        'there is no column "Hours"; the file has "Time", "Unit", "Hour", "P"; did you mean "Hour"?',
        'there are no columns "Time", "P"; the file has "Timestamp", "Unit", "Hours", "Load"; did you mean "Timestamp" for "Time"?',
    ]


def test_an_export_that_is_named_by_nothing_is_shown_by_its_header(make_site: MakeSite) -> None:
    """Of a preamble, a header and rows, the header is what the file has, and one problem names all that is not in it."""
    text = "Export Leitsystem;Bachmühle\nErstellt;02.01.2026 06:00\n\nZeit;Aggregat;Bh;kW\n01.01.2026 06:00;Süd;8,5;430\n"
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site({"readings/a.csv": text}), now_us=None)
    (problem,) = caught.value.problems
    assert (problem.code, problem.line) == ("REA003", 4)
    assert problem.text == 'there are no columns "Time", "Unit", "Hours", "P"; the file has "Zeit", "Aggregat", "Bh", "kW"'


def test_column_names_without_regard_to_case(make_site: MakeSite) -> None:
    """An exact name is found first; else case and blanks do not matter; one that is there twice is refused."""
    site = make_site({"readings/a.csv": " time ,UNIT,hours,HOURS,Hours,P\n2026-01-01,G1,1,2,3,\n"})
    assert rows_of(read(site), site)[0][3] == {"hour_meter_h": 3}
    assert problems_of(make_site({"readings/a.csv": "Time,Unit,hours,HOURS,P\n2026-01-01,G1,1,2,\n"})) == ["REA004"]


def test_no_file(make_site: MakeSite) -> None:
    """Patterns that match nothing are refused with the folder they were looked for in."""
    assert problems_of(make_site({"readings.txt": "x"})) == ["REA001"]


@pytest.mark.parametrize(
    ("files", "pattern", "hint"),
    [
        ({"readings/.gitkeep": ""}, "readings/*.csv", "; readings/ is there and holds no such file"),
        (
            {"readings/~$log.xlsx": "", "readings/log.xlsx": ""},
            "readings/*.csv",
            '; readings/ is there and holds no such file, only "log.xlsx"',
        ),
        ({"readings/2026/log.csv": ""}, "./readings/*.csv", '; readings/ is there and holds no such file, only "2026/"'),
        ({"readings/2026/log.csv": ""}, "readings/2025/*.csv", '; did you mean "2026"?'),
        ({"readings/2026/log.txt": ""}, "readings/**/*.csv", '; readings/ is there and holds no such file, only "2026/"'),
        ({"readings/a/b/log.txt": ""}, "readings/a/b/*.csv", '; readings/a/b/ is there and holds no such file, only "log.txt"'),
        ({"readings/log.csv": ""}, "readings/log1.csv", '; did you mean "log.csv"?'),
        ({"readings/day.xlsx": ""}, "readings/log.csv", '; readings/ is there and holds no such file, only "day.xlsx"'),
        ({f"readings/{day}.txt": "" for day in range(7)}, "readings/*.csv", '"3.txt", "4.txt" and 2 more'),
        ({"reading/log.csv": ""}, "readings/*.csv", '; did you mean "reading"?'),
        ({"elsewhere/log.csv": ""}, "readings/*.csv", "matches readings/*.csv"),
        ({"elsewhere/log.csv": ""}, "*.csv", "matches *.csv"),
    ],
)
def test_what_there_is_instead_of_a_file(make_site: MakeSite, files: dict[str, str], pattern: str, hint: str) -> None:
    """The nearest name where a part of the pattern is not there, else what the folder holds that it names, temporary files left out."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site(files, block(files=[pattern])), now_us=None)
    (problem,) = caught.value.problems
    assert (problem.code, problem.text.endswith(hint)) == ("REA001", True), problem.text


def test_patterns_of_one_folder_are_told_of_once(make_site: MakeSite) -> None:
    """Two patterns below one folder tell what it holds one time; another folder is told of too."""
    files = {"readings/log.xlsx": "", "oil/top-up.doc": ""}
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site(files, block(files=["readings/*.csv", "readings/*.txt", "oil/*.csv"])), now_us=None)
    assert caught.value.problems[0].text.endswith(
        '; readings/ is there and holds no such file, only "log.xlsx"; oil/ is there and holds no such file, only "top-up.doc"'
    )


def test_kinds_of_file_that_are_not_read(make_site: MakeSite) -> None:
    """A picture among the logs is refused by its kind, a text that calls itself Parquet by what it is."""
    files = {"readings/a.png": b"\x89PNG", "readings/b.parquet": b"no", "readings/c.xlsx": b"no", "readings/d.csv": HEADER}
    assert problems_of(make_site(files)) == ["REA005", "REA002", "REA002"]


@pytest.mark.parametrize(
    ("content", "begins"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + b"\x00\x07" * 2000, r"\x89PNG\r\n\x1a\n"),
        (b"PK\x03\x04\x14\x00\x06\x00" + bytes(range(256)) * 20, r"PK\x03\x04\x14\x00"),
        (bytes(4000), r"\x00\x00"),
    ],
)
def test_what_is_no_text_is_refused_once(make_site: MakeSite, content: bytes, begins: str) -> None:
    """A picture or a workbook that calls itself CSV: one problem in a few words, that shows how it begins; no header is made of it."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site({"readings/a.csv": content}), now_us=None)
    (problem,) = caught.value.problems
    assert (problem.code, problem.text.startswith(f'the file is not text; it begins with "{begins}')) == ("REA002", True)
    assert problem.fix
    assert all(len(line) < 200 for line in problem.render().splitlines())


def test_a_long_header_is_told_in_short(make_site: MakeSite) -> None:
    """Of a name without end its beginning is told; a separator of lines in it does not break the problem's lines."""
    head = "Ti\u2028me,Un\u0085it," + "x" * 5000 + "\n1,2,3\n"
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(make_site({"readings/a.csv": head}), now_us=None)
    for problem in caught.value.problems:
        assert problem.fix == "name them under readings in site.yaml as the file has them"
        assert [len(line) < 300 for line in problem.render().splitlines()] == [True] * 3


def test_one_row_is_one_row(make_site: MakeSite) -> None:
    """A log of one row that cannot be used is told in the singular."""
    with pytest.raises(ReadingsProblemError, match="is accepted: 1 row in 1 file; 1 time unreadable_time"):
        read_readings(make_site({"readings/a.csv": HEADER + "never,G1,1,\n"}), now_us=None)


def test_stated_encoding_that_does_not_fit(make_site: MakeSite) -> None:
    """Text that is not in the stated encoding is refused, at the head or far behind it."""
    head = "Time,Unit,Hours,P,Ö\n".encode("cp1252")
    assert problems_of(make_site({"readings/a.csv": head}, block(csv={"encoding": "utf-8"}))) == ["REA006"]
    late = (HEADER + "2026-01-01,G1,1,\n" * 20_000 + "2026-01-01,Ö,1,\n").encode("cp1252")
    assert problems_of(make_site({"readings/a.csv": late}, block(csv={"encoding": "utf-8"}))) == ["REA006"]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_encodings_and_line_ends(make_site: MakeSite, encoding: str, line_end: str) -> None:
    """The same log in other bytes gives the same rows at the same lines."""
    text = "Leistungsübersicht\nTime;Unit;Größe;P\n01.01.2026 00:00;G1;1,5;\n01.01.2026 01:00;Süd;2,5;\n"
    layout = block(quantities={"hour_meter_h": {"column": "Größe"}}, engine_names={"Süd": "G2"})
    site = make_site({"readings/a.csv": text.replace("\n", line_end).encode(encoding)}, layout)
    assert [(row[0], row[2], row[3]) for row in rows_of(read(site), site)] == [
        ("G1", 3, {"hour_meter_h": 1.5}),
        ("G2", 4, {"hour_meter_h": 2.5}),
    ]


def test_two_byte_order_marks(make_site: MakeSite) -> None:
    """Neither of two byte order marks is part of the first column's name."""
    site = make_site({"readings/a.csv": "\ufeff\ufeff" + HEADER + "2026-01-01,G1,1,\n"})
    assert rows_of(read(site), site)[0][2:] == (2, {"hour_meter_h": 1})


MIXED = (
    b"Time,Unit,Hours,P,Note\r\n"
    + b"2026-01-01 00:00,S\xc3\xbcd,0,,\r\n"
    + b"2026-01-01 01:00,S\xc3\xbcd,1,,\xd6l\r\n"  # a remark in Windows-1252
    + b"2026-01-01 02:00,S\xfcd,two,,\r\n"  # a name in Windows-1252, and no number
    + b'2026-01-01 03:00,S\xc3\xbcd,3,,"\xd6l\r\nund \xc3\x96l"\r\n'
    + b"2026-01-01 04:00,S\xc3\xbcd,4,5\r\n"  # a field too few
    + b"\r\n"
    + b"2026-01-01 05:00,S\xc3\xbcd,5,5,\xe9"
)


@pytest.mark.parametrize("size", [40, 50, 64, 100, 150, 200, 8_000_000])
def test_two_encodings_in_one_file(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Names in UTF-8 stay what they are whatever bytes and cells the rows around them hold, wherever the file is cut in reading."""
    monkeypatch.setattr(csvfile, "chunks_of", lambda stream: encodings.chunks_of(stream, size))
    site = make_site({"readings/a.csv": MIXED}, None, [{"id": "G1"}, {"id": "Süd"}])
    readings = read(site)
    assert [(row[0], row[2], row[3]) for row in rows_of(readings, site)] == [
        ("Süd", 2, {"hour_meter_h": 0}),
        ("Süd", 3, {"hour_meter_h": 1}),
        ("Süd", 4, {}),
        ("Süd", 5, {"hour_meter_h": 3}),
        ("Süd", 9, {"hour_meter_h": 5, "load_kw": 5}),
    ]
    assert faults_of(readings) == [("unreadable_cell", 4), ("malformed_row", 7)]


def test_letters_in_parts(make_site: MakeSite) -> None:
    """An umlaut kept as a letter and its dots (Unicode's Form D) is the umlaut: in a column's name, an engine's and a file's."""
    site = make_site(
        {
            "readings/a.csv": "Time,Unit,Gro\u0308\u00dfe\n2026-01-01,Su\u0308d,1\n2026-01-02,SU\u0308D,2\n2026-01-03,G1,3\n",
            "by_name/Su\u0308d.csv": "Time,l\n2026-01-04,4\n",
        },
        [
            block(quantities={"hour_meter_h": {"column": "Größe"}}),
            {
                "files": "by_name/*",
                "timestamp": {"column": "Time"},
                "engine": {"from_file_name": "([Gü]1|Süd)"},
                "quantities": {"oil_added_l": {"column": "l"}},
            },
        ],
        [{"id": "G1"}, {"id": "Süd"}],
    )
    readings = read(site)
    assert [(row[0], row[3]) for row in rows_of(readings, site)] == [
        ("G1", {"hour_meter_h": 3}),
        ("Süd", {"hour_meter_h": 1}),
        ("Süd", {"hour_meter_h": 2}),
    ]
    assert [(row[0], row[3]) for row in rows_of(readings, site, 1)] == [("Süd", {"oil_added_l": 4})]


def test_engines_that_differ_by_case_and_are_written_in_parts(make_site: MakeSite) -> None:
    """How letters are encoded is no other spelling: case still tells engines apart, and one that the site has in parts is found."""
    text = HEADER + "2026-01-01,a\u0308,1,\n2026-01-02,A\u0308,2,\n2026-01-03,\u00e9,3,\n"
    site = make_site({"readings/a.csv": text}, None, [{"id": "Ä"}, {"id": "ä"}, {"id": "e\u0301"}])
    assert [(row[0], row[2]) for row in rows_of(read(site), site)] == [("Ä", 3), ("ä", 2), ("e\u0301", 4)]


def test_all_is_stated(make_site: MakeSite) -> None:
    """Everything that is otherwise found out can be stated."""
    csv = {"separator": "|", "decimal": ",", "encoding": "cp1252", "skip_rows": 1, "comment": "*"}
    text = "Time|Unit|Hours|P of another log\nTime|Unit|Hours|P\n* Öl nachgefüllt\n2026-01-01|G1|1,5|7\n"
    site = make_site({"readings/a.csv": text.encode("cp1252")}, block(csv=csv))
    assert rows_of(read(site), site) == [("G1", us("2025-12-31T23:00"), 4, {"hour_meter_h": 1.5, "load_kw": 7})]


def test_same_input_same_output(make_site: MakeSite) -> None:
    """Reading twice gives the same rows and the same faults in the same order."""
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,x,\n2026-01-01,G1,2,\n2026-01-01,G9,2,\nnoon,G1,2,\n"})
    first, second = read(site), read(site)
    assert first.faults == second.faults
    assert rows_of(first, site) == rows_of(second, site)
    assert math.isnan(first.blocks[0].values["hour_meter_h"][0])
