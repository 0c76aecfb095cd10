"""Duty cells: the thresholds that rules name for a level cut its range into cells, in each of which every condition is decided.

In: conditions, levels. Out: thresholds, codes and cells, and the value that stands for a cell. Refuses nothing: an unknown level has a
code of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats
from intervals.language.conditions import Comparison, Condition, comparisons_of

Codes = NDArray[np.signedinteger]
Cell = tuple[int, ...]
"""The codes of the levels, in their order."""

DECIMALS = 6
# so many codes, and their number, fit into a byte
MOST_BYTE_CODES = 127
# up to so many possible cells a table of all of them is faster than sorting
MOST_COUNTED = 100_000
# so many cells can be numbered
MOST_NUMBERED = 2**62


def cell_of(values: Floats, thresholds: tuple[float, ...]) -> Codes:
    """Return the duty cell of each value: 0 to 2k for k thresholds (odd cells are the thresholds), 2k + 1 for unknown.

    A value counts as what it is when rounded to a millionth.
    """
    # comparisons are added as bytes: widening each of them takes longer than to compare
    code: Codes = np.zeros(len(values), dtype=_kind_of(2 * len(thresholds) + 2))
    for threshold in thresholds:
        for line in _lines_of(threshold):
            code += (values >= line).view(np.int8)
    is_unknown = np.isnan(values)
    if is_unknown.any():
        code[is_unknown] = 2 * len(thresholds) + 1
    return code


def _kind_of(count: int) -> type[np.signedinteger]:
    """Return the kind of numbers for so many codes."""
    return np.int8 if count <= MOST_BYTE_CODES else np.int64


@cache
def _lines_of(threshold: float) -> tuple[float, float]:
    """Return the least figure that is the threshold when rounded or above it, and the least one that is above it.

    Rounding keeps figures in order, so that comparing them with these is to round them all, and quicker.
    """
    near = np.round(threshold, DECIMALS)
    width = max(10.0**-DECIMALS, float(np.spacing(abs(near))))
    return (
        _least(lambda value: bool(np.round(value, DECIMALS) >= threshold), near - 2 * width, near + 2 * width),
        _least(lambda value: bool(np.round(value, DECIMALS) > threshold), near - 2 * width, near + 2 * width),
    )


def _least(holds: Callable[[np.float64], bool], low: np.float64, high: np.float64) -> float:
    """Return the least figure of a span for which something holds that holds of every greater one, and of the span's upper end."""
    while True:
        middle = low + (high - low) / 2
        if middle in (low, high):
            return float(high)
        low, high = (low, middle) if holds(middle) else (middle, high)


def thresholds_of(conditions: Iterable[Condition], levels: Container[str]) -> dict[str, tuple[float, ...]]:
    """Return the thresholds that conditions name for each level, rising, by the levels' names in order.

    Args:
        conditions: the conditions.
        levels: the names that are levels; what else a condition asks for has no thresholds.
    """
    named: dict[str, set[float]] = {}
    for condition in conditions:
        for part in comparisons_of(condition):
            if part.name in levels:
                named.setdefault(part.name, set()).update(_numbers(part))
    return {name: tuple(sorted(values)) for name, values in sorted(named.items())}


def _numbers(part: Comparison) -> list[float]:
    """Return the numbers that a comparison names."""
    values = part.value if isinstance(part.value, tuple) else (part.value,)
    return [round(float(value), DECIMALS) for value in values if isinstance(value, int | float) and not isinstance(value, bool)]


def cell_levels(cell: Cell, thresholds: Mapping[str, tuple[float, ...]]) -> dict[str, float | None]:
    """Return a representative value for each level of a duty cell: the threshold itself, or one between two; None for unknown."""
    return {level: representative(of_level, code) for (level, of_level), code in zip(thresholds.items(), cell, strict=True)}


def representative(thresholds: Sequence[float], code: int) -> float | None:
    """Return the value that stands for a cell of the k thresholds (codes 0 to 2k, and 2k + 1 for unknown)."""
    if code > 2 * len(thresholds):
        return None
    if not thresholds:
        return 0.0
    if code % 2:
        return thresholds[code // 2]
    if code == 0:
        return thresholds[0] - 1.0
    if code == 2 * len(thresholds):
        return thresholds[-1] + 1.0
    return (thresholds[code // 2 - 1] + thresholds[code // 2]) / 2.0


class CellsOf:
    """The cells that some levels lie in.

    Args:
        levels: the levels that are known anywhere, a value a step.
        thresholds: by each level that counts, in the order of a cell's codes.
        count: how many steps there are.
    """

    def __init__(self, levels: Mapping[str, Floats], thresholds: Mapping[str, tuple[float, ...]], count: int) -> None:
        self._levels = levels
        self._thresholds = thresholds
        self._count = count
        self._sizes = [2 * len(of_level) + 2 for of_level in thresholds.values()]
        self.possible = math.prod(self._sizes)

    def numbers(self) -> Codes:
        """Return the number of each step's cell among all that there can be, of which there must not be too many to be numbered."""
        number: Codes = np.zeros(self._count, dtype=_kind_of(self.possible))
        for level, size in zip(self._thresholds, self._sizes, strict=True):
            number *= size
            number += self._codes(level).astype(number.dtype, copy=False)
        return number

    def cell(self, number: int) -> Cell:
        """Return the cell of a number, below `possible`."""
        codes = []
        for size in reversed(self._sizes):
            number, code = divmod(number, size)
            codes.append(code)
        return tuple(reversed(codes))

    def present(self) -> tuple[list[Cell], Codes]:
        """Return the cells in which there is any step, rising, and in which of them each step lies."""
        if self.possible > MOST_NUMBERED:
            codes = [self._codes(level) for level in self._thresholds]
            table, place = np.unique(np.stack(codes, axis=1), axis=0, return_inverse=True)
            return [tuple(cell) for cell in table.tolist()], place.reshape(-1)
        numbers = self.numbers()
        if self.possible > MOST_COUNTED:
            present, place = np.unique(numbers, return_inverse=True)
        else:
            occurs = np.bincount(numbers, minlength=self.possible) > 0
            present, place = np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[numbers]
        return [self.cell(number) for number in present.tolist()], place

    def _codes(self, level: str) -> Codes:
        """Return the codes of a level."""
        values, thresholds = self._levels.get(level), self._thresholds[level]
        return np.full(self._count, 2 * len(thresholds) + 1) if values is None else cell_of(values, thresholds)


@dataclass(frozen=True)
class CellPlan:
    """What the ledger must keep apart and sum.

    Attributes:
        thresholds: level -> the thresholds that rules name for it, rising.
        means: levels of which the mean is asked, or the average power of ISO 8528-1.
        counts_by_cell: counters and amounts that are kept apart by cell, as hours are.
    """

    thresholds: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    means: frozenset[str] = frozenset()
    counts_by_cell: frozenset[str] = frozenset()

    @property
    def levels(self) -> frozenset[str]:
        """Every level that the ledger needs."""
        return frozenset(self.thresholds) | self.means

    def joined(self, other: CellPlan) -> CellPlan:
        """Return the plan that serves both."""
        names = [*self.thresholds, *(name for name in other.thresholds if name not in self.thresholds)]
        thresholds = {name: tuple(sorted({*self.thresholds.get(name, ()), *other.thresholds.get(name, ())})) for name in names}
        return CellPlan(thresholds, self.means | other.means, self.counts_by_cell | other.counts_by_cell)
