"""Rows and repeated rows of files of any layout: their order, their places, their count."""

from __future__ import annotations

import numpy as np
import pytest

from tests.unit.readings.conftest import READINGS, MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, faults_of, read, rows_of

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


@pytest.mark.parametrize("name", ["at_us", "line", "file", "time", "engine"])
def test_a_quantity_may_be_called_as_a_column_of_the_rows(make_site: MakeSite, name: str) -> None:
    """A site's own quantity keeps its figures, and the rows keep their times and places, repeated rows included."""
    own = {"hour_meter_h": {"column": "Hours"}, name: {"column": "P", "kind": "level", "unit": "kW"}}
    site = make_site({"readings/a.csv": HEADER + "2026-01-01,G1,1,7\n2026-01-02,G1,2,8\n2026-01-02,G1,2,9\n"}, block(quantities=own))
    readings = read(site)
    assert [row[1:] for row in rows_of(readings, site)] == [
        (us("2025-12-31T23:00"), 2, {"hour_meter_h": 1, name: 7}),
        (us("2026-01-01T23:00"), 3, {"hour_meter_h": 2, name: 8}),
    ]
    assert [(fault.kind, fault.file, fault.line, fault.at_us) for fault in readings.faults] == [
        ("conflicting_row", "readings/a.csv", 4, us("2026-01-01T23:00"))
    ]
