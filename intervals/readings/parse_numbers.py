"""Texts of figures to numbers: decimal commas, thousands marks, and what is not a number.

In: cells as text, and which mark stands before the decimals. Out: numbers, and the cells that are none. Refuses nothing;
`sniff_marks` says when a file leaves open whether `1,234` is a little over one or over a thousand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Literal, NamedTuple

import numpy as np
import pyarrow as pa

from intervals.arrays import Floats
from intervals.readings.arrow_arrays import EMPTY, NOTHING, flags_of, numbers_of

Mark = Literal[".", ","]

_PLAIN = r"^[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?$"
_PLAIN_PATTERN = re.compile(_PLAIN, re.ASCII)
_ONE_MARK = re.compile(r"[+-]?(\d*)([.,])(\d*)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_GROUPS = re.compile(r"[+-]?\d{1,3}(?:([ '\u2019])\d{3})(?:\1\d{3})*(?:[.,]\d+)?", re.ASCII)
_POINT_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+(?:,\d*)?", re.ASCII)
_COMMA_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d*)?", re.ASCII)
_NOT_FINITE = frozenset({"nan", "inf", "+inf", "-inf", "infinity", "+infinity", "-infinity"})
_GROUP = 3


class Marks(NamedTuple):
    """Which mark stands before the decimals, and how sure that is.

    Attributes:
        decimal: the mark before the decimals.
        is_known: the site file states it, or a figure of the file proves it; then the other mark can only part thousands.
        is_stated: the site file states it; then the other mark is never taken for a decimal mark.
    """

    decimal: Mark = "."
    is_known: bool = False
    is_stated: bool = False


class Figures(NamedTuple):
    """A column of numbers.

    Attributes:
        values: the numbers; NaN where the cell is blank or holds no number.
        odd: row and text of each cell that is not blank and not a finite number.
    """

    values: Floats
    odd: tuple[tuple[int, str], ...] = ()

    @property
    def is_blank(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which cells are blank."""
        blank = np.isnan(self.values)
        blank[[row for row, _ in self.odd]] = False
        return blank


def parse_figure(text: str, marks: Marks) -> float | None:
    """Return the number that a text gives, or None if it gives none or leaves open which.

    Args:
        text: the cell, without surrounding blanks.
        marks: which mark stands before the decimals.

    Returns:
        The number; it may be infinite or NaN where the text says so.

    Example:
        >>> parse_figure("1.234,5", Marks(",", is_known=True))
        1234.5
        >>> parse_figure("1,234", Marks()) is None
        True
    """
    text = text.strip().replace("\u00a0", " ").replace("\u202f", " ").replace("\u2009", " ").replace("\u2212", "-")
    if text.lower() in _NOT_FINITE:
        return float(text)
    if _GROUPS.fullmatch(text):
        text = re.sub(r"[ '\u2019]", "", text)
    comma, point = text.count(","), text.count(".")
    if comma == 0 and (marks.decimal == "." or point == 0):
        return float(text) if _PLAIN_PATTERN.match(text) else _thousands(text, marks)
    if comma + point == 1:
        return _one_mark(text, marks)
    return _thousands(text, marks)


def _one_mark(text: str, marks: Marks) -> float | None:
    """Return the number of a text with a single mark: decimals, thousands, or undecided."""
    match = _ONE_MARK.fullmatch(text)
    if match is None or not (match[1] or match[3]):
        return None
    if match[2] == marks.decimal and marks.is_known:
        return float(text.replace(",", "."))
    may_be_thousands = len(match[3]) == _GROUP and 1 <= len(match[1]) <= _GROUP and match[1][0] != "0"
    if not may_be_thousands:
        return None if marks.is_stated and match[2] != marks.decimal else float(text.replace(",", "."))
    if not marks.is_known:
        # a point alone is the decimal mark of the machine that wrote the file; a comma may be either
        return float(text) if match[2] == "." == marks.decimal else None
    return _thousands(text, marks)


def _thousands(text: str, marks: Marks) -> float | None:
    """Return the number of a text with thousands marks that can be nothing else."""
    if _POINT_GROUPS.fullmatch(text) and (marks.decimal == "," or not marks.is_stated or (text.count(".") > 1 and "," not in text)):
        return float(text.replace(".", "").replace(",", "."))
    if _COMMA_GROUPS.fullmatch(text) and (marks.decimal == "." or not marks.is_stated or (text.count(",") > 1 and "." not in text)):
        return float(text.replace(",", ""))
    return None


