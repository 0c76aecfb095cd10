"""Cells of tables that a spreadsheet opens: text that it would run as a formula gets an apostrophe in front.

In: a cell. Out: whether it would be run; a cell that is not. Refuses nothing.
"""

from __future__ import annotations

_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")


def would_run(cell: object) -> bool:
    """Tell whether a spreadsheet would take a cell for a formula or a command; only text can be run."""
    return isinstance(cell, str) and cell.startswith(_RUNS)


def defused(cell: object) -> object:
    """Return a cell that no spreadsheet runs."""
    return f"'{cell}" if would_run(cell) else cell
