"""How a leg will be used up: paths made of the engine's own past fortnights, and how far such paths were off before.

In: what was used up to the end of each day of an engine's log. Out: after how many days an amount is used up, as an early, a middle and a
late figure, and how well ranges of this kind held in the engine's own past. It extrapolates; it judges nothing.

The model. A path ahead is a row of fortnights taken from the same season (four weeks either side, the same days of the week) of one of the
three years before, drawn towards the level of the last twelve weeks by a power of its ratio to the same weeks of that year, a
difference that fades over 90 days. Where the log is shorter than fourteen months, the fortnights come from the last half year. Of what the
paths have used up by the end of each fortnight the tenth, the fiftieth and the ninetieth percentile are kept; inside a fortnight use is
even. The early and the late figure are widened on the scale of logarithms by what the engine's own finished past forecasts were off (split
conformal prediction, Vovk and others 2005, Romano and others 2019; from memory), the early one never beyond the busiest day of the
log. Days of lay-up are no days here: those ahead are stepped
over by whoever gives a date. Nothing is drawn at random: the draws are the sequence of Richtmyer (multiples of the square roots of the
primes), so that the same log gives the same bytes.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags, Floats

BLOCK_D = 14
"""Days of the stretches that paths are made of."""
PATHS = 51
BLOCKS = 78
"""Stretches of a path: three years; what lasts longer goes on at the path's mean."""
SEASON_D = 28
YEAR_D = 364
"""Fifty-two weeks, so that a day of the week stays one."""
YEARS = 3
SEASONAL_FROM_D = 425
"""With so many days outside lay-ups, fourteen months, paths follow the season."""
SHORT_LOG_D = 182
LEVEL_D = 84
LEVEL_POWER = 0.4
LEVEL_MOST = 4.0
FADE_D = 90.0
PERCENTILES = (10, 50, 90)
ORIGIN_STEP_D = 30
MOST_ORIGINS = 24
AMOUNTS_D = (10.0, 30.0, 90.0, 180.0)
"""Past forecasts are tried on what is used in so many days at the mean pace."""
TRIED_TIMES = 1.5
"""Paths of past forecasts reach so many times as far as the longest of them at the mean pace; beyond, they go on at their mean."""
FEWEST_TRIED = 8
"""With fewer finished past forecasts a range is not widened."""
HELD_SHARE = 0.94
"""Share of finished past forecasts whose early figure, and whose late figure, is to hold after the widening."""
_LEAST_D, _GRAIN_D = 0.5, 1e-9
_OFFSETS = np.arange(-SEASON_D, SEASON_D + 1, 7)
_RANKS = tuple((PATHS - 1) * percent // 100 for percent in PERCENTILES[::-1])
"""What most paths have used up comes early: the ninetieth percentile of use is the early figure."""


class Widening(NamedTuple):
    """What the early and the late figure are moved by, as a natural logarithm, and on how many finished forecasts that rests."""

    early: float = 0.0
    late: float = 0.0
    finished: int = 0


class DailyUse(NamedTuple):
    """What was used up to the end of each day: its first entry is zero, so that there is one more than days.

    Attributes:
        total: running sum, in the leg's unit.
        counts: whether each day can stand for a day ahead: lay-ups cannot; None where all can.
    """

    total: Floats
    counts: Flags | None = None

    @property
    def counted_d(self) -> int:
        """Days of log outside lay-ups."""
        return len(self.total) - 1 if self.counts is None else int(self.counts.sum())

    @property
    def without_lay_ups(self) -> DailyUse:
        """The same without the days of lay-up."""
        if self.counts is None:
            return self
        return DailyUse(np.concatenate((np.zeros(1), np.cumsum(np.diff(self.total)[self.counts]))))


class UseAhead:
    """The paths of one leg from the end of its log on; its log has a fortnight outside lay-ups at least."""

    def __init__(self, use: DailyUse) -> None:
        self.is_seasonal = use.counted_d >= SEASONAL_FROM_D
        self._past = _Past.of(use if self.is_seasonal else use.without_lay_ups)

    @cached_property
    def _ahead(self) -> tuple[list[float], ...]:
        """What is used up by the end of each fortnight ahead, from zero: where much is used, middling, little."""
        past = self._past
        paths = past.seasonal_paths(np.array([past.days]), BLOCKS) if self.is_seasonal else past.recent_paths(BLOCKS)
        return tuple(_curves(paths)[0].tolist())

    def days_to(self, amount: float) -> tuple[float, float, float]:
        """Return after how many days an amount is used up.

        Args:
            amount: what is left, in the leg's unit.

        Returns:
            Early, middle and late days outside lay-ups, widened; infinite where the engine does not run in its paths.
        """
        much, middling, little = self._ahead
        sooner, later = self._factors
        early = max(_days_to(much, amount) * sooner, amount / self._busiest_day if self._busiest_day else 0.0)
        return early, _days_to(middling, amount), _days_to(little, amount) * later

    def middle_to(self, amount: float) -> float:
        """Return the middle of the days after which an amount is used up."""
        return _days_to(self._ahead[1], amount)

    @cached_property
    def _busiest_day(self) -> float:
        """What was used on the busiest day of the log: the widening, which knows nothing of how long a day is, goes no further."""
        return float(np.diff(self._past.total).max())

    @cached_property
    def _factors(self) -> tuple[float, float]:
        """What the widening multiplies the early and the late figure by."""
        return math.exp(-self.widening.early), math.exp(self.widening.late)

    @cached_property
    def widening(self) -> Widening:
        """How far the range is widened by the engine's own finished past forecasts; nothing where there are too few."""
        early, late, _, _ = self._misses
        if len(early) < FEWEST_TRIED:
            return Widening(finished=len(early))
        return Widening(_held(early), _held(late), len(early))

    @cached_property
    def share_held(self) -> tuple[int, int]:
        """How many of the engine's own finished forecasts held their range, and of how many; each widened by those finished before it."""
        early, late, least, finished = self._misses
        held = tried = 0
        for place in range(len(finished)):
            before = finished < finished[place]
            if before.sum() >= FEWEST_TRIED:
                tried += 1
                is_early = early[place] <= _held(early[before]) and least[place] <= 0
                held += bool(is_early and late[place] <= _held(late[before]))
        return held, tried

    @cached_property
    def _misses(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Of each finished past forecast what it was off by, and when that was known.

        How much it came before the early figure and after the late one, as logarithms; how many days before the busiest day allowed it.
        """
        past = self._past
        origins = past.origins if self.is_seasonal else np.zeros(0, dtype=np.int64)
        mean = float(past.total[-1]) / max(1, int(past.counted[-1]))
        if not len(origins) or mean <= 0:
            none = np.zeros(0)
            return none, none, none, none
        amounts = mean * np.array(AMOUNTS_D)
        blocks = -(-int(max(AMOUNTS_D) * TRIED_TIMES) // BLOCK_D)
        curves, wanted = _curves(past.seasonal_paths(origins, blocks)).tolist(), amounts.tolist()
        days = np.array([[[_days_to(curve, amount) for amount in wanted] for curve in of_origin] for of_origin in curves])
        found = np.log(np.maximum(_LEAST_D, days))
        reached = np.searchsorted(past.total, past.total[origins][:, np.newaxis] + amounts)
        is_finished = reached <= past.days
        took_d = past.counted[np.minimum(reached, past.days)] - past.counted[origins][:, np.newaxis]
        took = np.log(np.maximum(_LEAST_D, took_d))
        # days are whole here: at the most as many before it as are begun
        busiest = np.maximum.accumulate(np.diff(past.total))[origins - 1][:, np.newaxis]
        least = np.ceil(np.divide(amounts, busiest, out=np.zeros(is_finished.shape), where=busiest > 0) - _GRAIN_D) - took_d
        early, late, known = found[:, 0] - took, took - found[:, 2], reached.astype(np.float64)
        return early[is_finished], late[is_finished], least[is_finished], known[is_finished]


class _Past(NamedTuple):
    """A log by the day, and every stretch of a fortnight in it.

    Attributes:
        total: used up to the end of each day, days + 1.
        counted: days outside lay-ups up to the end of each day.
        sums: used in the stretch that begins with each day.
        nearest: for each stretch the nearest one that holds no lay-up; None where none does.
    """

    total: Floats
    counted: NDArray[np.int64]
    sums: Floats
    nearest: NDArray[np.int64] | None

    @classmethod
    def of(cls, use: DailyUse) -> _Past:
        """Return the past of a log of a fortnight at least."""
        sums = use.total[BLOCK_D:] - use.total[:-BLOCK_D]
        if use.counts is None:
            return cls(use.total, np.arange(len(use.total)), sums, None)
        counted = np.zeros(len(use.total), dtype=np.int64)
        np.cumsum(use.counts, out=counted[1:])
        places = np.arange(len(sums))
        good = places[counted[BLOCK_D:] - counted[:-BLOCK_D] == BLOCK_D]
        if not len(good):
            return cls(use.total, counted, sums, None)
        after = np.minimum(np.searchsorted(good, places), len(good) - 1)
        before = np.maximum(after - 1, 0)
        closer = np.where(np.abs(good[before] - places) <= np.abs(good[after] - places), good[before], good[after])
        return cls(use.total, counted, sums, closer)

    @property
    def days(self) -> int:
        """Days of log."""
        return len(self.total) - 1

    @property
    def origins(self) -> NDArray[np.int64]:
        """The days, latest first, from which past forecasts are made: those that had fourteen months outside lay-ups before them."""
        first = int(np.searchsorted(self.counted, SEASONAL_FROM_D))
        return np.arange(self.days - ORIGIN_STEP_D, first - 1, -ORIGIN_STEP_D)[:MOST_ORIGINS]

    def recent_paths(self, blocks: int) -> Floats:
        """Return what is used in each stretch of each path, 1 x blocks x paths, stretches from the last half year."""
        which, _ = _draws(blocks)
        last = self.days - BLOCK_D
        back = np.floor(which * (min(SHORT_LOG_D, self.days) - BLOCK_D + 1)).astype(np.int64)
        return np.asarray(self.sums[last - back])[np.newaxis]

    def seasonal_paths(self, origins: NDArray[np.int64], blocks: int) -> Floats:
        """Return what is used in each stretch of each path ahead of several days, origins x blocks x paths."""
        _, year_draw = _draws(blocks)
        offsets, years_back = _drawn_days(blocks)
        last = origins[:, np.newaxis] - BLOCK_D
        ahead = origins[:, np.newaxis] + np.arange(blocks) * BLOCK_D
        first = np.maximum(1, -(-(ahead + SEASON_D - last) // YEAR_D))
        years = np.clip((ahead - SEASON_D) // YEAR_D - first + 1, 1, YEARS)
        place = years_back[years - 1]
        np.subtract((ahead - YEAR_D * first)[:, :, np.newaxis], place, out=place)
        place += offsets
        np.clip(place, 0, last[:, :, np.newaxis], out=place)
        found: Floats = self.sums.take(place if self.nearest is None else self.nearest.take(place))
        fade = np.exp(-(np.arange(blocks) * BLOCK_D + BLOCK_D / 2) / FADE_D)[:, np.newaxis]
        found *= 1.0 + (self._level(origins, year_draw) - 1.0)[:, np.newaxis, :] * fade
        np.minimum(found, self.sums.max(), out=found)
        return found

    def _level(self, origins: NDArray[np.int64], year_draw: Floats) -> Floats:
        """Return the ratio of the last weeks to the same weeks of the year that each path comes from, origins x paths."""
        years = np.clip((origins - LEVEL_D) // YEAR_D, 1, YEARS)
        back = 1 + np.floor(year_draw * years[:, np.newaxis]).astype(np.int64)
        now = self._pace_before(origins)[:, np.newaxis]
        then_end = origins[:, np.newaxis] - YEAR_D * back
        then = self._pace_before(np.maximum(then_end, LEVEL_D))
        ratio = np.divide(now, then, out=np.ones_like(then), where=(then > 0) & (now >= 0) & (then_end >= LEVEL_D))
        return np.asarray(np.clip(ratio, 1 / LEVEL_MOST, LEVEL_MOST) ** LEVEL_POWER)

    def _pace_before(self, ends: NDArray[np.int64]) -> Floats:
        """Return the use per day in the weeks before some days, lay-ups left out; -1 where they were mostly lay-up."""
        days = self.counted[ends] - self.counted[ends - LEVEL_D]
        used = self.total[ends] - self.total[ends - LEVEL_D]
        return np.where(days * 2 >= LEVEL_D, used / np.maximum(days, 1), -1.0)


@lru_cache(maxsize=8)
def _draws(blocks: int) -> tuple[Floats, Floats]:
    """Return the draws of the paths: which stretch, blocks x paths, and which year, one per path; all in [0, 1)."""
    count = BLOCKS + 1
    primes = [number for number in range(2, 500) if all(number % other for other in range(2, math.isqrt(number) + 1))][:count]
    draws = np.outer(np.sqrt(np.array(primes, dtype=np.float64)), np.arange(1, PATHS + 1)) % 1.0
    return draws[1 : blocks + 1], draws[0]


@lru_cache(maxsize=8)
def _drawn_days(blocks: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the drawn days off the season, blocks x paths, and those of the years drawn of one, two, three, years x paths."""
    which, year_draw = _draws(blocks)
    years = np.arange(1, YEARS + 1)[:, np.newaxis]
    return _OFFSETS[np.floor(which * len(_OFFSETS)).astype(np.int64)], YEAR_D * np.floor(year_draw * years).astype(np.int64)


def _curves(paths: Floats) -> Floats:
    """Return the percentiles of the running sums of paths, from zero: much, middling, little; origins x 3 x (blocks + 1)."""
    # so few figures a row are sorted whole faster than they are parted
    sums = np.sort(np.cumsum(paths, axis=1), axis=-1)[..., _RANKS]
    return np.moveaxis(np.concatenate((np.zeros((len(sums), 1, len(_RANKS))), sums), axis=1), 2, 1)


def _days_to(curve: Sequence[float], amount: float) -> float:
    """Return after how many days a running sum by the fortnight comes to an amount: evenly inside a fortnight, at its mean beyond."""
    if amount <= 0:
        return 0.0
    place = bisect_left(curve, amount)
    if place < len(curve):
        low = curve[place - 1]
        return (place - 1 + (amount - low) / (curve[place] - low)) * BLOCK_D
    return amount * (len(curve) - 1) * BLOCK_D / curve[-1] if curve[-1] > 0 else math.inf


def _held(misses: Floats) -> float:
    """Return the least widening that holds for the share of past forecasts; never a narrowing."""
    count = len(misses)
    rank = min(count, math.ceil((count + 1) * HELD_SHARE))
    return max(0.0, float(np.sort(misses)[rank - 1]))


__all__ = ["DailyUse", "UseAhead", "Widening"]
