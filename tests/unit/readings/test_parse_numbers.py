"""Texts of figures to numbers."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from intervals.readings.parse_numbers import Marks, figures_of_texts, parse_figure, sniff_marks

POINT = Marks()
POINT_KNOWN = Marks(".", is_known=True)
POINT_STATED = Marks(".", is_known=True, is_stated=True)
COMMA_KNOWN = Marks(",", is_known=True)
COMMA_STATED = Marks(",", is_known=True, is_stated=True)


@pytest.mark.parametrize(
    ("text", "unknown", "point", "point_stated", "comma", "comma_stated"),
    [
        ("12", 12, 12, 12, 12, 12),
        ("12.5", 12.5, 12.5, 12.5, 12.5, None),
        ("12,5", 12.5, 12.5, None, 12.5, 12.5),
        ("1.234", 1.234, 1.234, 1.234, 1234, 1234),
        ("1,234", None, 1234, 1234, 1.234, 1.234),
        ("0,250", 0.25, 0.25, None, 0.25, 0.25),
        ("0.250", 0.25, 0.25, 0.25, 0.25, None),
        ("1.234,5", 1234.5, 1234.5, None, 1234.5, 1234.5),
        ("1,234.5", 1234.5, 1234.5, 1234.5, 1234.5, None),
        ("1.234.567", 1234567, 1234567, 1234567, 1234567, 1234567),
        ("1,234,567", 1234567, 1234567, 1234567, 1234567, 1234567),
        ("1 234,5", 1234.5, 1234.5, None, 1234.5, 1234.5),
        ("1'234.5", 1234.5, 1234.5, 1234.5, 1234.5, None),
        ("12\u202f345", 12345, 12345, 12345, 12345, 12345),
        ("1e3", 1000, 1000, 1000, 1000, 1000),
        ("+7", 7, 7, 7, 7, 7),
        ("\u22123,5", -3.5, -3.5, None, -3.5, -3.5),
        ("1234567.890", 1234567.89, 1234567.89, 1234567.89, 1234567.89, None),
    ],
)
def test_one_figure(
    text: str, unknown: float | None, point: float | None, point_stated: float | None, comma: float | None, comma_stated: float | None
) -> None:
    """A mark that can only be one thing is read so; where it may be two, only what is known of the file decides."""
    all_marks = (POINT, POINT_KNOWN, POINT_STATED, COMMA_KNOWN, COMMA_STATED)
    assert [parse_figure(text, marks) for marks in all_marks] == [unknown, point, point_stated, comma, comma_stated]


@pytest.mark.parametrize(
    "text", ["n/a", "-", "12 h", "0x10", "1_000", "1.2.3", "1,23,456", "12,5,1", "1 23", "1 2345", ".", ",", "1e9999x", "\u0663"]
)
def test_what_is_no_figure(text: str) -> None:
    """Words, units, odd groups: no number is made of them."""
    assert parse_figure(text, POINT) is None
    assert parse_figure(text, COMMA_KNOWN) is None


def test_column_of_figures() -> None:
    """Plain numbers, blanks, a comma, and three cells that are no finite numbers."""
    figures = figures_of_texts(pa.array(["12.5", None, "", "  7 ", "12,5", "n/a", "nan", "-1e400"]), POINT)
    assert np.array_equal(figures.values, [12.5, np.nan, np.nan, 7, 12.5, np.nan, np.nan, np.nan], equal_nan=True)
    assert figures.odd == ((5, "n/a"), (6, "nan"), (7, "-1e400"))
    assert figures.is_blank.tolist() == [False, True, True, False, False, False, False, False]


def test_comma_shown_by_the_column_itself() -> None:
    """Where no figure of the column has a point, 12,5 proves the comma, and so 1,234 is a little over one."""
    assert figures_of_texts(pa.array(["1,234", "12,5", "7"]), POINT).values.tolist() == [1.234, 12.5, 7]


def test_both_marks_before_decimals() -> None:
    """Where both 12.5 and 12,5 are written, 1,234 may be either and is left open."""
    figures = figures_of_texts(pa.array(["12.5", "12,5", "1,234"]), POINT_KNOWN)
    assert figures.values[:2].tolist() == [12.5, 12.5]
    assert figures.odd == ((2, "1,234"),)


def test_comma_column() -> None:
    """With a decimal comma, a point parts thousands."""
    figures = figures_of_texts(pa.array(["1.234,5", "1.234", "-0,5"]), COMMA_STATED)
    assert (figures.values.tolist(), figures.odd) == ([1234.5, 1234, -0.5], ())


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (["12.5", "1"], POINT_KNOWN),
        (["12,5", "1"], COMMA_KNOWN),
        (["1.234,5"], COMMA_KNOWN),
        (["1,234.5"], POINT_KNOWN),
        (["1", "2", ""], POINT),
        (["1.234"], POINT),
        (["1,234"], None),
        (["1,234", "12,5"], COMMA_KNOWN),
        (["12.5", "12,5"], POINT),
        (["n/a"], POINT),
        ([], POINT),
    ],
)
def test_sniffed_marks(texts: list[str], expected: Marks | None) -> None:
    """Some figures prove the mark; none with a comma means a point; only 1,234 leaves it open."""
    assert sniff_marks(texts) == expected
