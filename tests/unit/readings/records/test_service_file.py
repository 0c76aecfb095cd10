"""Service records: files to records and faults."""

from __future__ import annotations

from copy import deepcopy
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xlsxwriter

from intervals.faults import FAULT_KINDS
from intervals.problems import ReadingsProblemError
from intervals.readings import READINGS_CODES, Records, ServiceRecord, read_records
from intervals.site.model import Site
from tests.unit.readings.conftest import MakeSite, us

HEADER = "at,engine,task,hour_meter_h,outcome,done_by,note,ref\n"


def read(site: Site, now: str | None = None) -> Records:
    """Read the records of a site; every fault is of a known kind and has its file."""
    records = read_records(site, now_us=None if now is None else us(now))
    assert all(fault.kind in FAULT_KINDS and fault.file for fault in records.faults)
    return records


def faults_of(records: Records) -> list[tuple[str, int | None]]:
    """Return kind and line of each fault."""
    return [(fault.kind, fault.line) for fault in records.faults]


def codes_of(site: Site) -> list[str]:
    """Return the codes of what refuses a site's records."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_records(site, now_us=None)
    codes = [problem.code for problem in caught.value.problems]
    assert set(codes) <= set(READINGS_CODES)
    return codes


def test_every_column(make_site: MakeSite) -> None:
    """A record with all its columns; deferrals may end at a meter reading and on a date."""
    text = (
        "at,engine,task,hour_meter_h,outcome,done_by,note,ref,until_h,until_date,approved_by\n"
        "2026-06-02 10:15,G1,oil-change,18210.5,deferred,AB,waits for oil,J-7,18300,2026-06-20,chief\n"
    )
    assert read(make_site({"services.csv": text})).records == (
        ServiceRecord(
            engine="G1",
            task="oil-change",
            at_us=us("2026-06-02T08:15"),
            on=None,
            hour_meter_h=18210.5,
            outcome="deferred",
            until_h=18300,
            until_date=date(2026, 6, 20),
            approved_by="chief",
            done_by="AB",
            note="waits for oil",
            ref="J-7",
            file="services.csv",
            line=2,
        ),
    )


def test_needed_columns_alone(make_site: MakeSite) -> None:
    """Time, engine and task are enough; the outcome is then done."""
    (record,) = read(make_site({"services.csv": "task;at;engine\noil-change;02.06.2026;g2\n"})).records
    assert (record.engine, record.task, record.on, record.at_us, record.outcome) == ("G2", "oil-change", date(2026, 6, 2), None, "done")
    assert (record.hour_meter_h, record.until_date, record.note) == (None, None, "")


def test_date_alone_is_told_from_midnight(make_site: MakeSite) -> None:
    """A date alone is a day; the same date at 00:00 is an instant."""
    records = read(make_site({"services.csv": HEADER + "2026-06-02,G1,a,,,,,\n2026-06-02 00:00,G1,a,,,,,\n2026-06-02T00:00Z,G1,a,,,,,\n"}))
    assert [(record.on, record.at_us) for record in records.records] == [
        (date(2026, 6, 2), None),
        (None, us("2026-06-01T22:00")),
        (None, us("2026-06-02T00:00")),
    ]


def test_order_of_the_file(make_site: MakeSite) -> None:
    """Records stay in the order of the file, whatever their times."""
    records = read(make_site({"services.csv": HEADER + "2026-06-02,G1,b,,,,,\n2026-01-02,G2,a,,,,,\n"}))
    assert [(record.task, record.line) for record in records.records] == [("b", 2), ("a", 3)]


@pytest.mark.parametrize(
    ("word", "outcome"), [("", "done"), ("Done", "done"), (" PARTIAL ", "partial"), ("Deferred", "deferred"), ("void", "void")]
)
def test_outcomes(make_site: MakeSite, word: str, outcome: str) -> None:
    """The four outcomes in any case; a blank is done."""
    (record,) = read(make_site({"services.csv": HEADER + f"2026-06-02,G1,a,,{word},,,\n"})).records
    assert record.outcome == outcome


@pytest.mark.parametrize(
    ("row", "kind", "words"),
    [
        ("last week,G1,a,,,,,", "unreadable_record", '"last week" cannot be read'),
        (",G1,a,,,,,", "unreadable_record", "the time is blank"),
        ("2026-06-02,,a,,,,,", "unreadable_record", "the engine is blank"),
        ("2026-06-02,G1,,,,,,", "unreadable_record", "the task is blank"),
        ("2026-06-02,G1,a,,finished,,,", "unreadable_record", '"finished" is not one of done, partial, deferred, void'),
        ("2026-06-02,G9,a,,,,,", "unknown_engine", '"G9"'),
        ("2026-06-02,G1,a,,,,a note, with a comma,", "malformed_row", "9 fields where the header has 8"),
        ("2026-06-02,G1,a", "malformed_row", "3 fields where the header has 8"),
        ("2026-03-29 02:30,G1,a,,,,,", "time_does_not_exist", "02:30"),
        ("2026-10-25 02:30,G1,a,,,,,", "time_comes_twice", "02:30"),
        ("2026-11-02,G1,a,,,,,", "record_in_future", "later than the clock"),
        ("2026-11-01T12:01Z,G1,a,,,,,", "record_in_future", "later than the clock"),
    ],
)
def test_records_set_aside(make_site: MakeSite, row: str, kind: str, words: str) -> None:
    """What cannot be read, names a stranger, or is later than the clock is set aside by name; the others stay."""
    records = read(make_site({"services.csv": HEADER + "2026-01-01,G1,a,,,,,\n" + row + "\n2026-01-02,G1,a,,,,,\n"}), "2026-11-01T12:00")
    assert [record.line for record in records.records] == [2, 4]
    assert faults_of(records) == [(kind, 3)]
    assert words in records.faults[0].text
    assert "set aside" in records.faults[0].text


def test_record_of_today(make_site: MakeSite) -> None:
    """A date alone that has begun is not in the future, nor is the clock's own moment."""
    site = make_site({"services.csv": HEADER + "2026-11-01,G1,a,,,,,\n2026-11-01T12:00Z,G1,a,,,,,\n"})
    assert faults_of(read(site, "2026-11-01T12:00")) == []
    assert len(read(site).records) == 2


