"""The figures of rows: units, marks, limits, and cells that are taken as blank."""

from __future__ import annotations

import pytest

from tests.unit.readings.conftest import MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, faults_of, problems_of, read, rows_of


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
