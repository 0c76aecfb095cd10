"""How a leg will be used up: paths made of the engine's own past fortnights, and how far such paths were off before.

In: what was used up to the end of each day of an engine's log. Out: after how many days an amount is used up, as an early, a middle and a
late figure, and how well ranges of this kind held in the engine's own past. It extrapolates; it judges nothing.

The model. A path ahead is a row of fortnights taken from the same season (three weeks either side, the same days of the week) of one of the
three years before, drawn towards the level of the last twelve weeks by the square root of its ratio to the same weeks of that year, a
difference that fades over 90 days. Where the log is shorter than fourteen months, the fortnights come from the last half year. The early and
the late figure are the tenth and the ninetieth percentile of the paths, widened on the scale of logarithms by what the engine's own finished
past forecasts were off (split conformal prediction, Vovk and others 2005, Romano and others 2019; from memory). Nothing is drawn at random:
the draws are the sequence of Richtmyer (multiples of the square roots of the primes), so that the same log gives the same bytes.
"""

from __future__ import annotations

import math
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags, Floats

BLOCK_D = 14
"""Days of the stretches that paths are made of."""
PATHS = 101
BLOCKS = 78
"""Stretches of a path: three years; what lasts longer goes on at the path's mean."""
SEASON_D = 21
YEAR_D = 364
"""Fifty-two weeks, so that a day of the week stays one."""
YEARS = 3
SEASONAL_FROM_D = 425
"""With so many days of log, fourteen months, paths follow the season."""
SHORT_LOG_D = 182
LEVEL_D = 84
LEVEL_POWER = 0.5
LEVEL_MOST = 4.0
FADE_D = 90.0
QUANTILES = (0.1, 0.5, 0.9)
ORIGIN_STEP_D = 30
MOST_ORIGINS = 24
AMOUNTS_D = (10.0, 30.0, 90.0, 180.0)
"""Past forecasts are tried on what is used in so many days at the mean pace."""
FEWEST_ORIGINS = 8
HELD_SHARE = 0.93
"""Share of finished past forecasts whose early figure, and whose late figure, is to hold after the widening."""
_LEAST_D = 0.5
_OFFSETS = np.arange(-SEASON_D, SEASON_D + 1, 7)


class Widening(NamedTuple):
    """What the early and the late figure are moved by, as a natural logarithm, and on how many finished forecasts that rests."""

    early: float = 0.0
    late: float = 0.0
    finished: int = 0


class DailyUse(NamedTuple):
    """What was used up to the end of each day: its first entry is zero, so that there is one more than days.

    Attributes:
        total: running sum, in the leg's unit.
        counts: whether each day can stand for a day ahead: lay-ups cannot.
    """

    total: Floats
    counts: Flags | None = None

    @property
    def days(self) -> int:
        """Days of log."""
        return len(self.total) - 1


