"""Whether a file has times at all: what is said of it, and that it does not matter how its rows come."""

from __future__ import annotations

from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_YEARS, READ, UNREADABLE
from intervals.readings.times.times_seen import TimesSeen

KEY = "$.readings.timestamp.format"


def _written(first: int, index: int) -> str:
    """Return a row of a chunk, as it is written."""
    return f"row {first + index}"


def seen_of(*chunks: list[int]) -> tuple[TimesSeen, list[str]]:
    """Give chunks of rows in turn, each row written as its number; return what has seen them and what it said on the way."""
    seen, said, row = TimesSeen("a.csv", ["Date", " Time "], KEY), [], 0
    for chunk in chunks:
        problem = seen.add(np.array(chunk, dtype=np.int8), partial(_written, row))
        said += [] if problem is None else [problem.text]
        row += len(chunk)
    return seen, said


@pytest.mark.parametrize(("rows", "count"), [(0, 0), (1, 0), (10, 0), (11, 1), (99_999, 1)])
def test_a_file_of_more_than_ten_rows_without_a_time_is_told_of_at_its_end(rows: int, count: int) -> None:
    """Up to ten such rows are a fault each and nothing more."""
    seen, said = seen_of([UNREADABLE] * rows)
    assert (len(seen.at_end()), said) == (count, [])


def test_what_is_told_at_the_end() -> None:
    """The columns as their names are, the first of the times, and the key that states the format."""
    (problem,) = seen_of([UNREADABLE] * 11)[0].at_end()
    assert (problem.code, problem.file, problem.line) == ("REA015", "a.csv", None)
    assert problem.text == 'none of the times in "Date" and "Time" can be read; the first is "row 0"'
    assert problem.fix == 'state $.readings.timestamp.format, for example "%d.%m.%Y %H:%M", or another column'


def test_a_first_time_outside_the_years_is_told_with_why() -> None:
    """A date that exists, and in a year that no log is of, is no mystery."""
    (problem,) = seen_of([OUTSIDE_YEARS] + [UNREADABLE] * 10)[0].at_end()
    assert problem.text.endswith('the first is "row 0", which is outside the years that are accepted, 1900 to 2199')


@pytest.mark.parametrize("state", [READ, ORDER_UNKNOWN])
@pytest.mark.parametrize("place", [0, 5, 10, 11])
def test_one_time_is_enough(state: int, place: int) -> None:
    """A time of which day and month are not told apart is one too, wherever it stands."""
    seen, said = seen_of([UNREADABLE] * place + [state] + [UNREADABLE] * 20)
    assert (seen.at_end(), said) == ([], [])


def test_a_hundred_thousand_rows_without_a_time_are_enough() -> None:
    """From the hundred-thousandth on nothing more need be read: it is told then, with how many were looked at."""
    assert seen_of([UNREADABLE] * 99_999, [READ])[1] == []
    _, said = seen_of([UNREADABLE] * 99_999, [UNREADABLE, READ])
    assert said == ['none of the first 100,000 times in "Date" and "Time" can be read; the first is "row 0"']


@given(st.lists(st.sampled_from([READ, UNREADABLE, ORDER_UNKNOWN, OUTSIDE_YEARS]), max_size=30), st.lists(st.integers(0, 30), max_size=4))
def test_chunks_say_what_the_whole_says(states: list[int], cuts: list[int]) -> None:
    """Where the chunks of a file end makes no difference; empty chunks make none either."""
    bounds = [0, *sorted(min(cut, len(states)) for cut in cuts), len(states)]
    chunks = [states[start:end] for start, end in pairwise(bounds)]
    assert seen_of(*chunks)[0].at_end() == seen_of(states)[0].at_end()