def test_cells_taken_as_blank(make_site: MakeSite) -> None:
    """A meter reading or a date that cannot be read is blank; the record stays."""
    text = "at,engine,task,hour_meter_h,until_h,until_date\n2026-06-02,G1,a,about 900,-5,soon\n2026-06-03,G1,a,nan,,\n"
    records = read(make_site({"services.csv": text}))
    assert [(record.hour_meter_h, record.until_h, record.until_date) for record in records.records] == [(None, None, None)] * 2
    assert sorted(faults_of(records)) == [
        ("impossible_value", 2),
        ("impossible_value", 3),
        ("unreadable_cell", 2),
        ("unreadable_cell", 2),
    ]


def test_mapped_columns_and_names(make_site: MakeSite) -> None:
    """Columns, engines and tasks may have names of their own; a task that is not listed keeps its name."""
    services = {
        "file": "werkzaamheden.csv",
        "columns": {"at": "Datum", "engine": "Motor", "task": "Werk", "hour_meter_h": "Stand"},
        "engine_names": {"Noord": "G1"},
        "task_names": {"Olie verversen": "oil-change"},
        "timestamp_format": "%d-%m-%Y",
    }
    text = "Datum;Motor;Werk;Stand\n03-04-2026;noord;OLIE VERVERSEN;8.120,4\n04-04-2026;G2;plugs;7,5\n"
    records = read(make_site({"werkzaamheden.csv": text}, services=services)).records
    assert [(record.engine, record.task, record.on, record.hour_meter_h) for record in records] == [
        ("G1", "oil-change", date(2026, 4, 3), 8120.4),
        ("G2", "plugs", date(2026, 4, 4), 7.5),
    ]


LOGS = {"files": ["a.csv"], "timestamp": {"column": "t"}, "engine": {"column": "u"}, "quantities": {"hour_meter_h": {"column": "h"}}}


