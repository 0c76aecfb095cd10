"""How a time may be written, and formats that a site states."""

from __future__ import annotations

import pytest

from intervals.readings.times.stamp_patterns import MONTHS, UNSTATED, match_stamp, pattern_of


def test_months() -> None:
    """Every month has its short and its full English name."""
    assert MONTHS["jan"] == MONTHS["january"] == 1
    assert MONTHS["sept"] == MONTHS["sep"] == 9
    assert sorted(set(MONTHS.values())) == list(range(1, 13))


def test_word_that_is_no_month() -> None:
    """`5 foo 2026` is no date."""
    assert match_stamp("5 foo 2026", UNSTATED) is None


@pytest.mark.parametrize(
    ("format_text", "stamp"),
    [
        ("%d.%m.%Y %H:%M", "31.01.2026 08:00"),
        ("%m/%d/%y %I:%M %p", "1/31/26 8:00 AM"),
        ("%Y%m%d%H%M%S", "20260131080000"),
        ("%d %b %Y", "31 Jan 2026"),
        ("%A", None),
        ("%Y-%m-%dT%H:%M:%S.%f%z", "2026-01-31T08:00:00.5+01:00"),
        ("[%d|%m|%Y] 100%%", "[31|01|2026] 100%"),
    ],
)
def test_stated_format(format_text: str, stamp: str | None) -> None:
    """A stated format is read as strptime reads it; what it does not know is refused."""
    if stamp is None:
        with pytest.raises(ValueError, match="%A"):
            pattern_of(format_text)
    else:
        assert pattern_of(format_text).fullmatch(stamp)


@pytest.mark.parametrize(
    ("format_text", "words"),
    [("%d.%m", "day, month and year"), ("%H:%M", "day, month and year"), ("%d %d %m %Y", "twice"), ("%d.%m.%Y %", '"%" is not understood')],
)
def test_refused_format(format_text: str, words: str) -> None:
    """A format without a whole date, with a part twice, or that ends in a percent sign is refused."""
    with pytest.raises(ValueError, match=words):
        pattern_of(format_text)