def figures_of_texts(texts: pa.Array, marks: Marks) -> Figures:
    """Return the numbers that a column of texts gives.

    Args:
        texts: an array of strings; nulls and blanks are blank cells.
        marks: which mark stands before the decimals.

    Returns:
        The numbers, and the cells that are none.
    """
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    texts = texts.cast(pa.string())
    texts = pc.utf8_trim_whitespace(pc.fill_null(texts, EMPTY) if texts.null_count else texts)
    pointed = pc.replace_substring(texts, ",", ".") if marks.decimal == "," else texts
    plain = pc.match_substring_regex(pointed, _PLAIN)
    if marks.decimal == ",":
        plain = pc.and_(plain, pc.invert(pc.match_substring(texts, ".")))
    values = numbers_of(pc.if_else(plain, pointed, NOTHING).cast(pa.float64()), np.nan).copy()
    not_plain = ~flags_of(plain) | np.isinf(values)
    values[np.isinf(values)] = np.nan
    rest = np.flatnonzero(not_plain & (numbers_of(pc.binary_length(texts), 0) > 0))
    if not len(rest):
        return Figures(values)
    rest_texts: list[str] = [texts[row].as_py() for row in rest.tolist()]
    has_point = bool(pc.any(pc.and_(plain, pc.match_substring(texts, "."))).as_py())
    return _with_rest(values, rest.tolist(), rest_texts, _marks_seen(rest_texts, marks, has_point=has_point))


def _marks_seen(texts: Sequence[str], marks: Marks, *, has_point: bool) -> Marks:
    """Return the marks as the cells that are no plain numbers show them."""
    if marks.is_stated:
        return marks
    other: Mark = "," if marks.decimal == "." else "."
    if other not in {_proves(text) for text in texts}:
        return marks
    if marks.is_known or has_point:
        # both marks stand before decimals in this column: neither is known to part thousands
        return Marks(marks.decimal)
    return Marks(other, is_known=True)


def _with_rest(values: Floats, rows: Sequence[int], texts: Sequence[str], marks: Marks) -> Figures:
    """Return the numbers with those cells that need a closer look filled in."""
    odd: list[tuple[int, str]] = []
    for row, text in zip(rows, texts, strict=True):
        value = parse_figure(text, marks)
        if value is None or not np.isfinite(value):
            odd.append((row, text))
        else:
            values[row] = value
    return Figures(values, tuple(odd))


def _proves(text: str) -> Mark | None:
    """Return the mark that this text proves to stand before decimals, or None."""
    text = text.strip()
    one = _ONE_MARK.fullmatch(text)
    if one:
        leading_zero = one[1].startswith("0")
        if one[3] and (len(one[3]) != _GROUP or leading_zero or len(one[1]) > _GROUP or not one[1]):
            return "." if one[2] == "." else ","
        return None
    if "," in text and "." in text:
        if _POINT_GROUPS.fullmatch(text):
            return ","
        return "." if _COMMA_GROUPS.fullmatch(text) else None
    return None


def sniff_marks(texts: Iterable[str]) -> Marks | None:
    """Return which mark stands before the decimals, judged by some figures of a file.

    Args:
        texts: cells of columns that hold figures.

    Returns:
        The marks; a point where no figure has a comma; None where commas are there and nothing shows what they mean.
    """
    cells = [text for text in texts if "," in text or "." in text]
    if not any("," in text for text in cells):
        return Marks(is_known=any(_proves(text) == "." for text in cells))
    proofs = {proof for proof in map(_proves, cells) if proof}
    if len(proofs) == 1:
        return Marks("," if "," in proofs else ".", is_known=True)
    if proofs:
        return Marks()
    open_comma = any("," in text and (match := _ONE_MARK.fullmatch(text.strip())) and match[3] for text in cells)
    return None if open_comma else Marks()


_SIGNAL_WORDS = {"true": 1.0, "on": 1.0, "false": 0.0, "off": 0.0}


def with_signal_words(figures: Figures) -> Figures:
    """Return the figures of a signal with those that a program wrote as a word."""
    values = figures.values.copy()
    odd: list[tuple[int, str]] = []
    for row, text in figures.odd:
        if (value := _SIGNAL_WORDS.get(text.strip().casefold())) is None:
            odd.append((row, text))
        else:
            values[row] = value
    return Figures(values, tuple(odd))
