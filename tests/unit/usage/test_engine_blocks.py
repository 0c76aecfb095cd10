"""What the rows of a block tell of each step, against a plain loop over steps and rows."""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.local_days import HOUR_US
from intervals.usage.engine_blocks import BlockOfEngine, BlockView, QuantityRows, held_until_us
from intervals.usage.meter.meter_course import ActiveTime
from intervals.usage.step_nodes import Nodes


class Made(NamedTuple):
    """A block of one quantity, what is cut besides, and the engine's first moment; all times are small whole numbers."""

    times: list[int]
    values: list[float]
    covers_before: bool
    gap: int
    holds_for: int | None
    in_service: int | None
    cuts: list[int]
    start: int
    end: int

    def rows(self, kind: str, *, is_row_mean: bool = False) -> QuantityRows:
        """Return the quantity."""
        return QuantityRows(kind, np.array(self.values), self.holds_for, is_row_mean)

    def block(self) -> BlockOfEngine:
        """Return the block."""
        times = np.array(self.times, dtype=np.int64)
        return BlockOfEngine(times, self.covers_before, self.gap, {"x": self.rows("level")}, lambda row: ("log.csv", row))

    def view(self) -> tuple[BlockView, list[tuple[int, int]]]:
        """Return the view of the block, and the steps as start and end."""
        block = self.block()
        first_day = [] if self.in_service is None else [self.in_service]
        extra = np.concatenate([np.array([*self.cuts, *first_day], dtype=np.int64), *held_until_us(block)])
        nodes = Nodes([block.at_us], extra, self.start, self.end)
        at_us = nodes.at_us.tolist()
        return BlockView(block, nodes, self.in_service), list(pairwise(at_us))

    def own_step(self, row: int) -> tuple[int, int]:
        """Return the step that a row describes: from the row before it, or the first day, to it; or from it to the next, or for a gap."""
        if not self.covers_before:
            return self.times[row], (self.times[row + 1] if row + 1 < len(self.times) else self.times[row] + self.gap)
        if row:
            return self.times[row - 1], self.times[row]
        has_first_day = self.in_service is not None and self.in_service < self.times[0]
        return (self.in_service if has_first_day and self.in_service is not None else self.times[0]), self.times[0]

    def telling(self, start: int, end: int) -> int | None:
        """Return the row whose own step, if that is no gap, a step lies in; None where there is none."""
        for row in range(len(self.times)):
            own_start, own_end = self.own_step(row)
            if own_start <= start and end <= own_end and own_end - own_start <= self.gap:
                return row
        return None

    def held(self, start: int, end: int) -> float:
        """Return the last value that is stamped before a step and holds to its end, NaN where there is none."""
        stamped = [(at, value) for at, value in zip(self.times, self.values, strict=True) if at <= start and not np.isnan(value)]
        if self.holds_for is None or not stamped or end > stamped[-1][0] + self.holds_for:
            return np.nan
        return stamped[-1][1]


@st.composite
def made_blocks(draw: st.DrawFn) -> Made:
    """Make a block of some rows in 0 to 60, with blanks, gaps, and ends of the span anywhere."""
    times = draw(st.lists(st.integers(0, 60), min_size=1, max_size=12, unique=True).map(sorted))
    figures = st.integers(1, 9).map(float) | st.just(float("nan"))
    values = draw(st.lists(figures, min_size=len(times), max_size=len(times)))
    start = draw(st.integers(0, 60))
    return Made(
        times,
        values,
        covers_before=draw(st.booleans()),
        gap=draw(st.integers(1, 40)),
        holds_for=draw(st.none() | st.integers(1, 30)),
        in_service=draw(st.none() | st.integers(0, 60)),
        cuts=draw(st.lists(st.integers(0, 60), max_size=5)),
        start=start,
        end=start + draw(st.integers(1, 60)),
    )


@given(made_blocks())
def test_a_step_is_told_by_the_row_whose_own_step_it_lies_in(made: Made) -> None:
    """A step tells something where it lies in a row's own step that is no longer than a gap."""
    view, steps = made.view()
    assert view.covered.tolist() == [made.telling(*step) is not None for step in steps]


@given(made_blocks())
def test_a_level_is_the_rows_own_or_one_that_still_holds(made: Made) -> None:
    """On each step the value of the row that tells of it; where that is none or blank, the last one that holds on."""
    view, steps = made.view()
    expected = []
    for start, end in steps:
        row = made.telling(start, end)
        own = np.nan if row is None else made.values[row]
        expected.append(made.held(start, end) if np.isnan(own) else own)
    np.testing.assert_array_equal(view.level(made.rows("level"), None), expected)


@given(made_blocks(), st.data())
def test_a_mean_over_the_row_is_that_of_its_running_hours(made: Made, data: st.DataObject) -> None:
    """A row's mean times the length of its own step over the hours that the engine ran in it; unknown where it did not run."""
    view, steps = made.view()
    ran = data.draw(st.lists(st.sampled_from([0.0, 0.5, 2.0]), min_size=len(made.times), max_size=len(made.times)))
    made = made._replace(holds_for=None)
    expected = []
    for start, end in steps:
        row = made.telling(start, end)
        own_start, own_end = (0, 0) if row is None else made.own_step(row)
        is_known = row is not None and ran[row] > 0
        expected.append(made.values[row] * (own_end - own_start) / HOUR_US / ran[row] if row is not None and is_known else np.nan)
    np.testing.assert_allclose(view.level(made.rows("level", is_row_mean=True), np.array(ran)), expected)


@given(made_blocks())
def test_an_amount_is_spread_over_its_own_step(made: Made) -> None:
    """Each step has its share by time of every row's amount, gaps too; with nothing before or after it, a row's falls at its stamp."""
    view, steps = made.view()
    expected = [0.0] * len(steps)
    for row, amount in enumerate(made.values):
        own_start, own_end = made.own_step(row)
        if made.covers_before and own_start == own_end:
            own_start = own_end - 1
        if not made.covers_before and row == len(made.times) - 1:
            own_end = own_start + 1
        for place, (start, end) in enumerate(steps):
            share = max(0, min(end, own_end) - max(start, own_start)) / (own_end - own_start)
            expected[place] += 0.0 if np.isnan(amount) else amount * share
    np.testing.assert_allclose(view.amount(made.rows("amount"), ActiveTime()), expected, atol=1e-9)


def test_an_amount_leaves_a_lay_up_out() -> None:
    """12 L between 0 and 20, laid up from 5 to 15: 6 L before it, none in it, 6 L after it."""
    made = Made([0, 20], [0.0, 12.0], True, 40, None, None, [5, 15], 0, 20)
    view, steps = made.view()
    assert steps == [(0, 5), (5, 15), (15, 20)]
    assert view.amount(made.rows("amount"), ActiveTime(((5, 15),))).tolist() == pytest.approx([6.0, 0.0, 6.0], abs=1e-6)


def test_held_values_run_out_before_the_next_one_or_not() -> None:
    """Of values at 0, 10 and 30 that hold for 15 the first is followed in time; the second ends at 25, the last at 45."""
    block = Made([0, 10, 20, 30], [1.0, 2.0, float("nan"), 3.0], True, 40, 15, None, [], 0, 60).block()
    assert [ends.tolist() for ends in held_until_us(block)] == [[25, 45]]
