"""Columns of text and their bytes, whole and as parts of longer columns."""

from __future__ import annotations

from itertools import pairwise

import pyarrow as pa
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.arrow_arrays import letters_of, text_column

TEXTS = st.lists(st.none() | st.text(st.sampled_from("ab \u00e4\u20ac"), max_size=5), max_size=20)


@given(TEXTS, st.integers(0, 20), st.integers(0, 20))
def test_letters_of_a_part_of_a_column_are_its_own(texts: list[str | None], start: int, count: int) -> None:
    """Of any part of a column the bytes between two bounds are each text in UTF-8; an empty cell has none."""
    part = pa.array(texts, type=pa.string()).slice(start, count)
    bounds, data = letters_of(part)
    assert len(bounds) == len(part) + 1
    held = [data[first:last].tobytes() for first, last in pairwise(bounds)]
    assert held == [(text or "").encode() for text in texts[start : start + count]]


def test_letters_of_no_rows_and_of_rows_of_nothing() -> None:
    """A column without rows has one bound and no letters; empty cells have bounds and nothing between them."""
    assert [each.tolist() for each in letters_of(pa.array([], type=pa.string()))] == [[0], []]
    assert letters_of(pa.nulls(2, pa.string()))[0].tolist() == [0, 0, 0]


@given(TEXTS, st.integers(0, 20), st.integers(0, 20))
def test_a_column_made_of_texts_holds_them(texts: list[str | None], start: int, count: int) -> None:
    """Texts go in and come out, as Arrow itself reads them, from a part of the column too."""
    column = text_column(texts)
    column.validate(full=True)
    assert column.slice(start, count).to_pylist() == texts[start : start + count]
