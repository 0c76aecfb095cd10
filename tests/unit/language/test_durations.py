"""Calendar steps count from the anchor and are clipped at the month's end; spans of fixed length are hours."""

from __future__ import annotations

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals.language.durations import CalendarStep, DurationProblemError, parse_hours, parse_step

SMALL = st.integers(min_value=0, max_value=40)
DAYS = st.dates(min_value=date(1950, 1, 1), max_value=date(2100, 12, 31))


@pytest.mark.parametrize(
    ("anchor", "step", "times", "expected"),
    [
        ("2023-01-31", "P1M", 1, "2023-02-28"),
        ("2023-01-31", "P1M", 2, "2023-03-31"),
        ("2023-01-31", "P1M", 3, "2023-04-30"),
        ("2023-01-31", "P1M", 4, "2023-05-31"),
        ("2024-02-29", "P1Y", 1, "2025-02-28"),
        ("2024-02-29", "P1Y", 4, "2028-02-29"),
        ("2024-02-29", "P1Y30D", 1, "2025-03-30"),
        ("2022-11-30", "P3M", 1, "2023-02-28"),
        ("2022-11-30", "P3M", 2, "2023-05-30"),
        ("2022-11-30", "P3M", 3, "2023-08-30"),
        ("2022-11-30", "P3M", 4, "2023-11-30"),
        ("2024-01-31", "P6M", 1, "2024-07-31"),
        ("2023-03-01", "P1Y", 1, "2024-03-01"),
        ("2021-05-10", "P3Y", 1, "2024-05-10"),
        ("2024-01-01", "P2W", 3, "2024-02-12"),
        ("2024-01-01", "P1Y", 0, "2024-01-01"),
    ],
)
def test_steps_count_from_the_anchor(anchor: str, step: str, times: int, expected: str) -> None:
    """Months count from the anchor, never from the last result (dates worked by hand; quarters as dateutil gives them)."""
    assert parse_step(step).after(date.fromisoformat(anchor), times) == date.fromisoformat(expected)


@given(DAYS, SMALL, SMALL, SMALL, SMALL, st.integers(min_value=0, max_value=5))
def test_steps_agree_with_dateutil(day: date, years: int, months: int, weeks: int, days: int, times: int) -> None:
    """`dateutil.relativedelta` adds years and months first, clips, then adds weeks and days; forwards and backwards."""
    step = CalendarStep("", years, months, weeks, days)
    delta = relativedelta(years=years * times, months=months * times, weeks=weeks * times, days=days * times)
    assert step.after(day, times) == day + delta
    assert step.before(day, times) == day - delta


def test_steps_stop_at_the_ends_of_the_calendar() -> None:
    """A due date beyond the last year there is stands at its last day, and one before the first at its first."""
    assert parse_step("P200Y").after(date(2024, 1, 1), 50) == date.max
    assert parse_step("P200Y").before(date(2024, 1, 1), 50) == date.min
    assert parse_step("P365D").after(date(9999, 6, 1)) == date.max


def test_steps_keep_their_parts_and_text() -> None:
    """The text stays for showing; zero is a step that leads nowhere."""
    assert parse_step("P1Y6M2W3D") == CalendarStep("P1Y6M2W3D", 1, 6, 2, 3)
    assert str(parse_step("P14D")) == "P14D"
    assert parse_step("P0D").is_zero
    assert not parse_step("P1D").is_zero


@pytest.mark.parametrize(
    ("written", "words", "fix"),
    [
        ("1 yr", 'got "1 yr", expected for example P1Y or P6M', "write P1Y"),
        ("6 months", 'got "6 months"', "write P6M"),
        ("2wks", 'got "2wks"', "write P2W"),
        ("monthly", 'got "monthly"', "write P1M"),
        ("p1y", 'got "p1y"', "write P1Y"),
        (365, "got 365", "write P365D for days"),
        ("P", 'got "P"', None),
        ("P1M1Y", 'got "P1M1Y"', None),
        ("P-1Y", 'got "P-1Y"', None),
        ("P1Y\n", "not an ISO 8601 duration", None),
        ("P1\u0662D", "not an ISO 8601 duration", None),
        ("bananas", 'got "bananas"', None),
        (None, "got nothing", None),
        (True, "got true", None),
        ("PT36H", "shorter than a day", "hours are a leg of their own: running_hours"),
        ("P1DT1H", "shorter than a day", "hours are a leg of their own: running_hours"),
        ("P201Y", "longer than 200 years", None),
    ],
)
def test_wrong_steps_say_what_to_write(written: object, words: str, fix: str | None) -> None:
    """A refused step says what was found, and where it can guess what was meant, what to write."""
    with pytest.raises(DurationProblemError) as caught:
        parse_step(written)
    assert words in str(caught.value)
    assert caught.value.fix == fix


@pytest.mark.parametrize(
    ("written", "hours"), [("PT36H", 36), ("P90D", 2160), ("P1DT12H", 36), ("PT15M", 0.25), ("P2W", 336), ("PT90S", 0.025), ("PT0.5H", 0.5)]
)
def test_spans_are_hours(written: str, hours: float) -> None:
    """A day is 24 hours, a week is 168."""
    assert parse_hours(written) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("written", "words", "fix"),
    [
        ("P3M", "years and months have no fixed length", "write it in days"),
        ("P1Y", "years and months have no fixed length", "write it in days"),
        (36, "got 36", "write PT36H for hours"),
        (1.5, "got 1.5", "write PT1.5H for hours"),
        ("36h", 'got "36h"', None),
        ("P1DT", 'got "P1DT"', None),
        ("P0D", "no time at all", None),
    ],
)
def test_wrong_spans_say_what_to_write(written: object, words: str, fix: str | None) -> None:
    """A refused span says what was found and what to write."""
    with pytest.raises(DurationProblemError) as caught:
        parse_hours(written)
    assert words in str(caught.value)
    assert caught.value.fix == fix
