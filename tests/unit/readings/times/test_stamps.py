"""Texts of times to microseconds."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.times.stamp_patterns import UNSTATED, pattern_of
from intervals.readings.times.stamps import ORDER_UNKNOWN, OUTSIDE_YEARS, READ, UNREADABLE, _are_trim, stamps_of_texts


def moment(us: int) -> str:
    """Return microseconds as ISO text."""
    return str(np.datetime64(int(us), "us"))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-01-31 08:05", "2026-01-31T08:05:00.000000"),
        ("2026-01-31T08:05:07", "2026-01-31T08:05:07.000000"),
        ("2026-01-31T08:05:07.25", "2026-01-31T08:05:07.250000"),
        ("2026-01-31T08:05:07.123456789", "2026-01-31T08:05:07.123456"),
        ("2026-01-31T08:05:07,5", "2026-01-31T08:05:07.500000"),
        ("2026-01-31T08", "2026-01-31T08:00:00.000000"),
        ("2026-01-31", "2026-01-31T00:00:00.000000"),
        ("2026/1/31 8:05", "2026-01-31T08:05:00.000000"),
        ("20260131", "2026-01-31T00:00:00.000000"),
        ("20260131T0805", "2026-01-31T08:05:00.000000"),
        ("20260131080507", "2026-01-31T08:05:07.000000"),
        ("31.01.2026 08:05", "2026-01-31T08:05:00.000000"),
        ("31.1.26 8:05", "2026-01-31T08:05:00.000000"),
        ("03.04.2026", "2026-04-03T00:00:00.000000"),
        ("31.01.2026 08.05", "2026-01-31T08:05:00.000000"),
        ("31.01.2026, 08:05", "2026-01-31T08:05:00.000000"),
        ("31/01/2026 08:05:07", "2026-01-31T08:05:07.000000"),
        ("01/31/2026 08:05", "2026-01-31T08:05:00.000000"),
        ("31-01-2026 08:05", "2026-01-31T08:05:00.000000"),
        ("1/31/26 1:05 PM", "2026-01-31T13:05:00.000000"),
        ("1/31/2026 12:05:06 am", "2026-01-31T00:05:06.000000"),
        ("1/31/2026 12:05 p.m.", "2026-01-31T12:05:00.000000"),
        ("31 Jan 2026 08:05", "2026-01-31T08:05:00.000000"),
        ("31-Jan-26", "2026-01-31T00:00:00.000000"),
        ("Jan 31, 2026 08:05", "2026-01-31T08:05:00.000000"),
        ("31. January 2026", "2026-01-31T00:00:00.000000"),
        ("2026-01-31 24:00", "2026-02-01T00:00:00.000000"),
        ("2024-02-29", "2024-02-29T00:00:00.000000"),
        ("  2026-01-31\u00a008:05  ", "2026-01-31T08:05:00.000000"),
        ("07.07.2026", "2026-07-07T00:00:00.000000"),
        ("31.12.99", "1999-12-31T00:00:00.000000"),
        ("07/07/2026", "2026-07-07T00:00:00.000000"),
    ],
)
def test_local_times(text: str, expected: str) -> None:
    """Common ways of writing a local time are read without a stated format, as long as they have one meaning."""
    stamps = stamps_of_texts(pa.array([text]), UNSTATED, None)
    assert stamps.state[0] == READ
    assert moment(stamps.us[0]) == expected
    assert not stamps.is_utc[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-01-31T08:05Z", "2026-01-31T08:05:00.000000"),
        ("2026-01-31T08:05:00+01:00", "2026-01-31T07:05:00.000000"),
        ("2026-01-31 08:05 +0530", "2026-01-31T02:35:00.000000"),
        ("2026-01-31T08:05-03", "2026-01-31T11:05:00.000000"),
        ("2026-01-31 08:05 UTC", "2026-01-31T08:05:00.000000"),
        ("31.01.2026 08:05+01:00", "2026-01-31T07:05:00.000000"),
    ],
)
def test_times_with_offset(text: str, expected: str) -> None:
    """A time with its offset is an instant."""
    stamps = stamps_of_texts(pa.array([text]), UNSTATED, None)
    assert (stamps.state[0], stamps.is_utc[0]) == (READ, True)
    assert moment(stamps.us[0]) == expected


@pytest.mark.parametrize(
    "text",
    [
        None, "", "   ", "n/a", "2026-02-29", "2026-13-01", "31.02.2026", "2026-01-31 25:00", "2026-01-31 24:01", "2026-01-31 08:60",
        "2026-01-31 08:05:60", "31.13.2026", "13/13/2026", "0/1/2026", "26-01-31", "1767600000", "45678.5", "0026-02-30", "9999-13-31",
        "2026-01-31 13:05 PM", "2026-01-31 0:05 AM", "2026-01-31T08:05+25:00", "2026-01-31 08:05 Europe", "5 foo 2026", "1899-01-31 25:00",
        "\u0663\u0661.\u0660\u0661.\u0662\u0660\u0662\u0666",
    ],
)  # fmt: skip
def test_what_is_no_time(text: str | None) -> None:
    """A date that does not exist in any year, a number, a word: unreadable, never bent into shape."""
    assert stamps_of_texts(pa.array([text], pa.string()), UNSTATED, None).state[0] == UNREADABLE


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("1899-12-31 23:59", OUTSIDE_YEARS),
        ("1900-01-01", READ),
        ("31.12.2199", READ),
        ("1.1.2200", OUTSIDE_YEARS),
        ("0000-01-01", OUTSIDE_YEARS),
        ("Jan 31, 9999", OUTSIDE_YEARS),
        ("13/02/1899", OUTSIDE_YEARS),
        ("03/04/1899", OUTSIDE_YEARS),
        ("13/13/1899", UNREADABLE),
        # by the calendar's rule 1896 and 2400 are leap years, 1800 and 2300 are not
        ("1896-02-29", OUTSIDE_YEARS),
        ("2400-02-29", OUTSIDE_YEARS),
        ("1800-02-29", UNREADABLE),
        ("2300-02-29", UNREADABLE),
    ],
)
def test_years_that_no_log_is_of(text: str, state: int) -> None:
    """A date that exists in a year before 1900 or after 2199 is told from what is no date at all."""
    assert stamps_of_texts(pa.array([text]), UNSTATED, None).state[0] == state


def test_order_unknown() -> None:
    """3 April and 4 March are both possible: the stamp is marked, and no evidence is claimed."""
    stamps = stamps_of_texts(pa.array(["03/04/2026 08:00"]), UNSTATED, None)
    assert stamps.state[0] == ORDER_UNKNOWN
    assert not stamps.day_first_seen
    assert not stamps.month_first_seen


def test_order_given() -> None:
    """With the order known, 03/04/2026 is the 3 April or the 4 March."""
    texts = pa.array(["03/04/2026"])
    assert moment(stamps_of_texts(texts, UNSTATED, "day_first").us[0])[:10] == "2026-04-03"
    assert moment(stamps_of_texts(texts, UNSTATED, "month_first").us[0])[:10] == "2026-03-04"


def test_evidence_of_order() -> None:
    """A 31 in front proves the day first, a 31 in the middle the month first; with dots nothing needs proof."""
    assert stamps_of_texts(pa.array(["31/01/2026", "03/04/2026"]), UNSTATED, None).day_first_seen
    assert stamps_of_texts(pa.array(["01/31/2026", "03/04/2026"]), UNSTATED, None).month_first_seen
    dotted = stamps_of_texts(pa.array(["31.01.2026", "03.04.2026"]), UNSTATED, None)
    assert (dotted.day_first_seen, dotted.month_first_seen) == (False, False)


def test_a_date_alone_is_told_from_midnight() -> None:
    """A date has no clock; the same date at 00:00 has one."""
    assert stamps_of_texts(pa.array(["2026-01-31", "2026-01-31 00:00"]), UNSTATED, None).has_clock.tolist() == [False, True]


def test_mixed_layouts_in_one_column() -> None:
    """Each row is read by itself, whatever stands in the rows beside it."""
    texts = ["2026-01-01 00:00", "1.1.2026 1:00", "2026-01-01T03:00Z", None, "x" * 16, "01.01.2026 02:00", "1 Jan 2026 4:00 am"]
    stamps = stamps_of_texts(pa.array(texts), UNSTATED, None)
    assert [moment(us)[11:16] for us in stamps.us[stamps.state == READ]] == ["00:00", "01:00", "03:00", "02:00", "04:00"]
    assert stamps.state.tolist() == [READ, READ, READ, UNREADABLE, UNREADABLE, READ, READ]


def test_column_of_rubbish_with_times_in_it() -> None:
    """A column of a thousand different words is gone through, and the few times in it are found."""
    words = [f"x{chr(97 + row % 26)}{chr(97 + row // 26 % 26)}{chr(97 + row // 676)}abcdef" for row in range(1000)]
    words[500], words[999] = "2026-01-31", "2026-02-01"
    stamps = stamps_of_texts(pa.array(words), UNSTATED, None)
    assert np.flatnonzero(stamps.state == READ).tolist() == [500, 999]


@given(st.lists(st.none() | st.text(st.sampled_from("1: \t\u00a0\u00e4"), max_size=4), max_size=12), st.integers(0, 12), st.integers(0, 12))
def test_a_part_of_a_column_is_trim_by_its_own_texts(texts: list[str | None], start: int, count: int) -> None:
    """What stands before and after the part does not count; blanks at the ends of a text, other letters and empty cells do."""
    own = texts[start : start + count]
    expected = all(text is not None and text.isascii() and text == text.strip() for text in own)
    assert _are_trim(pa.array(texts, type=pa.string()).slice(start, count)) == expected


@pytest.mark.parametrize("odd", [" n/a", "n/a ", "\u00a0", None, ""])
def test_odd_texts_beside_a_part_of_a_column_change_nothing(odd: str | None) -> None:
    """Between texts that need to be trimmed, or that are none, the times of the part are what they are."""
    texts = pa.array([odd, "2026-01-31 08:00", "2026-01-31 09:00", odd]).slice(1, 2)
    stamps = stamps_of_texts(texts, UNSTATED, None)
    assert [moment(us) for us in stamps.us] == ["2026-01-31T08:00:00.000000", "2026-01-31T09:00:00.000000"]


def test_slice_of_an_array() -> None:
    """A slice of a longer column is read where it lies."""
    texts = pa.array(["n/a", "2026-01-31 08:00", "2026-01-31 09:00", "n/a"]).slice(1, 2)
    assert [moment(us)[11:13] for us in stamps_of_texts(texts, UNSTATED, None).us] == ["08", "09"]


def test_stated_format_alone_counts() -> None:
    """Where a format is stated, a stamp of another form is unreadable."""
    stamps = stamps_of_texts(pa.array(["04/03/2026 08:00", "2026-03-04 08:00"]), (pattern_of("%m/%d/%Y %H:%M"),), None)
    assert stamps.state.tolist() == [READ, UNREADABLE]
    assert moment(stamps.us[0])[:10] == "2026-04-03"
