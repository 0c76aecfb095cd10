"""Batches of rows to one sorted block."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.merge import merge_batches, sorted_order
from intervals.readings.normalise import RowBatch
from tests.unit.readings.conftest import MakeSite


@pytest.mark.parametrize(
    ("engine", "at_us", "expected"),
    [
        ([0, 0, 1], [1, 2, 0], None),
        ([0, 0, 1], [1, 1, 0], None),
        ([1, 0, 1, 0], [1, 1, 2, 2], [1, 3, 0, 2]),
        ([0, 0, 0], [3, 1, 2], [1, 2, 0]),
        ([0, 0, 0], [1, 0, 1], [1, 0, 2]),
        ([40_000, 0], [1, 1], [1, 0]),
        ([], [], None),
    ],
)
def test_order(engine: list[int], at_us: list[int], expected: list[int] | None) -> None:
    """Rows in order are left alone; others are sorted by engine, then time, equal ones staying as they were."""
    order = sorted_order(np.array(engine, dtype=np.int32), np.array(at_us, dtype=np.int64))
    assert (None if order is None else order.tolist()) == expected


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(-5, 5)), max_size=40))
def test_order_is_that_of_a_stable_sort(rows: list[tuple[int, int]]) -> None:
    """The order is the one that Python's own stable sort gives."""
    order = sorted_order(np.array([row[0] for row in rows], dtype=np.int32), np.array([row[1] for row in rows], dtype=np.int64))
    expected = sorted(range(len(rows)), key=lambda place: rows[place])
    assert (list(range(len(rows))) if order is None else order.tolist()) == expected


def test_batch_without_a_column(make_site: MakeSite) -> None:
    """A quantity that a batch does not have is blank there; the list of batches is emptied, so that memory is given back."""
    site = make_site()
    batches = [
        RowBatch(0, np.array([2], np.int32), np.array([1], np.int32), np.array([5], np.int64), {"hour_meter_h": np.array([1.0])}),
        RowBatch(1, np.array([2], np.int32), np.array([0], np.int32), np.array([9], np.int64), {"load_kw": np.array([2.0])}),
    ]
    rows, faults = merge_batches(site, site.readings[0], batches, ("a", "b"))
    assert faults == []
    assert batches == []
    assert (rows.engine.tolist(), rows.file.tolist()) == ([0, 1], [1, 0])
    assert np.array_equal(rows.values["hour_meter_h"], [np.nan, 1], equal_nan=True)
    assert np.array_equal(rows.values["load_kw"], [2, np.nan], equal_nan=True)


def test_nothing(make_site: MakeSite) -> None:
    """No batches make an empty block with all its columns."""
    site = make_site()
    rows, _ = merge_batches(site, site.readings[0], [], ())
    assert len(rows) == 0
    assert {name: len(column) for name, column in rows.values.items()} == {"hour_meter_h": 0, "load_kw": 0}
