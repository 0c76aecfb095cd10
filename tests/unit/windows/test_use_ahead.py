"""How a leg will be used up: paths of the engine's own fortnights, their percentiles, and the widening by its own past forecasts."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.arrays import Floats
from intervals.windows import use_ahead
from intervals.windows.use_ahead import DailyUse, UseAhead
from tests.properties.bounded import bounded

YEAR_D = 364


def ahead_of(hours: Floats, counts: list[bool] | None = None) -> UseAhead:
    """Return the paths after days of so many hours each."""
    total: Floats = np.concatenate((np.zeros(1), np.cumsum(hours))).round(6)
    return UseAhead(DailyUse(total, None if counts is None else np.array(counts)))


def noisy(days: int, seed: int = 3) -> Floats:
    """Return hours of days, most in the cold half of a year of 364 days, never the same twice."""
    rng = np.random.default_rng(seed)
    season = 12 + 8 * np.cos(2 * np.pi * np.arange(days) / YEAR_D)
    return np.clip(season + rng.normal(0, 2, days), 0, 24)


@pytest.mark.parametrize("days", [14, 15, 100, 424, 425, 800, 1500])
def test_constant_use_gives_the_exact_day_and_no_range(days: int) -> None:
    """10 h a day: 480 h last 48 d, 20,000 h 2,000 d, which is beyond the paths; nothing lasts no time."""
    ahead = ahead_of(np.full(days, 10.0))
    for amount, expected in ((480.0, 48.0), (20_000.0, 2000.0), (0.0, 0.0), (-5.0, 0.0)):
        assert ahead.days_to(amount) == pytest.approx((expected,) * 3)


@pytest.mark.parametrize("days", [14, 300, 1000])
def test_an_engine_that_does_not_run_uses_nothing_up(days: int) -> None:
    """Standstill: no amount is ever used up, and nothing is tried."""
    ahead = ahead_of(np.zeros(days))
    assert ahead.days_to(1.0) == (math.inf, math.inf, math.inf)
    assert ahead.share_held == (0, 0)


def test_a_season_is_met_again_a_year_on() -> None:
    """20 h a day in one half of each year, none in the other: asked in it, use goes on; asked at its end, it begins half a year later."""
    half = YEAR_D // 2
    hours = np.array([20.0 if day % YEAR_D < half else 0.0 for day in range(3 * YEAR_D)])
    # 60 d into the season 122 d of it are left: 1,000 h are 50 d, four weeks and two fortnights before its end
    assert ahead_of(hours[: 2 * YEAR_D + 60]).days_to(1000.0)[1] == pytest.approx(50.0)
    # with the season over, 1,000 h are 182 d and 50 d; its border is four weeks wide either way
    early, middle, late = ahead_of(hours[: 2 * YEAR_D + half]).days_to(1000.0)
    assert middle == pytest.approx(half + 50, abs=14)
    assert early <= half + 50 <= late


def test_a_short_log_gives_stretches_of_its_last_half_year() -> None:
    """200 d at 20 h, then 200 d at 10 h: only the last 182 d count, so that nothing is left of the 20 h."""
    assert ahead_of(np.array([20.0] * 200 + [10.0] * 200)).days_to(300.0) == pytest.approx((30.0, 30.0, 30.0))


def test_days_of_lay_up_stand_for_no_day_ahead() -> None:
    """10 h a day, 100 d of lay-up in between: short or long, the log gives 10 h a day ahead."""
    for before in (60, 900):
        hours = np.array([10.0] * before + [0.0] * 100 + [10.0] * 50)
        counts = [True] * before + [False] * 100 + [True] * 50
        assert ahead_of(hours, counts).days_to(480.0) == pytest.approx((48.0, 48.0, 48.0))


def test_lay_ups_do_not_make_a_log_long() -> None:
    """500 d of log of which 100 were laid up are shorter than fourteen months."""
    counts = [True] * 200 + [False] * 100 + [True] * 200
    assert not ahead_of(np.where(counts, 10.0, 0.0), counts).is_seasonal
    assert ahead_of(np.full(500, 10.0)).is_seasonal


def test_the_percentiles_are_those_of_the_paths() -> None:
    """What paths have used up by the end of each fortnight: numpy's percentiles, the 90th for the early figure."""
    ahead = ahead_of(noisy(1000))
    sums = np.cumsum(ahead._past.seasonal_paths(np.array([1000]), 78)[0], axis=0)
    expected = np.quantile(sums, [0.9, 0.5, 0.1], axis=1)
    for curve, figures in zip(ahead._ahead, expected, strict=True):
        assert curve[1:] == pytest.approx(figures.tolist())


