"""Parquet logs: typed columns, texts, time zones."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from io import BytesIO
from typing import Any, TypeAlias
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from intervals.problems import ReadingsProblemError
from intervals.readings import read_readings
from intervals.readings.files import parquet_file
from tests.unit.readings.conftest import READINGS, MakeSite, us

Column: TypeAlias = "pa.Array | list[Any]"


def parquet(**columns: object) -> bytes:
    """Return a Parquet file of some columns."""
    sink = BytesIO()
    pq.write_table(pa.table(columns), sink)
    return sink.getvalue()


def log(times: Column, units: Column | None = None, hours: Column | None = None, load: Column | None = None) -> dict[str, bytes]:
    """Return a log with the usual columns."""
    count = len(times)
    units = ["G1"] * count if units is None else units
    hours = [float(row) for row in range(count)] if hours is None else hours
    return {"readings/a.parquet": parquet(Time=times, Unit=units, Hours=hours, P=[100.0] * count if load is None else load)}


NAIVE = [datetime(2026, 7, 1, hour) for hour in range(3)]  # noqa: DTZ001 - local times without zone


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_local_timestamps(make_site: MakeSite, unit: str) -> None:
    """Timestamps without zone are local, in whatever unit they are kept; rows are numbered from 1."""
    site = make_site(log(pa.array(NAIVE, pa.timestamp(unit))))
    rows = read_readings(site, now_us=None).blocks[0]
    assert rows.at_us.tolist() == [us("2026-06-30T22:00"), us("2026-06-30T23:00"), us("2026-07-01T00:00")]
    assert rows.line.tolist() == [1, 2, 3]


@pytest.mark.parametrize("zone", ["UTC", "Asia/Tokyo", "+05:30"])
def test_timestamps_with_zone(make_site: MakeSite, zone: str) -> None:
    """Timestamps with a zone are instants, whatever the zone."""
    moments = [datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)]
    readings = read_readings(make_site(log(pa.array(moments, pa.timestamp("us", zone)))), now_us=None)
    assert readings.blocks[0].at_us.tolist() == [us("2026-10-25T00:30"), us("2026-10-25T01:30")]
    assert readings.faults == []


def test_texts_dates_and_numbers_for_times(make_site: MakeSite) -> None:
    """Times may be texts, dates, or numbers such as 20260701."""
    expected = [us("2026-06-30T22:00"), us("2026-07-01T22:00")]
    for times in (["01.07.2026", "2026-07-02 00:00"], [date(2026, 7, 1), date(2026, 7, 2)], [20260701, 20260702]):
        assert read_readings(make_site(log(times)), now_us=None).blocks[0].at_us.tolist() == expected


def test_date_and_time_columns(make_site: MakeSite) -> None:
    """A column of dates, or of timestamps at midnight, and one of times of day."""
    layout = {**READINGS, "timestamp": {"column": ["Day", "Clock"]}}
    for days in ([date(2026, 7, 1)], pa.array([datetime(2026, 7, 1)], pa.timestamp("ms"))):  # noqa: DTZ001 - a local day
        content = parquet(Day=days, Clock=[time(8, 15)], Unit=["G1"], Hours=[1.0], P=[1.0])
        assert read_readings(make_site({"readings/a.parquet": content}, layout), now_us=None).blocks[0].at_us.tolist() == [
            us("2026-07-01T06:15")
        ]


@pytest.mark.parametrize("kind", [pa.int16(), pa.int64(), pa.float32(), pa.decimal128(25, 2), pa.string()])
def test_types_of_figures(make_site: MakeSite, kind: pa.DataType) -> None:
    """Figures may be whole numbers, floats, decimals or texts; nulls are blanks."""
    hours = pa.array([1, None, 3]).cast(kind)
    values = read_readings(make_site(log(NAIVE, hours=hours)), now_us=None).blocks[0].values["hour_meter_h"]
    assert np.array_equal(values, [1, np.nan, 3], equal_nan=True)


def test_single_precision(make_site: MakeSite) -> None:
    """A figure kept in single precision is what was written, not what its bits are in double precision."""
    hours = pa.array([0.1, 18210.3, float("nan")], pa.float32())
    readings = read_readings(make_site(log(NAIVE, hours=hours)), now_us=None)
    assert readings.blocks[0].values["hour_meter_h"][:2].tolist() == [0.1, 18210.3]
    assert [fault.kind for fault in readings.faults] == ["impossible_value"]


def test_not_a_number_is_no_blank(make_site: MakeSite) -> None:
    """A null is blank; a float that is not a number is named."""
    readings = read_readings(make_site(log(NAIVE, hours=pa.array([1.0, None, float("nan")], from_pandas=False))), now_us=None)
    assert [(fault.kind, fault.line) for fault in readings.faults] == [("impossible_value", 3)]


@pytest.mark.parametrize("units", [["1", "2", "1"], [1, 2, 1], [1.0, 2.0, 1.0], pa.array(["1", "2", "1"]).dictionary_encode()])
def test_types_of_engines(make_site: MakeSite, units: Column) -> None:
    """Engines may be texts, a dictionary or numbers."""
    site = make_site(log(NAIVE, units), None, [{"id": "1"}, {"id": "2"}])
    assert read_readings(site, now_us=None).blocks[0].engine.tolist() == [0, 0, 1]


def test_rows_over_several_chunks(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows keep their number over the chunks in which they are read."""
    monkeypatch.setattr(parquet_file, "_ROWS_A_CHUNK", 2)
    times = [datetime(2026, 7, 1, hour) for hour in range(5)]  # noqa: DTZ001 - local times without zone
    assert read_readings(make_site(log(times, ["G1", "G2", "G1", "G9", "G2"])), now_us=None).blocks[0].line.tolist() == [1, 3, 2, 5]


