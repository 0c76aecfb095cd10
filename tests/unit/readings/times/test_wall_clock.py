"""Local clock readings to instants, at the edges of daylight saving."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from intervals.readings.times.wall_clock import changes_of, instants_of

AMSTERDAM = ZoneInfo("Europe/Amsterdam")
DAY_US = 86_400_000_000


def local(*texts: str) -> np.ndarray:
    """Return readings of the local clock in microseconds."""
    return np.array(texts, dtype="datetime64[us]").astype(np.int64)


def shown(at_us: np.ndarray) -> list[str]:
    """Return instants as UTC text."""
    return [str(moment)[:16] for moment in at_us.astype("datetime64[us]")]


def test_winter_and_summer() -> None:
    """Amsterdam is one hour ahead of UTC in winter and two in summer."""
    at_us, never, twice = instants_of(local("2026-01-15T12:00", "2026-07-15T12:00"), AMSTERDAM)
    assert shown(at_us) == ["2026-01-15T11:00", "2026-07-15T10:00"]
    assert never is None
    assert twice is None


def test_skipped_hour() -> None:
    """On 29 March 2026 the clock went from 02:00 to 03:00: 02:00 to 02:59 were never shown, 01:59 and 03:00 were."""
    at_us, never, twice = instants_of(local("2026-03-29T01:59", "2026-03-29T02:00", "2026-03-29T02:59", "2026-03-29T03:00"), AMSTERDAM)
    assert never is not None
    assert never.tolist() == [False, True, True, False]
    assert twice is not None
    assert not twice.any()
    assert [shown(at_us)[0], shown(at_us)[3]] == ["2026-03-29T00:59", "2026-03-29T01:00"]


def test_repeated_hour() -> None:
    """On 25 October 2026 the clock went from 03:00 back to 02:00: 02:00 to 02:59 were shown twice, 01:59 and 03:00 once."""
    at_us, never, twice = instants_of(local("2026-10-25T01:59", "2026-10-25T02:00", "2026-10-25T02:59", "2026-10-25T03:00"), AMSTERDAM)
    assert twice is not None
    assert twice.tolist() == [False, True, True, False]
    assert never is not None
    assert not never.any()
    assert [shown(at_us)[0], shown(at_us)[3]] == ["2026-10-24T23:59", "2026-10-25T02:00"]


def test_skipped_day() -> None:
    """Apia crossed the date line: 30 December 2011 was never shown there."""
    _, never, _ = instants_of(local("2011-12-29T23:59", "2011-12-30T12:00", "2011-12-31T00:00"), ZoneInfo("Pacific/Apia"))
    assert never is not None
    assert never.tolist() == [False, True, False]


def test_half_hour_saving() -> None:
    """Lord Howe moves its clock by half an hour: on 4 April 2026 01:30 to 01:59 came twice (the 5th by its own date)."""
    _, _, twice = instants_of(
        local("2026-04-05T01:29", "2026-04-05T01:30", "2026-04-05T01:59", "2026-04-05T02:00"), ZoneInfo("Australia/Lord_Howe")
    )
    assert twice is not None
    assert twice.tolist() == [False, True, True, False]


def test_zone_without_changes() -> None:
    """UTC never changes."""
    at_us, never, twice = instants_of(local("2026-03-29T02:30"), ZoneInfo("UTC"))
    assert shown(at_us) == ["2026-03-29T02:30"]
    assert (never, twice) == (None, None)


def test_no_readings() -> None:
    """An empty column stays empty."""
    at_us, never, twice = instants_of(local(), AMSTERDAM)
    assert (len(at_us), never, twice) == (0, None, None)


def test_changes_of_a_year() -> None:
    """In 2026 Amsterdam's clock changes at 01:00 UTC on 29 March and 25 October."""
    at_s, offset_s = changes_of(AMSTERDAM, 20454, 20819)
    assert [str(np.datetime64(int(second), "s")) for second in at_s] == ["2026-03-29T01:00:00", "2026-10-25T01:00:00"]
    assert offset_s.tolist() == [3600, 7200, 3600]


@pytest.mark.parametrize("name", ["Europe/Amsterdam", "America/New_York", "Africa/Casablanca", "Australia/Lord_Howe", "Asia/Kathmandu"])
def test_every_half_hour_as_zoneinfo_has_it(name: str) -> None:
    """Every half hour of two years is the instant that the standard library gives, and odd where it is odd there."""
    zone = ZoneInfo(name)
    start = datetime(2025, 1, 1)  # noqa: DTZ001 - a reading of the local clock
    moments = [start + timedelta(minutes=30 * step) for step in range(2 * 365 * 48)]
    at_us, never, twice = instants_of(np.array(moments, dtype="datetime64[us]").astype(np.int64), zone)
    for row, moment in enumerate(moments):
        first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        is_plain = first.utcoffset() == second.utcoffset()
        is_odd = bool((never is not None and never[row]) or (twice is not None and twice[row]))
        assert is_odd != is_plain
        if is_plain:
            assert at_us[row] == (first - datetime(1970, 1, 1, tzinfo=ZoneInfo("UTC"))) // timedelta(microseconds=1)
