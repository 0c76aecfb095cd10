"""The names that a column of words holds, however its reader keeps them."""

from __future__ import annotations

from itertools import pairwise

import pyarrow as pa
import pytest

from intervals.readings.column_values import names_of

ROWS = ["G1", "G2", None, "G1", "", "G3"]


def plain(words: list[str | None]) -> pa.Array:
    """Return words one by one."""
    return pa.array(words, pa.string())


def numbered(words: list[str | None]) -> pa.Array:
    """Return words by their numbers in a list that has each once."""
    return plain(words).dictionary_encode()


def with_nothing(words: list[str | None]) -> pa.Array:
    """Return words by their numbers in a list of which one is no word."""
    listed = [*dict.fromkeys(words)]
    return pa.DictionaryArray.from_arrays(pa.array([listed.index(word) for word in words], pa.int32()), pa.array(listed, pa.string()))


@pytest.mark.parametrize("kept", [plain, numbered, with_nothing])
@pytest.mark.parametrize("cuts", [[0, 6], [0, 2, 6], [0, 1, 1, 4, 6]])
def test_names_of_each_row(kept: object, cuts: list[int]) -> None:
    """In one piece or several, each with a list of its own: every row has its name, and one without any has the empty one."""
    assert callable(kept)
    pieces = [kept(ROWS[start:end]) for start, end in pairwise(cuts)]
    names, place = names_of(pa.chunked_array(pieces))
    assert [names[index] for index in place] == [word or "" for word in ROWS]
    assert len(set(names)) == len(names)
    assert place.dtype == "int32"


def test_more_names_together_than_the_numbers_of_a_chunk_reach() -> None:
    """Two pieces with a hundred names each, numbered in a byte."""
    words = [f"G{number}" for number in range(200)]
    pieces = [pa.DictionaryArray.from_arrays(pa.array(range(100), pa.int8()), plain([*words[start : start + 100]])) for start in (0, 100)]
    names, place = names_of(pa.chunked_array(pieces))
    assert [names[index] for index in place] == words


def test_no_rows() -> None:
    """A column of no rows has no names."""
    names, place = names_of(pa.chunked_array([numbered([])]))
    assert (names, len(place)) == ([], 0)
