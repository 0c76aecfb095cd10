"""What the hours and the starts of each duty cell count for a task.

In: what the rule book says of each cell, an engine's ledger, the rules of the task. Out: `Weights`. Whether a rule holds on a cell was
judged by the rule book; here their effects are put together and hours added up.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats
from intervals.rulebook.inference import Verdict
from intervals.rules.effects.effects_together import hours_of_start, weight_of_hour
from intervals.rules.effects.rule_effect import Bounds
from intervals.rules.tasks import Adjustment
from intervals.usage.ledger import Ledger

Names = tuple[str, ...]


@dataclass(frozen=True)
class Weights:
    """What the hours and starts of each duty cell count for one task.

    Attributes:
        hour_weight: what an hour of each cell counts by the rules that fired on it, in equivalent hours, inside the rule set's limits.
        fired: the rules that fired, by cell.
        unknown: the rules that could not be judged, by cell.
        equivalent_h: equivalent hours up to each edge of the ledger, those of starts with them.
        unknown_h: hours on which some rule could not be judged, up to each edge.
        start_h: equivalent hours that each start in a cell counts.
        start_fired: the rules about starts that fired, by cell.
        start_unknown: the rules about starts that could not be judged, by cell.
        outside_h: hours of which some rule leaves unknown what they count, up to each edge; they count zero. None where no rule does so.
    """

    hour_weight: Floats
    fired: tuple[Names, ...]
    unknown: tuple[Names, ...]
    equivalent_h: Floats
    unknown_h: Floats
    start_h: Floats
    start_fired: tuple[Names, ...]
    start_unknown: tuple[Names, ...]
    outside_h: Floats | None = None

    @cached_property
    def cells_fired(self) -> Mapping[str, list[int]]:
        """The cells on which each rule fired."""
        return _cells_by_rule(self.fired)

    @cached_property
    def cells_unknown(self) -> Mapping[str, list[int]]:
        """The cells on which each rule could not be judged."""
        return _cells_by_rule(self.unknown)


class CellCount(NamedTuple):
    """What the hours and starts of one duty cell count for one task; its fields are those of `Weights`."""

    hour_weight: float
    fired: Names
    unknown: Names
    start_h: float
    start_fired: Names
    start_unknown: Names
    is_outside: bool


def count_of_cell(
    verdict: Verdict, limits: Mapping[str, Bounds], hourly: Sequence[Adjustment], per_start: Sequence[Adjustment]
) -> CellCount:
    """Return what a duty cell counts: what the rules that fired on it make of its hours and of its starts.

    Args:
        verdict: what the rule book says of it.
        limits: how far all effects of one class together may go, by key.
        hourly: the task's rules that weigh hours.
        per_start: the task's rules that make starts count as hours.
    """
    hits, started = _hits(verdict, hourly), _hits(verdict, per_start)
    return CellCount(
        weight_of_hour([rule.hour_effect for rule in hits], limits),
        tuple([rule.id for rule in hits]),
        tuple([rule.id for rule in hourly if rule.id in verdict.unknown]),
        hours_of_start([rule.start_effect for rule in started]),
        tuple([rule.id for rule in started]),
        tuple([rule.id for rule in per_start if rule.id in verdict.unknown]),
        any(rule.effect.leaves_unknown for rule in hits),
    )


def weigh_cells(
    ledger: Ledger, counts: Sequence[CellCount], starts_by_cell: Floats | None, *, leaves_unknown: bool, weighs_starts: bool
) -> Weights:
    """Return what the hours and starts of an engine count for a task.

    Args:
        ledger: the engine's ledger.
        counts: what each of its cells counts.
        starts_by_cell: starts by cell up to each edge; None where none are counted.
        leaves_unknown: whether some rule of the task leaves unknown what hours count.
        weighs_starts: whether some rule of the task makes starts count as hours.
    """
    columns = list(zip(*counts, strict=True)) if counts else [()] * len(CellCount._fields)
    hour_weight, fired, unknown, start_h, start_fired, start_unknown, is_outside = columns
    weight, each_start_h = np.array(hour_weight, dtype=np.float64), np.array(start_h, dtype=np.float64)
    cells, nothing = ledger.cell_running_h, np.zeros(len(ledger.edges_us))
    equivalent = cells @ weight if counts else nothing
    unknown_h = cells @ np.array([1.0 if names else 0.0 for names in unknown]) if counts else nothing
    if weighs_starts and starts_by_cell is not None:
        equivalent = equivalent + starts_by_cell @ each_start_h
    outside_h: Floats | None = cells @ np.array(is_outside, dtype=np.float64) if leaves_unknown else None
    return Weights(weight, fired, unknown, equivalent, unknown_h, each_start_h, start_fired, start_unknown, outside_h)


def _hits(verdict: Verdict, rules: Sequence[Adjustment]) -> list[Adjustment]:
    """Return the rules that count on a cell: those that hold, and those that say so where it is unknown."""
    return [rule for rule in rules if rule.id in verdict.holds or (rule.id in verdict.unknown and rule.when_unknown == "holds")]


def _cells_by_rule(names: Sequence[Names]) -> Mapping[str, list[int]]:
    """Return the places of the cells that name each rule."""
    cells: defaultdict[str, list[int]] = defaultdict(list)
    for index, named in enumerate(names):
        for name in named:
            cells[name].append(index)
    return cells
