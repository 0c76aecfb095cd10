"""Whether the quotes in some lines of a text file can be read in one way only.

In: the bytes of whole lines. Out: yes, or no where only a look at each line says what is meant. Refuses nothing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags

Places = NDArray[np.intp]
_PIECE_BYTES = 1 << 20
_QUOTE, _LINE_END = b'"\n'


def is_well_quoted(data: bytes | memoryview, separator: str) -> bool:
    """Say whether each quote opens or closes a whole cell, is one of two that stand for one in such a cell, or is a letter.

    A quote is a letter where it stands within a cell that does not begin with one: `5" pipe`. That is taken for sure only in lines in
    which no cell begins with a quote. Source: RFC 4180, section 2, for quotes around cells.

    Args:
        data: whole lines, in which a carriage return stands at the end of a line only.
        separator: what parts the fields.

    Example:
        >>> is_well_quoted(b'1;"5"" pipe"', ";"), is_well_quoted(b'1;5" pipe', ";"), is_well_quoted(b'1;"5" pipe";2', ";")
        (True, True, False)
    """
    letters = np.frombuffer(data, dtype=np.uint8)
    is_border = np.zeros(256, dtype=np.bool_)
    is_border[[*separator.encode(), *b"\r\n"]] = True
    is_beside = is_border.copy()
    # before an opening and behind a closing quote may stand another one: the two close the cell and open it again
    is_beside[_QUOTE] = True
    return _all_enclose(letters, is_beside) or _all_enclose_or_are_letters(letters, is_border, is_beside)


def _all_enclose(letters: NDArray[np.uint8], is_beside: Flags) -> bool:
    """Say whether every quote encloses a cell; a quoted cell may run over line ends."""
    count = 0
    # in pieces that stay in the processor's cache
    for start in range(0, len(letters), _PIECE_BYTES):
        quotes = np.flatnonzero(letters[start : start + _PIECE_BYTES] == _QUOTE)
        opening, closing = quotes[count % 2 :: 2], quotes[(count + 1) % 2 :: 2]
        if not _enclose(opening, closing, letters, is_beside, start):
            return False
        count += len(quotes)
    return count % 2 == 0


def _all_enclose_or_are_letters(letters: NDArray[np.uint8], is_border: Flags, is_beside: Flags) -> bool:
    """Say whether every quote encloses a cell that ends in its line, or stands in a line in which no cell begins with a quote."""
    quotes = np.flatnonzero(letters == _QUOTE)
    line = np.searchsorted(np.flatnonzero(letters == _LINE_END), quotes)
    is_enclosing = np.zeros(int(line[-1]) + 1, dtype=np.bool_)
    is_enclosing[line[(quotes == 0) | is_border[letters[quotes - 1]]]] = True
    if (is_enclosing & (np.bincount(line) % 2 == 1)).any():
        return False
    enclosing = quotes[is_enclosing[line]]
    return _enclose(enclosing[0::2], enclosing[1::2], letters, is_beside)


def _enclose(opening: Places, closing: Places, letters: NDArray[np.uint8], is_beside: Flags, start: int = 0) -> bool:
    """Say whether what stands before opening and behind closing quotes, given by their places from a start on, parts cells."""
    if not start and len(opening) and opening[0] == 0:
        opening = opening[1:]
    if len(closing) and start + closing[-1] == len(letters) - 1:
        closing = closing[:-1]
    before = letters[start - 1 :].take(opening) if start else letters.take(opening - 1)
    return bool(is_beside.take(before).all() and is_beside.take(letters[start + 1 :].take(closing)).all())
