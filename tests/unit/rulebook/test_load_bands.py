"""Running hours by load: one table of bands, each above its lower edge, up to and with its upper one."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest

from intervals.rulebook.load_bands import LOAD_BANDS, hours_by_band


@pytest.mark.parametrize(
    ("load_pct", "band"),
    [
        (-5.0, (0.0, 10.0)),
        (0.0, (0.0, 10.0)),
        (10.0, (0.0, 10.0)),
        (70.0, (60.0, 70.0)),
        (70.0000004, (60.0, 70.0)),
        (70.000001, (70.0, 80.0)),
        (90.0, (80.0, 90.0)),
        (120.0, (110.0, 120.0)),
        (120.5, (120.0, None)),
    ],
)
def test_a_load_at_an_edge_is_in_the_band_that_ends_there(load_pct: float, band: tuple[float, float | None]) -> None:
    """Two hours at 70 % are in the band above 60, up to 70 %; a millionth more is in the next one."""
    found = hours_by_band(np.array([load_pct]), np.array([2.0]))
    assert {LOAD_BANDS[number]: hours for number, hours in enumerate(found.hours_h) if hours} == {band: 2.0}
    assert found.unknown_h == 0.0


def test_every_hour_is_in_one_band_or_of_unknown_load() -> None:
    """5 h of which 1.5 h have no load: 3.5 h are in bands."""
    found = hours_by_band(np.array([15.0, nan, 95.0, 15.0]), np.array([1.0, 1.5, 2.0, 0.5]))
    assert (found.hours_h[1], found.hours_h[9], sum(found.hours_h), found.unknown_h) == (1.5, 2.0, 3.5, 1.5)


def test_bands_meet_and_leave_nothing_out() -> None:
    """Each band begins where the one before it ends; the last one has no end."""
    assert [low for low, _ in LOAD_BANDS[1:]] == [high for _, high in LOAD_BANDS[:-1]]
    assert LOAD_BANDS[-1][1] is None


def test_nothing_ran() -> None:
    """Of no steps at all there are no hours in any band."""
    assert hours_by_band(np.zeros(0), np.zeros(0)) == ((0.0,) * len(LOAD_BANDS), 0.0)