def test_the_same_log_gives_the_same_bytes() -> None:
    """Nothing is drawn at random."""
    first, second = (ahead_of(noisy(1500)) for _ in range(2))
    assert [first.days_to(amount) for amount in (10.0, 500.0, 9000.0)] == [second.days_to(amount) for amount in (10.0, 500.0, 9000.0)]
    assert (first.widening, first.share_held) == (second.widening, second.share_held)


def test_the_widening_is_the_least_that_holds_for_the_share() -> None:
    """Of 20 misses from -0.10 to 0.09 the 20th is taken, since 94 % of 21 are 19.74; of 49, 94 % of 50 are 47; never less than nothing."""
    misses = np.arange(-10, 10) / 100.0
    assert use_ahead._held(misses[::-1]) == pytest.approx(0.09)
    assert use_ahead._held(np.arange(1, 50) / 100.0) == pytest.approx(0.47)
    assert use_ahead._held(np.full(20, -0.5)) == 0.0


def test_too_few_finished_forecasts_widen_nothing() -> None:
    """Of a log of 430 days no forecast of its fifteenth month is finished: the range is that of the paths."""
    ahead = ahead_of(noisy(430))
    assert ahead.widening == (0.0, 0.0, 0)
    assert ahead.share_held == (0, 0)


def test_forecasts_that_were_off_widen_the_range() -> None:
    """10 h a day, but once ten weeks of standstill and once ten of 20 h: the early figure is widened, and the late one."""
    hours = np.full(1300, 10.0)
    hours[600:670], hours[900:970] = 0.0, 20.0
    ahead = ahead_of(hours)
    held, tried = ahead.share_held
    assert ahead.widening.early > 0
    assert ahead.widening.late > 0
    assert ahead.days_to(480.0)[0] < 48.0 < ahead.days_to(480.0)[2]
    # those that the range was widened by first are not among those that it was tried on
    assert 0 < held < tried <= ahead.widening.finished - 8


@bounded(25)
@given(
    hours=st.lists(st.floats(0, 24, allow_nan=False), min_size=3, max_size=12),
    days=st.integers(14, 1400),
    amounts=st.lists(st.floats(0.1, 30_000, allow_nan=False), min_size=2, max_size=6),
)
def test_early_is_before_middle_is_before_late_and_more_left_is_never_earlier(hours: list[float], days: int, amounts: list[float]) -> None:
    """Whatever was used: the three figures stand in order, and each rises with what is left."""
    ahead = ahead_of(np.resize(np.array(hours), days) * np.where(np.arange(days) % 91 < 60, 1.0, 0.3))
    rows = [ahead.days_to(amount) for amount in sorted(amounts)]
    for early, middle, late in rows:
        assert early <= middle <= late
    for before, after in pairwise(rows):
        assert all(one <= other for one, other in zip(before, after, strict=True))


def test_no_early_figure_is_sooner_than_at_the_busiest_day() -> None:
    """An engine that went from 12 h a day to 24 h was often sooner than foreseen; 2,400 h still take 100 d of 24 h."""
    hours = np.where(np.arange(1500) < 1300, 12.0, 24.0)
    ahead = ahead_of(hours)
    assert ahead.widening.early > 0
    for amount in (24.0, 240.0, 2400.0):
        early, middle, late = ahead.days_to(amount)
        assert amount / 24 <= early <= middle <= late
    held, tried = ahead.share_held
    assert 0 < held <= tried


def test_an_engine_that_ran_late_only_has_a_range(recwarn: pytest.WarningsRecorder) -> None:
    """It stood for 500 days and runs 10 h a day since: no past forecast of a log without use counts against its busiest day."""
    ahead = ahead_of(np.where(np.arange(1000) < 500, 0.0, 10.0))
    early, middle, late = ahead.days_to(480.0)
    assert 48.0 <= early <= middle <= late
    assert ahead.share_held[0] <= ahead.share_held[1]
    assert not recwarn.list
