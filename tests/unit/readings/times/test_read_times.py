"""The times of rows: what can be read, what cannot, and what must not be guessed."""

from __future__ import annotations

import pytest

from intervals.problems import ReadingsProblemError
from intervals.readings import read_readings
from intervals.readings.files import csv_file, encodings
from intervals.readings.times import times_seen
from tests.unit.readings.conftest import MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, faults_of, problems_of, read, rows_of


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


def autumn(*rows: tuple[str, float | str]) -> str:
    """Return a log of G1 in the night to 25 October 2026, on which 02:00 to 02:59 came twice, an hour apart."""
    return HEADER + "".join(f"2026-10-25 {clock},G1,{shown},\n" for clock, shown in rows)


@pytest.mark.parametrize(
    ("rows", "instants"),
    [
        # hourly, the meter rising: 02:00 is 00:00 and then 01:00 UTC
        (
            [("01:00", 1), ("02:00", 2), ("02:00", 3), ("03:00", 4)],
            ["2026-10-24T23:00", "2026-10-25T00:00", "2026-10-25T01:00", "2026-10-25T02:00"],
        ),
        # half-hourly, without a meter: the stamps step back once
        (
            [("02:00", ""), ("02:30", ""), ("02:00", ""), ("02:30", ""), ("03:00", "")],
            ["2026-10-25T00:00", "2026-10-25T00:30", "2026-10-25T01:00", "2026-10-25T01:30", "2026-10-25T02:00"],
        ),
        # the second hour was begun late
        ([("02:30", 2), ("02:15", 3), ("03:00", 4)], ["2026-10-25T00:30", "2026-10-25T01:15", "2026-10-25T02:00"]),
    ],
)  # fmt: skip
def test_the_two_hours_of_autumn_in_the_order_of_the_file(
    make_site: MakeSite, rows: list[tuple[str, float | str]], instants: list[str]
) -> None:
    """File and meter tell which row is of the first time that the clock showed it, and which of the second."""
    site = make_site({"readings/a.csv": autumn(*rows)})
    readings = read(site)
    assert faults_of(readings) == []
    assert [row[1] for row in rows_of(readings, site)] == [us(at) for at in instants]


@pytest.mark.parametrize(
    "rows",
    [
        # one row may be of either hour
        [("01:00", 1), ("02:00", 2), ("03:00", 4)],
        # a row sent twice, or two hours at standstill
        [("01:00", 1), ("02:00", 2), ("02:00", 2), ("03:00", 4)],
        # two rows out of order, of one hour or of two
        [("01:00", ""), ("02:30", ""), ("02:15", ""), ("03:00", "")],
        # the meter falls
        [("01:00", 1), ("02:30", 3), ("02:00", 2), ("03:00", 4)],
        # three times an hour is no order
        [("01:00", 1), ("02:00", 2), ("02:00", 3), ("02:00", 4), ("03:00", 5)],
        # the latest row stands first
        [("03:00", 4), ("02:30", 3), ("02:15", 2), ("01:00", 1)],
    ],
)
def test_an_hour_of_autumn_that_is_not_clear_is_set_aside(make_site: MakeSite, rows: list[tuple[str, float | str]]) -> None:
    """Nothing is guessed: every row of the repeated hour is a fault, the others stay."""
    readings = read(make_site({"readings/a.csv": autumn(*rows)}))
    twice = [number for number, (clock, _) in enumerate(rows, start=2) if clock.startswith("02")]
    assert faults_of(readings) == [("time_comes_twice", line) for line in twice]


def test_the_hours_of_autumn_engine_by_engine(make_site: MakeSite) -> None:
    """Rows of two engines in turn: each engine's own rows are in order."""
    rows = [("02:00", "G1", 2), ("02:00", "G2", 7), ("02:00", "G1", 3), ("02:00", "G2", 8), ("03:00", "G1", 4), ("03:00", "G2", 9)]
    site = make_site({"readings/a.csv": HEADER + "".join(f"2026-10-25 {clock},{engine},{shown},\n" for clock, engine, shown in rows)})
    readings = read(site)
    assert faults_of(readings) == []
    assert sorted(row[1] for row in rows_of(readings, site)) == [us(f"2026-10-25T{hour:02d}:00") for hour in (0, 0, 1, 1, 2, 2)]


@pytest.mark.parametrize(("second", "is_reported"), [(900, True), (800, False)])
def test_the_two_hours_of_autumn_by_the_meter_of_energy(make_site: MakeSite, second: int, is_reported: bool) -> None:
    """A logger without an hour meter: its counter of energy tells two hours from a row sent twice."""
    text = autumn(("01:00", 700), ("02:00", 800), ("02:00", second), ("03:00", 1000))
    site = make_site({"readings/a.csv": text}, block(quantities={"energy_kwh": {"column": "Hours", "unit": "kWh"}}))
    assert faults_of(read(site)) == ([] if is_reported else [("time_comes_twice", 3), ("time_comes_twice", 4)])


def test_a_clock_set_back_by_half_an_hour(make_site: MakeSite) -> None:
    """Lord Howe: on 5 April 2026 01:30 came at 14:30 and at 15:00 UTC of the 4th."""
    text = HEADER + "2026-04-05 01:30,G1,1,\n2026-04-05 01:30,G1,1.5,\n2026-04-05 02:00,G1,2,\n"
    site = make_site({"readings/a.csv": text}, block(timestamp={"column": "Time", "time_zone": "Australia/Lord_Howe"}))
    readings = read(site)
    assert faults_of(readings) == []
    assert [row[1] for row in rows_of(readings, site)] == [us("2026-04-04T14:30"), us("2026-04-04T15:00"), us("2026-04-04T15:30")]


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
    assert "may have the day or the month first, and no other time shows which" in readings.faults[0].text


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
    said = "is outside the years that are accepted, 1900 to 2199; the row is set aside"
    assert [(fault.kind, fault.line, fault.text) for fault in readings.faults] == [
        ("unreadable_time", 3, f'"1899-12-31" {said}'),
        ("unreadable_time", 4, f'"2200-01-01 00:00" {said}'),
        ("unreadable_time", 5, f'"31.12.1899" {said}'),
        ("unreadable_time", 6, '"1899-02-30" cannot be read as a time; the row is set aside'),
    ]


@pytest.mark.parametrize("size", [40, 100, 400, 1000, 8_000_000])
def test_verdicts_do_not_depend_on_the_cut(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Wherever a file is cut in reading, bad rows beside good ones are set aside, and a file that has nothing else is refused."""
    monkeypatch.setattr(csv_file, "whole_lines_of", lambda stream: encodings.whole_lines_of(stream, size))
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
    monkeypatch.setattr(csv_file, "whole_lines_of", lambda stream: encodings.whole_lines_of(stream, size))
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
