"""The code of a card as a picture that a phone reads: a QR code (ISO/IEC 18004), drawn as one path.

In: the code. Out: the path and its size. Refuses nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import segno

_QUIET = 4
"""Modules that must stay white around the code (ISO/IEC 18004)."""


class CodePicture(NamedTuple):
    """A QR code: `path` of squares of one unit, in a square of `size` units with its white border."""

    path: str
    size: int


def code_picture(code: str) -> CodePicture:
    """Return the picture of a code, with error correction that still reads where 15 % are smudged.

    Args:
        code: the code of a card.
    """
    rows = segno.make(code, error="m", micro=False).matrix
    squares = (f"M{x + _QUIET} {y + _QUIET}h1v1h-1z" for y, row in enumerate(rows) for x, dark in enumerate(row) if dark)
    return CodePicture("".join(squares), len(rows) + 2 * _QUIET)