def test_columns_of_the_wrong_type(make_site: MakeSite) -> None:
    """A column of times where figures are needed, or of figures where times are needed, is refused with its type."""
    with pytest.raises(ReadingsProblemError, match=r'REA015(?s:.*)"Hours" is of type timestamp\[us\], which holds no numbers'):
        read_readings(make_site(log(NAIVE, hours=pa.array(NAIVE, pa.timestamp("us")))), now_us=None)
    with pytest.raises(ReadingsProblemError, match=r'REA015(?s:.*)"Time" is of type double, which holds no times'):
        read_readings(make_site(log([1.5, 2.5])), now_us=None)


def test_daylight_saving(make_site: MakeSite) -> None:
    """Local timestamps in the odd hours are set aside like texts."""
    moments = pa.array([datetime(2026, 3, 29, 2, 30), datetime(2026, 10, 25, 2, 30), datetime(2026, 7, 1)], pa.timestamp("us"))  # noqa: DTZ001
    readings = read_readings(make_site(log(moments)), now_us=None)
    assert [(fault.kind, fault.line) for fault in readings.faults] == [("time_does_not_exist", 1), ("time_comes_twice", 2)]


def test_years_that_cannot_be(make_site: MakeSite) -> None:
    """A null, and a year that no log has, are unreadable times."""
    moments = pa.array([None, datetime(1, 1, 1), datetime(9999, 1, 1), datetime(2026, 7, 1)], pa.timestamp("us"))  # noqa: DTZ001
    readings = read_readings(make_site(log(moments)), now_us=None)
    assert [(fault.kind, fault.line) for fault in readings.faults] == [
        ("unreadable_time", 1),
        ("unreadable_time", 2),
        ("unreadable_time", 3),
    ]
    assert "the time is blank" in readings.faults[0].text


def test_column_name_with_a_dot(make_site: MakeSite) -> None:
    """A dot in a column's name is a letter."""
    content = parquet(**{"Time": NAIVE, "Unit": ["G1"] * 3, "Hours": [1.0, 2.0, 3.0], "P.el": [1.0, 2.0, 3.0]})
    layout = {**READINGS, "quantities": {"hour_meter_h": {"column": "Hours"}, "load_kw": {"column": "P.el"}}}
    assert read_readings(make_site({"readings/a.parquet": content}, layout), now_us=None).blocks[0].values["load_kw"].tolist() == [1, 2, 3]


def test_truncated_file(make_site: MakeSite) -> None:
    """A file that breaks off is refused by name."""
    files = log(NAIVE)
    with pytest.raises(ReadingsProblemError, match=r"REA002 readings/a\.parquet"):
        read_readings(make_site({"readings/a.parquet": files["readings/a.parquet"][:-20]}), now_us=None)


def test_zone_of_the_test_data() -> None:
    """Amsterdam is two hours ahead of UTC in July, as the expected instants say."""
    assert datetime(2026, 7, 1, tzinfo=ZoneInfo("Europe/Amsterdam")).astimezone(UTC).isoformat() == "2026-06-30T22:00:00+00:00"


