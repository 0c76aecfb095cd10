"""Where rows stand among the nodes of an engine's steps: the short cut against the plain search."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.usage.meter.meter_course import ActiveTime
from intervals.usage.step_nodes import Nodes, each_once

moments = st.lists(st.integers(0, 60), min_size=1, max_size=25, unique=True).map(sorted)


def _array(values: list[int]) -> np.ndarray:
    """Return instants as the nodes take them."""
    return np.array(values, dtype=np.int64)


@given(st.lists(moments, min_size=1, max_size=3), moments, st.integers(0, 60), st.integers(1, 60))
def test_the_nodes_are_all_instants_of_the_span_once(rows: list[list[int]], extra: list[int], start: int, length: int) -> None:
    """Nodes are the rows and the further instants of the span with its two ends, each once and rising."""
    end = start + length
    nodes = Nodes([_array(row) for row in rows], _array(extra), start, end)
    expected = {at for at in [*extra, *(at for row in rows for at in row)] if start <= at <= end} | {start, end}
    assert nodes.at_us.tolist() == sorted(expected)


@given(st.lists(moments, min_size=1, max_size=2), moments, st.integers(0, 60), st.integers(1, 60), st.data())
def test_a_line_and_a_count_are_those_of_the_plain_search(
    rows: list[list[int]], extra: list[int], start: int, length: int, data: st.DataObject
) -> None:
    """At every node a line is what numpy's interpolation says, and the count of earlier instants what its search says.

    The line's corners are the rows, the rows with one instant more or less, or instants that have nothing to do with them.
    """
    nodes = Nodes([_array(row) for row in rows], _array(extra), start, start + length)
    corners = data.draw(
        st.one_of(
            st.just(rows[0]),
            st.integers(-5, 65).map(lambda at: sorted({*rows[0], at})),
            st.integers(0, 60).map(lambda at: sorted({*rows[0], 61} - {at})),
            moments,
        )
    )
    at_us = _array(corners)
    values = np.array(data.draw(st.lists(st.floats(0, 1e6), min_size=len(corners), max_size=len(corners))))
    assert nodes.along(at_us, values, ActiveTime()).tolist() == np.interp(nodes.at_us, at_us, values).tolist()
    assert nodes.count_up_to(at_us).tolist() == [sum(corner <= node for corner in corners) for node in nodes.at_us[:-1].tolist()]


def test_time_in_a_lay_up_moves_no_line() -> None:
    """A line from 0 at 0 to 10 at 20 that is laid up from 5 to 15 is half-way all through the lay-up."""
    nodes = Nodes([_array([0, 20])], _array([5, 15]), 0, 20)
    line = nodes.along(_array([0, 20]), np.array([0.0, 10.0]), ActiveTime(((5, 15),)))
    assert line.tolist() == pytest.approx([0.0, 5.0, 5.0, 10.0], abs=1e-6)


@given(st.lists(moments, min_size=1, max_size=3), st.integers(0, 60), st.integers(0, 60))
def test_each_instant_of_a_span_comes_once(parts: list[list[int]], start: int, end: int) -> None:
    """Instants of several lists come once each, rising, and only those of the span; of an empty span none."""
    expected = sorted({at for part in parts for at in part if start <= at <= end})
    assert each_once([_array(part) for part in parts], start, end).tolist() == expected