def test_spellings_of_the_log_hold_for_records(make_site: MakeSite) -> None:
    """How an engine is written in any block of readings holds here, in other letters too; a stranger is set aside as ever."""
    blocks = [{**deepcopy(LOGS), "engine_names": names} for names in ({"Süd": "G1"}, {"Nord": "G2"})]
    text = HEADER + "2026-06-02,Süd,a,,,,,\n2026-06-02,SU\u0308D,a,,,,,\n2026-06-02,nord,a,,,,,\n2026-06-02,Nrod,a,,,,,\n"
    records = read(make_site({"services.csv": text}, blocks))
    assert [record.engine for record in records.records] == ["G1", "G1", "G2"]
    assert faults_of(records) == [("unknown_engine", 5)]
    assert records.faults[0].text.endswith('; did you mean "Nord"?')


@pytest.mark.parametrize(
    ("stated", "engine"), [({}, "G1"), ({"engine_names": {"sued": "G2"}}, "G1"), ({"engine_names": {"Süd": "G2"}}, "G2")]
)
def test_own_spellings_come_before_those_of_the_log(make_site: MakeSite, stated: dict[str, Any], engine: str) -> None:
    """What services.engine_names says of a spelling counts; of what it does not name, the readings' word does."""
    site = make_site({"services.csv": HEADER + "2026-06-02,Süd,a,,,,,\n"}, {**LOGS, "engine_names": {"Süd": "G1"}}, services=stated)
    assert [record.engine for record in read(site).records] == [engine]


def test_an_id_comes_before_a_spelling_of_the_log(make_site: MakeSite) -> None:
    """Where the plant's control calls G2 by the name of G1, a record that names G1 in any case means G1."""
    text = HEADER + "2026-06-02,G1,a,,,,,\n2026-06-02,g1,a,,,,,\n"
    site = make_site({"services.csv": text}, {**LOGS, "engine_names": {"G1": "G2", "g1": "G2"}})
    assert [record.engine for record in read(site).records] == ["G1", "G1"]


def test_a_spelling_that_two_blocks_mean_differently_holds_for_neither(make_site: MakeSite) -> None:
    """Unit 1 of one control is G1, that of another G2: a record of it is set aside."""
    blocks = [{**deepcopy(LOGS), "engine_names": {"Unit 1": engine}} for engine in ("G1", "G2")]
    records = read(make_site({"services.csv": HEADER + "2026-06-02,Unit 1,a,,,,,\n"}, blocks))
    assert (records.records, faults_of(records)) == ((), [("unknown_engine", 2)])


