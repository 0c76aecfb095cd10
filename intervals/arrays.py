"""Array types that every stage names alike, and the median without what numpy loads for it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Instants = NDArray[np.int64]
"""UTC microseconds."""
Flags = NDArray[np.bool_]


def median_of(values: NDArray[Any]) -> float:
    """Return the median of at least one number, NaN where one of them is none.

    `np.median` gives the same, and loads numpy.ma, which takes longer than the medians of a hundred engines.

    Args:
        values: numbers in any order.

    Example:
        >>> median_of(np.array([4, 1, 2])), median_of(np.array([4, 1, 2, 3]))
        (2.0, 2.5)
    """
    low, high, last = (len(values) - 1) // 2, len(values) // 2, len(values) - 1
    # NaN stands behind all numbers
    parted = np.partition(values, (low, high, last))
    return math.nan if np.isnan(parted[last]) else float((parted[low] + parted[high]) / 2)
