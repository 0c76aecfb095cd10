"""Text that a spreadsheet would take for a formula or a command, told and made harmless.

In: a cell. Out: whether a spreadsheet would run it, and the cell as it may stand in a CSV file.
"""

from __future__ import annotations

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")


def would_run(cell: object) -> bool:
    """Tell whether a spreadsheet would take a cell for a formula or a command; only text can be run."""
    return isinstance(cell, str) and cell.startswith(_RUNS)


def defused(cell: object) -> object:
    """Return a cell that no spreadsheet runs."""
    return f"'{cell}" if would_run(cell) else cell
