"""Cells of tables that a spreadsheet opens: text that it would run as a formula gets an apostrophe in front.

In: a cell. Out: whether it would be run; a cell that is not; text without what steers a terminal. Refuses nothing.
"""

from __future__ import annotations

from unicodedata import category

_UNSEEN = ("Cc", "Cs", "Co", "Zl", "Zp")
_STEERS = ("Cf",)
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n")


def would_run(cell: object) -> bool:
    """Tell whether a spreadsheet would take a cell for a formula or a command; only text can be run."""
    return isinstance(cell, str) and cell.startswith(_RUNS)


def defused(cell: object) -> object:
    """Return a cell that no spreadsheet runs."""
    return f"'{cell}" if would_run(cell) else cell


def only_shown(text: str) -> str:
    """Return text without characters that show nothing: a blank in the place of each control, nothing for a change of direction.

    Example:
        >>> only_shown("A" + chr(27) + "[2JB" + chr(0x202E))
        'A [2JB'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join("" if (kind := category(each)) in _STEERS else " " if kind in _UNSEEN else each for each in text)