def test_missing_columns_are_told_together(make_site: MakeSite) -> None:
    """One problem names all that is missing, what is nearest, and the keys to state them under."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_records(make_site({"services.csv": "Datum,Engines,Werk\n"}), now_us=None)
    (problem,) = caught.value.problems
    assert (problem.code, problem.line) == ("SVC003", 1)
    assert problem.text == (
        'there are no columns "at", "engine", "task"; the file has "Datum", "Engines", "Werk"; did you mean "Engines" for "engine"?'
    )
    assert problem.fix == (
        "state their names as the file has them: services: {columns: {at: .., engine: .., task: ..}}; and these too, if the file "
        "has them, since they are not read otherwise: hour_meter_h, outcome, done_by, note, ref, until_h, until_date, approved_by, hours_h"
    )


def test_a_column_that_may_be_the_outcome_is_told(make_site: MakeSite) -> None:
    """Without a column outcome each record counts as done; who has one by another name is told that it is not read."""
    columns = {"at": "Datum", "engine": "Maschine", "task": "Arbeit"}
    file = "Datum;Maschine;Arbeit;Ergebnis;Kosten\n2026-06-02;G1;a;partial;12\n"
    records = read(make_site({"services.csv": file}, services={"columns": columns}))
    (fault,) = records.faults
    assert (fault.kind, fault.line, [record.outcome for record in records.records]) == ("unread_column", 1, ["done"])
    assert fault.text == "there is no column outcome, so that each record counts as done; not read: Ergebnis, Kosten"
    assert read(make_site({"services.csv": "at,engine,task\n2026-06-02,G1,a\n"})).faults == []
    assert read(make_site({"services.csv": "at,engine,task,outcome,cost\n2026-06-02,G1,a,done,5\n"})).faults == []


def test_a_blank_outcome_among_filled_ones_is_told(make_site: MakeSite) -> None:
    """Where some records say what became of the work and others do not, they are counted and placed; where none does, none need."""
    head = "at,engine,task,outcome\n"
    records = read(make_site({"services.csv": head + "2026-06-02,G1,a,done\n2026-06-03,G1,b,\n2026-06-04,G1,c,\n"}))
    (fault,) = records.faults
    assert (fault.kind, fault.line, fault.text) == ("blank_outcome", 3, "the outcome of 2 records is blank; it counts as done")
    assert [record.outcome for record in records.records] == ["done", "done", "done"]
    assert read(make_site({"services.csv": head + "2026-06-03,G1,b,\n2026-06-04,G1,c,\n"})).faults == []


def test_messy_file(make_site: MakeSite) -> None:
    """Title lines, quotes, a note over two lines, blank lines and Windows-1252 do no harm; lines are true."""
    text = 'Übersicht\n\nat;engine;task;note\n2026-06-02;G1;a;"filter für\nG1"\n\n;;;\n2026-06-03;G1;b;\n'
    records = read(make_site({"services.csv": text.replace("\n", "\r\n").encode("cp1252")}))
    assert [(record.task, record.line, record.note.split()) for record in records.records] == [
        ("a", 4, ["filter", "für", "G1"]),
        ("b", 8, []),
    ]
    assert records.faults == []


def test_meter_reading_that_may_be_two_things(make_site: MakeSite) -> None:
    """8,120 may be 8 or 8120 hours: blank, not guessed; another row that proves the point settles it."""
    head = "at;engine;task;hour_meter_h\n"
    assert faults_of(read(make_site({"services.csv": head + "2026-06-02;G1;a;8,120\n"}))) == [("unreadable_cell", 2)]
    (first, _) = read(make_site({"services.csv": head + "2026-06-02;G1;a;8,120\n2026-06-03;G1;a;8121.5\n"})).records
    assert first.hour_meter_h == 8120


def test_workbook(make_site: MakeSite) -> None:
    """Records may be kept in a workbook; a date cell is a day, a time cell an instant."""
    sink = BytesIO()
    with xlsxwriter.Workbook(sink, {"in_memory": True}) as book:
        page = book.add_worksheet("Done")
        day, clock = book.add_format({"num_format": "yyyy-mm-dd"}), book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        page.write_row(0, 0, ["at", "engine", "task", "hour_meter_h", "ref", "until_date"])
        rows: list[tuple[Any, ...]] = [(date(2026, 6, 2), day, "a", 900, 17), (datetime(2026, 6, 3, 10, 15), clock, "b", 901.5, "J-1")]  # noqa: DTZ001
        for number, (at, shape, task, meter, ref) in enumerate(rows, start=1):
            page.write_datetime(number, 0, at, shape)
            page.write_row(number, 1, ["G1", task, meter, ref])
        page.write_datetime(1, 5, date(2026, 7, 1), day)
    site = make_site({"services.xlsx": sink.getvalue()}, services={"file": "services.xlsx", "sheet": "Done"})
    records = read(site)
    assert records.faults == []
    assert [(record.on, record.at_us, record.hour_meter_h, record.ref, record.until_date, record.line) for record in records.records] == [
        (date(2026, 6, 2), None, 900, "17", date(2026, 7, 1), 2),
        (None, us("2026-06-03T08:15"), 901.5, "J-1", None, 3),
    ]


def test_day_and_month(make_site: MakeSite) -> None:
    """One row with a 13 tells the order of all; where none does, the file is refused."""
    head = "at;engine;task;until_date\n"
    (first, _) = read(make_site({"services.csv": head + "03/04/2026;G1;a;05/06/2026\n13/04/2026;G1;a;\n"})).records
    assert (first.on, first.until_date) == (date(2026, 4, 3), date(2026, 6, 5))
    assert codes_of(make_site({"services.csv": head + "03/04/2026;G1;a;\n"})) == ["SVC007"]


def test_no_file(make_site: MakeSite) -> None:
    """Without services.csv there are no records, and one fault says so; a file that the site names must be there."""
    records = read(make_site())
    assert records.records == ()
    assert [(fault.engine, fault.kind, fault.file, fault.line) for fault in records.faults] == [
        (None, "no_service_records", "services.csv", None)
    ]
    assert "nothing is known to have been done" in records.faults[0].text
    assert codes_of(make_site(services={"file": "done.csv"})) == ["SVC001"]


def test_a_folder_is_no_file(make_site: MakeSite) -> None:
    """A folder under the name of the records, named by the site or not, is refused and not taken for no records."""
    files = {"services.csv/2026.csv": HEADER}
    assert codes_of(make_site(files)) == ["SVC002"]
    assert codes_of(make_site(files, services={"file": "services.csv"})) == ["SVC002"]
    with pytest.raises(ReadingsProblemError, match=r"it is a folder, not a file\n    name the file in site.yaml: services: \{file: \.\.\}"):
        read_records(make_site(files), now_us=None)


def test_rows_that_disagree_on_day_and_month_are_named(make_site: MakeSite) -> None:
    """A record whose order of day and month is not clear says which rows have it one way and the other."""
    text = "at,engine,task\n13/01/2026,G1,a\n03/01/2026,G1,a\n14/01/2026,G1,a\n01/15/2026,G1,a\n"
    records = read(make_site({"services.csv": text}))
    assert faults_of(records) == [("unreadable_record", 3)]
    assert 'services.csv:2 "13/01/2026" has the day first; services.csv:5 "01/15/2026" has the month first' in records.faults[0].text


@pytest.mark.parametrize("text", ["", "\n", HEADER])
def test_file_of_nothing(make_site: MakeSite, text: str) -> None:
    """A file with a header alone has no records; an empty one is named."""
    records = read(make_site({"services.csv": text}))
    assert records.records == ()
    assert faults_of(records) == ([] if text == HEADER else [("empty_file", None)])


def test_missing_and_doubled_columns(make_site: MakeSite) -> None:
    """A needed or mapped column that is missing is refused, and one that is there twice; all at once."""
    assert codes_of(make_site({"services.csv": "at,engine,at\n"})) == ["SVC004", "SVC003"]
    assert codes_of(make_site({"services.csv": "at,engine,task\n"}, services={"columns": {"note": "remark"}})) == ["SVC003"]


def test_formats_and_files_that_cannot_be_used(make_site: MakeSite) -> None:
    """A format that is not understood, a sheet that is not there, a kind of file that is not read."""
    assert codes_of(make_site({"services.csv": HEADER}, services={"timestamp_format": "%Q"})) == ["SVC012"]
    assert codes_of(make_site({"done.doc": "x"}, services={"file": "done.doc"})) == ["SVC005"]
    assert codes_of(make_site({"done.xlsx": "x"}, services={"file": "done.xlsx"})) == ["SVC002"]


@pytest.mark.parametrize("column", ["at", "hour_meter_h", "until_date"])
def test_columns_of_the_wrong_type(make_site: MakeSite, column: str) -> None:
    """A typed column that can hold no times, or no figures, is refused."""
    columns: dict[str, list[Any]] = {
        "at": ["2026-06-02"],
        "engine": ["G1"],
        "task": ["a"],
        "hour_meter_h": [1.0],
        "until_date": ["2026-06-03"],
    }
    columns[column] = [datetime(2026, 6, 2)] if column == "hour_meter_h" else [1.5]  # noqa: DTZ001 - a column without zone
    sink = BytesIO()
    pq.write_table(pa.table(columns), sink)
    assert codes_of(make_site({"done.parquet": sink.getvalue()}, services={"file": "done.parquet"})) == ["SVC015"]


def test_instants_of_the_test_data() -> None:
    """Amsterdam is two hours ahead of UTC in June, as the expected instants say."""
    assert datetime.fromisoformat("2026-06-02T10:15+02:00").astimezone(UTC).hour == 8


@pytest.mark.parametrize(("typed", "task"), [("Ölwechsel", "oil-change"), ("O\u0308LWECHSEL", "oil-change"), ("Öl", "Öl")])
def test_tasks_in_another_spelling_of_the_site(make_site: MakeSite, typed: str, task: str) -> None:
    """What the site maps is found in another letter case, and with an umlaut in two characters; any other name stands as it was typed."""
    site = make_site({"services.csv": HEADER + f"2026-06-02,G1,{typed},,,,,\n"}, services={"task_names": {"Ölwechsel": "oil-change"}})
    (record,) = read_records(site, now_us=None).records
    assert record.task == task


def test_engines_whose_umlauts_are_stored_otherwise(make_site: MakeSite) -> None:
    """A u and two dots in the records is the u with dots of the site file, and the other way about."""
    engines = [{"id": "S\u00fcd"}, {"id": "Gru\u0308n"}]
    site = make_site({"services.csv": HEADER + "2026-06-02,Su\u0308d,a,,,,,\n2026-06-02,gr\u00fcn,a,,,,,\n"}, engines=engines)
    assert [record.engine for record in read(site).records] == ["S\u00fcd", "Gru\u0308n"]


def test_an_unknown_engine_comes_with_the_nearest(make_site: MakeSite) -> None:
    """A slip of the pen is set aside, and the fault asks for the engine that must have been meant; another number is another engine."""
    rows = "".join(f"2026-06-02,{name},a,,,,,\n" for name in ("Nroth-1", "North-2", "X"))
    site = make_site({"services.csv": HEADER + rows}, engines=[{"id": "North-1"}])
    assert [fault.text for fault in read(site).faults] == [
        'no engine "Nroth-1" is declared; the record is set aside; did you mean "North-1"?',
        'no engine "North-2" is declared; the record is set aside',
        'no engine "X" is declared; the record is set aside',
    ]


def test_odd_ways_of_writing_a_file(make_site: MakeSite) -> None:
    """A byte order mark, Windows line ends, a quoted new line, decimal commas between semicolons: the same record, without a fault."""
    row = "2026-06-02 10:15;G1;a;18210,5;done;AB;one{}two;J-7\n"
    text = HEADER.replace(",", ";") + row
    for content in (
        b"\xef\xbb\xbf" + text.format(" ").encode(),
        text.format(" ").replace("\n", "\r\n").encode(),
        text.replace("one{}two", '"one\ntwo"').encode(),
        text.format(" ").encode("utf-16"),
        text.format(" ").rstrip("\n").encode(),
    ):
        records = read(make_site({"services.csv": content}))
        assert records.faults == []
        assert [(record.at_us, record.hour_meter_h, record.note.split(), record.ref) for record in records.records] == [
            (us("2026-06-02T08:15"), 18210.5, ["one", "two"], "J-7")
        ]


@pytest.mark.parametrize(
    ("row", "kind", "words"),
    [
        ("2026-06-02,G\x001,a,,,,,", "unknown_engine", 'did you mean "G1"?'),
        ("2026-02-30,G1,a,,,,,", "unreadable_record", '"2026-02-30" cannot be read'),
        ("0026-06-02,G1,a,,,,,", "unreadable_record", '"0026-06-02" is outside the years'),
        ("1780394400,G1,a,,,,,", "unreadable_record", '"1780394400" cannot be read'),
        ("Total,,,,,,,", "unreadable_record", '"Total" cannot be read'),
        ("2026-06-02,G1,a,40,5,done,,", "unreadable_record", 'the outcome "5"'),
    ],
)
def test_odd_cells(make_site: MakeSite, row: str, kind: str, words: str) -> None:
    """A null byte, days that do not exist, seconds since 1970, a row of sums, a decimal comma between commas: each is named by row."""
    records = read(make_site({"services.csv": HEADER + "2026-01-01,G1,a,,,,,\n" + row + "\n"}))
    assert [record.line for record in records.records] == [2]
    assert faults_of(records) == [(kind, 3)]
    assert words in records.faults[0].text
