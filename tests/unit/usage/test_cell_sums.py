"""Hours and counts summed by piece and duty cell: the same however many cells there may be, and by whichever way they are found."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.rulebook import duty_cells as cells
from intervals.rulebook.duty_cells import CellPlan, CellsOf
from intervals.usage import ledger
from intervals.usage.ledger import build_ledger
from intervals.usage.steps import Steps

HOUR_US = 3_600_000_000
LEVELS = ("load_pct", "fuel_sulphur_pct", "oil_temp_c")
# of each step: hours run, starts, levels
STEP = st.tuples(
    st.sampled_from([0.0, 0.25, 1.0]), st.sampled_from([0.0, 1.0]), *(st.sampled_from([np.nan, 0.0, 1.0, 2.0, 7.5, 200.0]) for _ in LEVELS)
)


def steps_of(rows: list[tuple[float, ...]]) -> Steps:
    """Return hourly steps."""
    hours, starts, *levels = (np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))
    count = len(rows)
    return Steps(
        np.arange(count + 1) * HOUR_US,
        hours,
        np.ones(count, dtype=np.bool_),
        np.zeros(count, dtype=np.bool_),
        dict(zip(LEVELS, levels, strict=True)),
        {"starts": starts},
        {},
    )


def plain_cell(value: float, thresholds: tuple[float, ...]) -> int:
    """Return the cell of a value, threshold by threshold."""
    return 2 * len(thresholds) + 1 if np.isnan(value) else sum((value >= threshold) + (value > threshold) for threshold in thresholds)


@pytest.mark.parametrize("counts", [(1, 1, 1), (2, 3, 0), (10, 1, 0), (62, 0, 0), (63, 0, 0), (100, 0, 0), (30, 30, 30), (0, 0, 0)])
@pytest.mark.parametrize("places_a_step", [0, ledger.MOST_PLACES_A_STEP, 10_000])
@given(st.lists(STEP, min_size=1, max_size=30), st.data())
def test_sums_are_those_of_adding_step_by_step(
    counts: tuple[int, ...], places_a_step: int, rows: list[tuple[float, ...]], data: st.DataObject
) -> None:
    """Thresholds 1, 2, 3 and so on of each level that has any; whatever is cut where, each hour and each start is in its piece and cell."""
    thresholds = {
        level: tuple(float(number) for number in range(1, count + 1)) for level, count in zip(LEVELS, counts, strict=True) if count
    }
    steps = steps_of(rows)
    inner = data.draw(st.sets(st.integers(1, len(rows)), max_size=3))
    edges = sorted({0, len(rows), *inner})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ledger, "MOST_PLACES_A_STEP", places_a_step)
        summed = build_ledger(steps, np.array(edges) * HOUR_US, CellPlan(thresholds, counts_by_cell=frozenset({"starts"})))
    expected: dict[tuple[int, tuple[int, ...]], list[float]] = defaultdict(lambda: [0.0, 0.0])
    for number, (hours, starts, *values) in enumerate(rows):
        piece = sum(number >= edge for edge in edges) - 1
        cell = tuple(plain_cell(value, thresholds[level]) for level, value in zip(LEVELS, values, strict=True) if level in thresholds)
        expected[piece, cell][0] += hours
        expected[piece, cell][1] += starts
    found = {
        (piece, cell): [float(summed.cell_hours_h[piece, place]), float(summed.cell_counts["starts"][piece, place])]
        for piece in range(len(edges) - 1)
        for place, cell in enumerate(summed.cells)
    }
    assert {place: told for place, told in found.items() if any(told)} == {place: told for place, told in expected.items() if any(told)}
    assert set(summed.cells) == {cell for (_, cell), told in expected.items() if any(told)}, "a cell of nothing is none"
    assert list(summed.cells) == sorted(summed.cells)
    assert summed.sums["starts"].tolist() == [
        sum(told[1] for (piece, _), told in expected.items() if piece == number) for number in range(len(edges) - 1)
    ]


@given(st.lists(STEP, min_size=1, max_size=30))
def test_cells_are_found_the_same_by_each_way(rows: list[tuple[float, ...]]) -> None:
    """Counted, sorted, or too many to be numbered at all."""
    levels = steps_of(rows).levels
    thresholds = {"fuel_sulphur_pct": (1.0, 2.0), "load_pct": (0.5, 7.5, 100.0), "not_logged": (4.0,)}
    found = []
    for counted, numbered in ((1000, 2**62), (1, 2**62), (1, 1)):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(cells, "MOST_COUNTED", counted)
            patch.setattr(cells, "MOST_NUMBERED", numbered)
            present, place = CellsOf(levels, thresholds, len(rows)).present()
            found.append([present[number] for number in place.tolist()])
            assert present == sorted(set(found[-1]))
    expected = [(plain_cell(sulphur, (1.0, 2.0)), plain_cell(load, (0.5, 7.5, 100.0)), 3) for _, _, load, sulphur, _ in rows]
    assert found == [expected, expected, expected]


def test_more_cells_than_can_be_numbered() -> None:
    """Thirteen levels of thirty thresholds each have 62 to the power of 13 cells, more than 64 bits can count: each step is in its own."""
    names = [f"level_{number}" for number in range(13)]
    levels = {name: np.array([float(number), 40.0]) for number, name in enumerate(names)}
    thresholds = dict.fromkeys(names, tuple(float(place) for place in range(30)))
    present, place = CellsOf(levels, thresholds, 2).present()
    # at threshold n is cell 2 n + 1, above all thirty is cell 60
    assert [present[number] for number in place.tolist()] == [tuple(2 * number + 1 for number in range(13)), (60,) * 13]


def test_cells_that_no_one_lies_in_take_no_room() -> None:
    """Nine levels of thirty thresholds: ten to the power of sixteen cells can be, two are, and the sums stand row by row in memory."""
    names = [f"level_{number}" for number in range(9)]
    steps = steps_of([(1.0, 0.0, 5.0, 0.0, 0.0), (0.25, 1.0, 9.0, 0.0, 0.0), (0.0, 0.0, 20.0, 0.0, 0.0)])
    steps = steps._replace(levels=dict.fromkeys(names, steps.levels["load_pct"]))
    plan = CellPlan(dict.fromkeys(names, tuple(float(place) for place in range(30))), counts_by_cell=frozenset({"starts"}))
    summed = build_ledger(steps, np.arange(4) * HOUR_US, plan)
    # at threshold n is cell 2 n + 1; nothing runs in the third step
    assert summed.cells == ((11,) * 9, (19,) * 9)
    assert summed.cell_hours_h.tolist() == [[1.0, 0.0], [0.0, 0.25], [0.0, 0.0]]
    assert summed.cell_hours_h.flags.c_contiguous
