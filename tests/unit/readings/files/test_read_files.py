"""Files that are missing, empty, of another kind or encoding, and problems told at once."""

from __future__ import annotations

import math
from copy import deepcopy
from typing import Any

import pyarrow as pa
import pytest

from intervals.problems import ReadingsProblemError
from intervals.readings import read_readings
from intervals.readings.files import csv_columns, csv_file, encodings
from tests.unit.readings.conftest import READINGS, MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, faults_of, problems_of, read, rows_of


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
    with pytest.raises(ReadingsProblemError, match='the encoding utf-8: the byte 0xd6 after "2026-01-01,"') as refused:
        read(make_site({"readings/a.csv": late}, block(csv={"encoding": "utf-8"})))
    assert [problem.code for problem in refused.value.problems] == ["REA006"]


def test_want_of_memory_is_no_fault_of_the_file(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch) -> None:
    """What Arrow raises where there is no memory is an error of its own kind; the file is not to blame."""

    def fail(*_: object, **__: object) -> None:
        message = "malloc of size 8388608 failed"
        raise pa.ArrowMemoryError(message)

    monkeypatch.setattr(csv_columns.ColumnReader, "_table", fail)
    with pytest.raises(MemoryError, match="malloc"):
        read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n"}))


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
    monkeypatch.setattr(csv_file, "whole_lines_of", lambda stream: encodings.whole_lines_of(stream, size))
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