class UseAhead:
    """The paths of one leg from the end of its log on."""

    def __init__(self, use: DailyUse) -> None:
        self.use = use
        self._stretches = _Stretches.of(use)

    @property
    def is_seasonal(self) -> bool:
        """Whether the log is long enough for paths to follow the season."""
        return self.use.days >= SEASONAL_FROM_D

    @cached_property
    def _sums(self) -> Floats:
        """Running sums of the paths ahead, paths x (blocks + 1)."""
        return _running(self._stretches.paths(np.array([self.use.days]), BLOCKS))[0]

    def days_to(self, amounts: Floats) -> Floats:
        """Return after how many days amounts are used up.

        Args:
            amounts: what is left, in the leg's unit, (n,).

        Returns:
            Early, middle and late days, (3, n), widened; infinite where the engine does not run in its paths.
        """
        days = _days_to(self._sums[np.newaxis], np.asarray(amounts, dtype=np.float64))[0]
        middle = _quantiles(days)
        return np.array([middle[0] * math.exp(-self.widening.early), middle[1], middle[2] * math.exp(self.widening.late)])

    @cached_property
    def widening(self) -> Widening:
        """How far the range is widened by the engine's own finished past forecasts; nothing where there are too few."""
        early, late, _ = self._misses
        if len(early) < FEWEST_ORIGINS:
            return Widening(finished=len(early))
        return Widening(_held(early), _held(late), len(early))

    def share_held(self) -> tuple[int, int] | None:
        """Return how many of the engine's own finished forecasts held their range, and of how many; each widened by those finished before it.

        Returns:
            None where too few were finished.
        """
        early, late, finished = self._misses
        order = np.argsort(finished, kind="stable")
        held = tried = 0
        for place in order:
            before = finished < finished[place]
            if before.sum() >= FEWEST_ORIGINS:
                tried += 1
                held += bool(early[place] <= _held(early[before]) and late[place] <= _held(late[before]))
        return (held, tried) if tried else None

    @cached_property
    def _misses(self) -> tuple[Floats, Floats, Floats]:
        """Of each finished past forecast: by how much it came earlier than the early figure, later than the late one, and when it was known."""
        days = self.use.days
        origins = np.arange(days - ORIGIN_STEP_D, SEASONAL_FROM_D - 1, -ORIGIN_STEP_D)[:MOST_ORIGINS]
        mean = float(self.use.total[-1]) / days if days else 0.0
        if not len(origins) or mean <= 0:
            none = np.zeros(0)
            return none, none, none
        amounts = mean * np.array(AMOUNTS_D)
        sums = _running(self._stretches.paths(origins, -(-int(max(AMOUNTS_D) * 2) // BLOCK_D)))
        found = np.log(np.maximum(_LEAST_D, _quantiles(_days_to(sums, amounts))))
        reached = np.searchsorted(self.use.total, self.use.total[origins][:, np.newaxis] + amounts)
        is_finished = reached <= days
        took = np.log(np.maximum(_LEAST_D, reached - origins[:, np.newaxis]))
        return (found[0] - took)[is_finished], (took - found[2])[is_finished], reached[is_finished].astype(np.float64)


class _Stretches(NamedTuple):
    """Every stretch of a fortnight in a log, by its first day."""

    total: Floats
    sums: Floats
    nearest: NDArray[np.int64]

    @classmethod
    def of(cls, use: DailyUse) -> _Stretches:
        """Return the stretches of a log; one that holds a day of lay-up gives its place to the nearest that does not."""
        sums = use.total[BLOCK_D:] - use.total[:-BLOCK_D] if use.days >= BLOCK_D else np.zeros(0)
        places = np.arange(len(sums))
        if use.counts is None or not len(sums):
            return cls(use.total, sums, places)
        away = np.concatenate(([0], np.cumsum(~use.counts)))
        good = places[away[BLOCK_D:] == away[:-BLOCK_D]]
        if not len(good):
            return cls(use.total, sums, places)
        after = np.minimum(np.searchsorted(good, places), len(good) - 1)
        before = np.maximum(after - 1, 0)
        closer = np.where(np.abs(good[before] - places) <= np.abs(good[after] - places), good[before], good[after])
        return cls(use.total, sums, closer)

    def paths(self, origins: NDArray[np.int64], blocks: int) -> Floats:
        """Return what is used in each stretch of each path ahead of several days, origins x paths x blocks; origins are all long or one short."""
        which, year_draw = _draws(blocks)
        last = origins[:, np.newaxis, np.newaxis] - BLOCK_D
        if int(origins.min()) < SEASONAL_FROM_D:
            reach = np.maximum(0, np.minimum(SHORT_LOG_D, origins[:, np.newaxis, np.newaxis]) - BLOCK_D)
            return np.asarray(self.sums[self.nearest[last - np.floor(which * (reach + 1)).astype(np.int64)]])
        ahead = origins[:, np.newaxis] + np.arange(blocks) * BLOCK_D
        first = np.maximum(1, -(-(ahead + SEASON_D - last[:, :, 0]) // YEAR_D))
        years = np.clip((ahead - SEASON_D) // YEAR_D - first + 1, 1, YEARS)
        back = first[:, np.newaxis, :] + np.floor(year_draw[:, np.newaxis] * years[:, np.newaxis, :]).astype(np.int64)
        place = ahead[:, np.newaxis, :] - YEAR_D * back + _OFFSETS[np.floor(which * len(_OFFSETS)).astype(np.int64)]
        found = self.sums[self.nearest[np.clip(place, 0, last)]]
        fade = np.exp(-(np.arange(blocks) * BLOCK_D + BLOCK_D / 2) / FADE_D)
        return np.minimum(found * (1.0 + (self._level(origins, year_draw) - 1.0)[:, :, np.newaxis] * fade), self.sums.max())

    def _level(self, origins: NDArray[np.int64], year_draw: Floats) -> Floats:
        """Return the ratio of the last weeks to the same weeks of the year that each path comes from, origins x paths."""
        years = np.clip((origins - LEVEL_D) // YEAR_D, 1, YEARS)
        back = 1 + np.floor(year_draw * years[:, np.newaxis]).astype(np.int64)
        now = self.total[origins] - self.total[origins - LEVEL_D]
        then_end = np.maximum(origins[:, np.newaxis] - YEAR_D * back, 0)
        then = self.total[then_end] - self.total[np.maximum(then_end - LEVEL_D, 0)]
        ratio = np.divide(now[:, np.newaxis], then, out=np.ones_like(then), where=(then > 0) & (then_end >= LEVEL_D))
        return np.asarray(np.clip(ratio, 1 / LEVEL_MOST, LEVEL_MOST) ** LEVEL_POWER)


@lru_cache(maxsize=8)
def _draws(blocks: int) -> tuple[Floats, Floats]:
    """Return the draws of the paths: which stretch, paths x blocks, and which year, one per path; all in [0, 1)."""
    count = BLOCKS + 1
    primes = [number for number in range(2, 500) if all(number % other for other in range(2, math.isqrt(number) + 1))][:count]
    draws = np.outer(np.arange(1, PATHS + 1), np.sqrt(np.array(primes, dtype=np.float64))) % 1.0
    return draws[:, 1 : blocks + 1], draws[:, 0]


def _running(paths: Floats) -> Floats:
    """Return running sums of paths, from zero."""
    return np.concatenate((np.zeros((*paths.shape[:-1], 1)), np.cumsum(paths, axis=-1)), axis=-1)


def _days_to(sums: Floats, amounts: Floats) -> Floats:
    """Return after how many days each path has used up each amount, origins x paths x amounts; inside a fortnight evenly."""
    blocks = sums.shape[-1] - 1
    place = np.stack([(sums < amount).sum(axis=-1) for amount in amounts], axis=-1)
    inside = np.clip(place, 1, blocks)
    low, high = np.take_along_axis(sums, inside - 1, axis=-1), np.take_along_axis(sums, inside, axis=-1)
    step = np.divide(amounts - low, high - low, out=np.zeros_like(low), where=high > low)
    days = (inside - 1 + step) * BLOCK_D
    mean = sums[..., -1:] / (blocks * BLOCK_D)
    beyond = np.divide(amounts - sums[..., -1:], mean, out=np.full_like(days, np.inf), where=mean > 0) + blocks * BLOCK_D
    return np.where(place > blocks, beyond, np.where(amounts > 0, days, 0.0))


def _quantiles(days: Floats) -> Floats:
    """Return the percentiles of the paths, 3 x ...; an infinite figure is one that a path takes, never a mean with one."""
    ordered = np.sort(days, axis=-2)
    places = [round(share * (PATHS - 1)) for share in QUANTILES]
    return np.moveaxis(ordered[..., places, :], -2, 0)


def _held(misses: Floats) -> float:
    """Return the least widening that holds for the share of past forecasts; never a narrowing."""
    count = len(misses)
    rank = min(count, math.ceil((count + 1) * HELD_SHARE))
    return max(0.0, float(np.sort(misses)[rank - 1]))


__all__ = ["DailyUse", "UseAhead", "Widening"]
