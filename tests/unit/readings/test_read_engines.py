"""Which engine a row is of: by a column, by the name of its file, by the columns of a wide file."""

from __future__ import annotations

from pathlib import Path

from tests.unit.readings.conftest import MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, faults_of, problems_of, read, rows_of

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


def test_wide_row_later_than_the_clock(make_site: MakeSite) -> None:
    """A wide row in the future is one fault, of no engine."""
    readings = read(make_site({"readings/w.csv": "Time,Out,G1 Hours,G1 kW\n2026-01-01,5,1,\n2026-01-02,6,2,\n"}, WIDE), "2026-01-01T12:00")
    assert [(fault.engine, fault.kind, fault.line) for fault in readings.faults] == [(None, "row_in_future", 3)]


def test_an_unknown_engine_is_answered_with_the_nearest(make_site: MakeSite) -> None:
    """A slip in a name is told with what may be meant and where to state it; a stranger alone; of many only the first are asked."""
    names = ["G-1", "turbine", *(f"G{number}x" for number in range(2, 40))]
    rows = "".join(f"2026-01-01,{name},1,\n" for name in names)
    texts = [fault.text for fault in read(make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,\n" + rows})).faults]
    assert texts[0] == (
        'no engine "G-1" is declared; the row is set aside; did you mean "G1"? then state it under engine_names in site.yaml'
    )
    assert texts[1] == 'no engine "turbine" is declared; the row is set aside'
    assert len(texts) == len(names)
    assert not any("did you mean" in text for text in texts[20:])


def test_a_file_name_and_a_wide_column_may_stand_for_several(make_site: MakeSite) -> None:
    """The file of both sets counts for each; in a wide file the column of the plant is each engine's own; each file row counts once."""
    layout = block(engine={"from_file_name": "_(\\w+)"}, engine_names={"both": ["G1", "G2"]})
    site = make_site({"readings/log_both.csv": "Time,Hours,P\n2026-01-01,1,5\n2026-01-02,2,6\n"}, layout)
    readings = read(site)
    assert [(engine, line) for engine, _, line, _ in rows_of(readings, site)] == [("G1", 2), ("G1", 3), ("G2", 2), ("G2", 3)]
    assert (readings.rows_read, readings.rows_accepted) == (2, 2)
    quantities = {"load_kw": {"column": "{engine} kW"}, "fuel_sulphur_pct": {"column": "{engine} S"}}
    wide = {**WIDE, "quantities": quantities, "engine_names": {"Plant": "all"}}
    site = make_site({"readings/log_both.csv": "Time,Out,G1 kW,G2 kW,Plant S\n2026-01-01,5,1,2,0.5\n"}, wide)
    assert [(engine, values) for engine, _, _, values in rows_of(read(site), site)] == [
        ("G1", {"load_kw": 1.0, "fuel_sulphur_pct": 0.5}),
        ("G2", {"load_kw": 2.0, "fuel_sulphur_pct": 0.5}),
    ]


def test_rows_of_all_engines_among_those_of_each(make_site: MakeSite) -> None:
    """A row of both at the time of one of G1's own repeats it, and still counts for G2; the row that comes first counts."""
    text = HEADER + "2026-01-01,G1,1,\n2026-01-01,both,2,\n2026-01-02,both,3,\n2026-01-02,G2,3,\n"
    site = make_site({"readings/a.csv": text}, block(engine_names={"both": ["G2", "G1"]}))
    readings = read(site)
    assert [(engine, line, values["hour_meter_h"]) for engine, _, line, values in rows_of(readings, site)] == [
        ("G1", 2, 1.0),
        ("G1", 4, 3.0),
        ("G2", 3, 2.0),
        ("G2", 4, 3.0),
    ]
    told = [(fault.engine, fault.kind, fault.line) for fault in readings.faults]
    assert told == [("G1", "conflicting_row", 3), ("G2", "duplicate_row", 5)]
    assert (readings.rows_read, readings.rows_accepted, readings.rows_set_aside) == (4, 3, 1)
