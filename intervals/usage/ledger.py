"""The usage ledger: running hours, counts and levels of one engine, summed by piece of day and duty cell.

In: elementary steps and the plan of what the rules ask for. Out: a `Ledger`, additive totals between cuts. A hundred
million rows become a few thousand sums, and each duty cell is judged exactly: nothing is averaged over a threshold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.language.measures import ISO_FLOOR_PCT
from intervals.local_days import HOUR_US
from intervals.rulebook.duty_cells import Cell, CellPlan, CellsOf
from intervals.usage.steps import Steps

# up to so many places of a piece and a possible cell, for each step, all of them are summed: that is faster than to look which occur
MOST_PLACES_A_STEP = 4
FLOORED_LOAD = "load_pct floored at 30"


@dataclass(frozen=True)
class Ledger:
    """Additive totals of one engine.

    Attributes:
        edges_us: the n + 1 cuts between the n pieces, UTC microseconds.
        levels: the levels that cells are made of, in the order of a cell's codes.
        cells: the c cells with running hours (or something of `cell_counts`) in them, each a tuple of codes.
        cell_hours_h: running hours, n x c.
        sums: counter, amount, `mean:LEVEL` (level x hours), `known:LEVEL` (hours on which it is known) -> n totals.
        unknown_h: time of which no meter shows whether the engine ran, n totals in hours.
        doubtful_h: running hours that rest on a bridged meter step, n totals.
        doubtful_steps: how many such steps touch the piece.
        counters_known_from_us: counter -> its first reading.
        cell_counts: counter or amount -> its increase, n x c, for those that are kept apart by cell.
    """

    edges_us: Instants
    levels: tuple[str, ...]
    cells: tuple[Cell, ...]
    cell_hours_h: Floats
    sums: Mapping[str, Floats]
    unknown_h: Floats
    doubtful_h: Floats
    doubtful_steps: Floats
    counters_known_from_us: Mapping[str, int]
    cell_counts: Mapping[str, Floats] = field(default_factory=dict)

    @cached_property
    def running_h(self) -> Floats:
        """Running hours up to each edge, n + 1 values."""
        return cumulated(self.cell_hours_h.sum(axis=1))

    @cached_property
    def cell_running_h(self) -> Floats:
        """Running hours by cell up to each edge, (n + 1) x c."""
        return np.concatenate((np.zeros((1, len(self.cells))), np.cumsum(self.cell_hours_h, axis=0)))

    @cached_property
    def totals(self) -> dict[str, Floats]:
        """Every sum up to each edge, n + 1 values each."""
        return {name: cumulated(values) for name, values in self.sums.items()}

    @cached_property
    def unknown_up_to_h(self) -> Floats:
        """Time of which nothing is known, up to each edge."""
        return cumulated(self.unknown_h)

    @cached_property
    def doubtful_up_to(self) -> tuple[Floats, Floats]:
        """Doubtful hours and steps up to each edge."""
        return cumulated(self.doubtful_h), cumulated(self.doubtful_steps)

    def edge(self, at_us: int) -> int:
        """Return the index of an instant that is an edge.

        Raises:
            KeyError: it is none.
        """
        index = int(self.edges_us.searchsorted(at_us))
        if index == len(self.edges_us) or self.edges_us[index] != at_us:
            raise KeyError(at_us)
        return index


def cumulated(values: Floats) -> Floats:
    """Return the running total with a zero in front."""
    return np.concatenate((np.zeros(1), np.cumsum(values)))


def build_ledger(steps: Steps, edges_us: Instants, plan: CellPlan) -> Ledger:
    """Return the sums of the steps between the edges.

    Args:
        steps: elementary steps; every edge is one of their nodes.
        edges_us: rising cuts, first and last being those of the steps.
        plan: which thresholds to keep apart, which means to sum.

    Returns:
        The ledger; two ledgers of the same edges and levels add up cell by cell.
    """
    pieces = len(edges_us) - 1
    # every edge is a node, so that the nodes from one to the next are those of a piece
    lengths = np.diff(steps.at_us.searchsorted(edges_us))
    piece = np.repeat(np.arange(pieces), lengths)
    hours = steps.hours_h
    by_cell = {name: steps.increments[name] for name in sorted(plan.counts_by_cell) if name in steps.increments}
    cells, (cell_hours, *cell_counts) = _sum_cells(steps, lengths, (hours, *by_cell.values()), plan)
    of_cells = dict(zip(by_cell, cell_counts, strict=True))
    sums = {
        name: of_cells[name].sum(axis=1) if name in of_cells else _summed(piece, values, pieces)
        for name, values in steps.increments.items()
    }
    for level in sorted(plan.means):
        values = steps.levels.get(level)
        if values is None:
            continue
        known = (hours > 0) & ~np.isnan(values)
        sums[f"known:{level}"] = _summed(piece[known], hours[known], pieces)
        sums[f"mean:{level}"] = _summed(piece[known], hours[known] * values[known], pieces)
        if level == "load_pct":
            floored = np.maximum(values[known], ISO_FLOOR_PCT) * hours[known]
            sums[FLOORED_LOAD] = _summed(piece[known], floored, pieces)
    unknown, doubtful = np.flatnonzero(~steps.is_known), np.flatnonzero(steps.doubtful)
    return Ledger(
        edges_us,
        tuple(plan.thresholds),
        cells,
        cell_hours,
        sums,
        _summed(piece[unknown], (steps.at_us[unknown + 1] - steps.at_us[unknown]) / HOUR_US, pieces),
        _summed(piece[doubtful], hours[doubtful], pieces),
        _summed(piece[doubtful], np.ones(len(doubtful)), pieces),
        steps.counters_known_from_us,
        of_cells,
    )


def _summed(piece: NDArray[np.int64], values: Floats, pieces: int) -> Floats:
    """Return the sum of the values of each piece."""
    return np.bincount(piece, weights=values, minlength=pieces).astype(np.float64, copy=False)


def _sum_cells(steps: Steps, lengths: NDArray[np.int64], summed: Sequence[Floats], plan: CellPlan) -> tuple[tuple[Cell, ...], list[Floats]]:
    """Return the cells in which there is something of what is summed, and each thing by piece and cell.

    Args:
        steps: elementary steps.
        lengths: how many of them each piece has.
        summed: what is summed, of each step.
        plan: which thresholds to keep apart.
    """
    pieces = len(lengths)
    places = np.repeat(np.arange(pieces), lengths)
    levels = steps.levels
    lies_in = CellsOf(levels, plan.thresholds, len(places))
    cells: list[Cell] | None = None
    if lies_in.possible * pieces <= MOST_PLACES_A_STEP * len(places):
        count, cell = lies_in.possible, lies_in.numbers()
    else:
        # most steps of an engine that stands still are in cells of which nothing is wanted
        kept = np.flatnonzero(np.logical_or.reduce([values > 0 for values in summed]))
        places, summed = places[kept], [values[kept] for values in summed]
        levels = {level: levels[level][kept] for level in plan.thresholds if level in levels}
        cells, cell = CellsOf(levels, plan.thresholds, len(kept)).present()
        count = len(cells)
    places *= count
    places += cell
    tables = [_summed(places, values, pieces * count).reshape(pieces, count) for values in summed]
    filled = np.flatnonzero(np.logical_or.reduce([(np.ones(pieces) @ table) > 0 for table in tables]))
    filled_cells = tuple(lies_in.cell(number) if cells is None else cells[number] for number in filled.tolist())
    return filled_cells, [table.take(filled, axis=1) for table in tables]