@pytest.mark.parametrize(
    "times",
    [
        # a stored "infinity", one that leaves 64 bits once counted in microseconds, and a day four million years from now
        pa.array([0, 2**63 - 1, 1], pa.timestamp("us")),
        pa.array([0, 2**63 // 1000 + 10**15, 1], pa.timestamp("ms")),
        pa.array([0, 2**31 - 1, 1], pa.date32()),
    ],
)
def test_times_beyond_the_calendar_are_unreadable(make_site: MakeSite, times: pa.Array) -> None:
    """A time that no calendar reaches sets its own row aside, and is not taken for another."""
    readings = read_readings(make_site(log(times)), now_us=None)
    assert [(fault.kind, fault.line) for fault in readings.faults if fault.line == 2] == [("unreadable_time", 2)]
    assert readings.rows_accepted == 2


ODD_BYTES = b"\xe9"
"""In Windows-1252 an e with an acute accent, in UTF-8 the beginning of a letter that is not there."""


@pytest.mark.parametrize("kind", [pa.string(), pa.large_string(), pa.binary()])
def test_text_that_is_not_utf8_is_read_as_in_a_text_file(make_site: MakeSite, kind: pa.DataType) -> None:
    """A cell whose bytes are not UTF-8 is read as Windows-1252, and the cells beside it as they are: no row is lost for it."""
    names = pa.array(["Süd".encode(), "Süd".encode("cp1252"), None, b"Nord"], pa.large_binary())
    units = names.view(kind) if pa.types.is_large_string(kind) else names.cast(pa.binary()).view(kind)
    times = [datetime(2026, 7, 1, hour) for hour in range(4)]  # noqa: DTZ001 - local times without zone
    readings = read_readings(make_site(log(times, units), None, [{"id": "Nord"}, {"id": "Süd"}]), now_us=None)
    assert (readings.blocks[0].engine.tolist(), readings.blocks[0].line.tolist()) == ([0, 1, 1], [4, 1, 2])
    assert [(fault.kind, fault.line) for fault in readings.faults] == [("unknown_engine", 3)]


@pytest.mark.parametrize(
    ("column", "kind", "shown"),
    [("Unit", "unknown_engine", "G1é"), ("Time", "unreadable_time", "00:00é"), ("Hours", "unreadable_cell", "1é")],
)
def test_text_that_cannot_be_meant_costs_its_row_alone(make_site: MakeSite, column: str, kind: str, shown: str) -> None:
    """Of two rows the one with odd bytes in a column of text is named with what they read as; the other one counts."""
    cells: dict[str, list[bytes]] = {"Unit": [b"G1"] * 2, "Time": [b"2026-07-01 00:00", b"2026-07-02 00:00"], "Hours": [b"1", b"2"]}
    cells[column][0] += ODD_BYTES
    columns = {name: pa.array(values, pa.binary()).view(pa.string()) for name, values in cells.items()}
    readings = read_readings(make_site({"readings/a.parquet": parquet(**columns, P=[100.0, 100.0])}), now_us=None)
    assert [(fault.kind, fault.line, shown in fault.text) for fault in readings.faults] == [(kind, 1, True)]
    assert readings.blocks[0].line.tolist()[-1] == 2
    assert readings.rows_read == 2 == readings.rows_accepted + readings.rows_set_aside


def test_odd_bytes_where_a_chunk_ends(make_site: MakeSite, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where chunks of a file end makes no difference to how its cells are read."""
    units = pa.array([b"G1", b"S\xfcd", "Süd".encode(), b"G1", b"S\xfcd"], pa.binary()).view(pa.string())
    times = [datetime(2026, 7, 1, hour) for hour in range(5)]  # noqa: DTZ001 - local times without zone
    site = make_site(log(times, units), None, [{"id": "G1"}, {"id": "Süd"}])
    for rows_a_chunk in (1, 2, 3, 100):
        monkeypatch.setattr(parquet_file, "_ROWS_A_CHUNK", rows_a_chunk)
        rows = read_readings(site, now_us=None).blocks[0]
        assert (rows.engine.tolist(), rows.line.tolist()) == ([0, 0, 1, 1, 1], [1, 4, 2, 3, 5])


def test_bytes_that_are_text_are_read_as_such(make_site: MakeSite) -> None:
    """Columns of bytes, as some programs write text, are read like text."""
    site = make_site(log(pa.array([b"2026-07-01 00:00"], pa.binary()), pa.array([b"G1"], pa.large_binary())))
    assert read_readings(site, now_us=None).blocks[0].at_us.tolist() == [us("2026-06-30T22:00")]
