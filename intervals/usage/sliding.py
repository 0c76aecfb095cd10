"""The heaviest window of a load that is constant from step to step, found exactly.

In: lengths and levels of consecutive steps, and the window's length. Out: where the mean is highest. The sum over a sliding window
bends only where one of its ends meets a step's border, so its highest value stands at a border: nothing is sampled.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats

GRAIN = 1e-9


class HeaviestWindow(NamedTuple):
    """The window with the highest mean (start and end in the steps' own unit of length, from the first step's start)."""

    start: float
    end: float
    mean: float


def heaviest_window(lengths: Floats, levels: Floats, window: float) -> HeaviestWindow | None:
    """Return the window of a given length over which the mean level is highest; of several the first.

    Args:
        lengths: of the steps, in order; steps of no length are passed over.
        levels: the level on each step.
        window: the window's length, above zero; where the steps are shorter than that, they are the window.

    Returns:
        The window, or None where the steps have no length at all.

    Example:
        >>> heaviest_window(np.array([2.0, 3.0, 5.0]), np.array([50.0, 100.0, 60.0]), 4.0)
        HeaviestWindow(start=2.0, end=6.0, mean=90.0)
    """
    kept = lengths > 0
    borders = np.concatenate(([0.0], np.cumsum(lengths[kept])))
    areas = np.concatenate(([0.0], np.cumsum(lengths[kept] * levels[kept])))
    total = float(borders[-1])
    if total <= 0:
        return None
    if total <= window:
        return HeaviestWindow(0.0, total, float(areas[-1]) / total)
    last = total - window
    starts = np.concatenate((borders, borders - window, [last]))
    starts = np.unique(starts[(starts >= 0) & (starts <= last)])
    sums = np.interp(starts + window, borders, areas) - np.interp(starts, borders, areas)
    first = int(np.flatnonzero(sums >= sums.max() - GRAIN * max(1.0, float(sums.max())))[0])
    start = float(starts[first])
    return HeaviestWindow(start, start + window, float(sums[first]) / window)
