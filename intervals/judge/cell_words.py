"""A duty cell in words.

In: the thresholds of a level and a cell's code. Out: text.
"""

from __future__ import annotations


def cell_text(thresholds: tuple[float, ...], code: int) -> str:
    """Return a duty cell of one level in words, such as `between 50 and 90` (both ends excluded) or `exactly 90`.

    Example:
        >>> [cell_text((50.0, 90.0), code) for code in range(6)]
        ['below 50', 'exactly 50', 'between 50 and 90', 'exactly 90', 'above 90', 'unknown']
    """
    if code > 2 * len(thresholds):
        return "unknown"
    if not thresholds:
        return "any"
    if code % 2:
        return f"exactly {thresholds[code // 2]:.15g}"
    if code == 0:
        return f"below {thresholds[0]:.15g}"
    if code == 2 * len(thresholds):
        return f"above {thresholds[-1]:.15g}"
    return f"between {thresholds[code // 2 - 1]:.15g} and {thresholds[code // 2]:.15g}"
