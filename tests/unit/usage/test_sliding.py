"""The heaviest window of a load that is constant from step to step."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.usage.sliding import heaviest_window
from tests.properties.bounded import bounded

STEPS = st.lists(st.tuples(st.integers(min_value=0, max_value=8), st.integers(min_value=0, max_value=20)), min_size=1, max_size=25)


def by_brute_force(steps: list[tuple[int, int]], window: int) -> float:
    """Return the highest mean over every window that begins at a whole unit, summed unit by unit."""
    units = [level for length, level in steps for _ in range(length)]
    if len(units) <= window:
        return sum(units) / len(units)
    return max(sum(units[start : start + window]) for start in range(len(units) - window + 1)) / window


@bounded(100)
@given(steps=STEPS, window=st.integers(min_value=1, max_value=24))
def test_it_equals_the_best_of_all_windows(steps: list[tuple[int, int]], window: int) -> None:
    """With steps and window of whole units the best window begins at a whole unit, so trying all of them finds it."""
    found = heaviest_window(np.array([float(step[0]) for step in steps]), np.array([float(step[1]) for step in steps]), float(window))
    if not sum(length for length, _ in steps):
        assert found is None
        return
    assert found is not None
    assert found.mean == pytest.approx(by_brute_force(steps, window))


@bounded(100)
@given(
    steps=st.lists(st.tuples(st.floats(min_value=0.01, max_value=9.0), st.floats(min_value=0.0, max_value=110.0)), min_size=1, max_size=20),
    window=st.floats(min_value=0.5, max_value=24.0),
    at=st.floats(min_value=0.0, max_value=1.0),
)
def test_no_window_anywhere_is_heavier(steps: list[tuple[float, float]], window: float, at: float) -> None:
    """A window of the same length put anywhere, summed step by step, never has a higher mean."""
    lengths, levels = (np.array(column) for column in zip(*steps, strict=True))
    found = heaviest_window(lengths, levels, window)
    assert found is not None
    total = float(lengths.sum())
    width = min(window, total)
    start = at * (total - width)
    ends = np.cumsum(lengths)
    inside = np.clip(np.minimum(ends, start + width) - np.maximum(ends - lengths, start), 0.0, None)
    assert float((inside * levels).sum()) / width <= found.mean + 1e-6


def test_the_best_window_may_begin_inside_a_step() -> None:
    """2 h at 50, 3 h at 100, 5 h at 60; of 6 h: 1 h at 50 + 3 h at 100 + 2 h at 60 = 470, but 3 h at 100 + 3 h at 60 = 480."""
    found = heaviest_window(np.array([2.0, 3.0, 5.0]), np.array([50.0, 100.0, 60.0]), 6.0)
    assert found is not None
    assert (found.start, found.end, found.mean) == (2.0, 8.0, 80.0)
    # the heavy hours at the end: the window ends there and begins inside the first step
    found = heaviest_window(np.array([5.0, 3.0]), np.array([60.0, 100.0]), 4.0)
    assert found is not None
    assert (found.start, found.end, found.mean) == (4.0, 8.0, 90.0)


def test_less_than_a_window_is_taken_whole() -> None:
    """3 h at 80 and 1 h at 40 are 70 on average; nothing at all is no window."""
    found = heaviest_window(np.array([3.0, 0.0, 1.0]), np.array([80.0, 999.0, 40.0]), 24.0)
    assert found is not None
    assert (found.start, found.end, found.mean) == (0.0, 4.0, 70.0)
    assert heaviest_window(np.array([0.0]), np.array([50.0]), 24.0) is None
