"""Batches of rows to one sorted block."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from intervals.readings import merge, spill_file
from intervals.readings.merge import RowCollector
from intervals.readings.normalise import RowBatch
from intervals.readings.rows import BlockRows
from intervals.readings.spill_file import SpillFile
from intervals.site.model import Site
from tests.unit.readings.conftest import MakeSite

ENGINES = [{"id": f"G{number}"} for number in range(4)]
Row = tuple[int, int]


def batch(rows: list[Row], first_line: int, file: int = 0) -> RowBatch:
    """Return rows of engine and time as a batch; the hour meter tells the line, so that each row can be told."""
    line = np.arange(first_line, first_line + len(rows), dtype=np.int32)
    engine = np.array([row[0] for row in rows], dtype=np.int32)
    at_us = np.array([row[1] for row in rows], dtype=np.int64)
    for column in (line, engine, at_us):
        column.flags.writeable = False
    return RowBatch(file, line, engine, at_us, {"hour_meter_h": line.astype(np.float64)})


def merged(site: Site, batches: list[RowBatch], most_bytes: int | None = None) -> tuple[BlockRows, list[int]]:
    """Return the rows of some batches and the lines of those set aside."""
    with pytest.MonkeyPatch.context() as patch:
        if most_bytes is not None:
            patch.setattr(spill_file, "MOST_BYTES_HELD", most_bytes)
        return collected(site, batches)


def collected(site: Site, batches: list[RowBatch]) -> tuple[BlockRows, list[int]]:
    """Return the rows of some batches and the lines of those set aside, with as much in memory as may be."""
    collector = RowCollector(site, site.readings[0], ("a.csv", "b.csv"), SpillFile())
    for each in batches:
        collector.add(each)
    rows, faults = collector.finish()
    return rows, sorted(fault.line or 0 for fault in faults)


@given(
    parts=st.lists(st.lists(st.tuples(st.integers(0, 3), st.integers(-5, 5)), max_size=12), max_size=5),
    most_bytes=st.sampled_from([0, 100, None]),
    most_rows=st.sampled_from([1, 5, 1 << 20]),
)
@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_order_is_that_of_a_stable_sort(make_site: MakeSite, parts: list[list[Row]], most_bytes: int | None, most_rows: int) -> None:
    """However rows are cut into batches and wherever they are kept, they come out as by Python's stable sort, each time once."""
    site = make_site(engines=ENGINES)
    batches, line = [], 2
    for part in parts:
        batches.append(batch(part, line))
        line += len(part)
    everything = [(row, number) for number, row in enumerate((row for part in parts for row in part), start=2)]
    expected: dict[Row, int] = {}
    for row, number in sorted(everything, key=lambda entry: entry[0]):
        expected.setdefault(row, number)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(merge, "_MOST_ROWS_A_PART", most_rows)
        rows, aside = merged(site, batches, most_bytes)
    assert list(zip(rows.engine.tolist(), rows.at_us.tolist(), strict=True)) == list(expected)
    assert rows.line.tolist() == rows.values["hour_meter_h"].tolist() == list(expected.values())
    assert aside == sorted({number for _, number in everything} - set(expected.values()))


@pytest.mark.parametrize("engines", [200, 300, 40_000])
def test_many_engines(make_site: MakeSite, engines: int) -> None:
    """As many engines as fit into eight bits, sixteen, or neither are sorted as well."""
    site = make_site(engines=[{"id": f"G{number}"} for number in range(engines)])
    collector = RowCollector(site, site.readings[0], ("a.csv",), SpillFile())
    collector.add(batch([(engines - 1, 1), (engines // 2, 1), (0, 2)], 2))
    assert collector.finish()[0].line.tolist() == [4, 3, 2]


def test_batch_without_a_column(make_site: MakeSite) -> None:
    """A quantity that a batch does not have is blank there."""
    site = make_site()
    batches = [
        RowBatch(0, np.array([2], np.int32), np.array([1], np.int32), np.array([5], np.int64), {"hour_meter_h": np.array([1.0])}),
        RowBatch(1, np.array([2], np.int32), np.array([0], np.int32), np.array([9], np.int64), {"load_kw": np.array([2.0])}),
    ]
    rows, aside = merged(site, batches)
    assert aside == []
    assert (rows.engine.tolist(), rows.file.tolist()) == ([0, 1], [1, 0])
    assert np.array_equal(rows.values["hour_meter_h"], [np.nan, 1], equal_nan=True)
    assert np.array_equal(rows.values["load_kw"], [2, np.nan], equal_nan=True)


def test_nothing(make_site: MakeSite) -> None:
    """No batches make an empty block with all its columns."""
    site = make_site()
    rows, _ = merged(site, [])
    assert len(rows) == 0
    assert {name: len(column) for name, column in rows.values.items()} == {"hour_meter_h": 0, "load_kw": 0}


def test_rows_of_one_engine(make_site: MakeSite) -> None:
    """The rows of one engine are put together from all batches, each with its file and line; an engine without rows has none."""
    site = make_site(engines=ENGINES)
    rows, _ = merged(site, [batch([(2, 1), (0, 1)], 2), batch([(0, 2), (2, 2)], 4, file=1)])
    found = [rows.of_engine(engine) for engine in range(5)]
    assert [each is None for each in found] == [False, True, False, True, True]
    told = [(each.at_us.tolist(), each.values["hour_meter_h"].tolist(), [each.place(row) for row in (0, 1)]) for each in found if each]
    assert told == [([1, 2], [3, 4], [("a.csv", 3), ("b.csv", 4)]), ([1, 2], [2, 5], [("a.csv", 2), ("b.csv", 5)])]
    assert [column.tolist() for column in rows.lines_of(2)] == [[0, 1], [2, 5]]
    assert rows.rows.span_us == (1, 2)
    with pytest.raises(IndexError):
        next(each for each in found if each).place(2)
