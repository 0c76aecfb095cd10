"""Engines invented day by day, to try due dates on: running hours of seven years, six kinds, each engine from a seed of its own.

In: a kind and a number. Out: running hours of each day. Every year has weather, outages and prices of its own: temperatures are a mean
course of the year with noise that lasts days and noise that lasts weeks; outages come at random and last about a day or two.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from intervals.arrays import Floats

YEARS = 7
DAYS = YEARS * 365
_FIRST_DAY = np.datetime64("2018-01-01")
_DATES = _FIRST_DAY + np.arange(DAYS)
DAY_OF_YEAR = (_DATES - _DATES.astype("datetime64[Y]")).astype(np.int64)
# the first of January 1970 was a Thursday: Monday is 0
DAY_OF_WEEK = (_DATES.astype("datetime64[D]").astype(np.int64) + 3) % 7
HOURS_A_DAY = 24.0


def heat_led(rng: np.random.Generator) -> Floats:
    """Return the hours of an engine that heats buildings: the colder, the longer; some hot water all year."""
    per_degree, base = rng.uniform(1.3, 2.0), rng.uniform(2, 5)
    hours = np.maximum(0, 16 - _temperature(rng)) * per_degree + base
    return _with_outages(rng, np.clip(hours + rng.normal(0, 1.0, DAYS), 0, HOURS_A_DAY), every_d=60, lasts_d=1.2)


def peak_led(rng: np.random.Generator) -> Floats:
    """Return the hours of an engine that runs for dear hours of the day: on working days, more in winter, with prices that wander."""
    base = 7 + np.maximum(0, 14 - _temperature(rng)) * 0.35
    week = np.where(DAY_OF_WEEK < 5, 1.0, rng.uniform(0, 0.3))
    hours = base * week * np.exp(_wandering(rng, 0.9, 0.25)) + rng.normal(0, 0.7, DAYS)
    return _with_outages(rng, np.clip(hours, 0, 18), every_d=80, lasts_d=1.0)


def biogas(rng: np.random.Generator) -> Floats:
    """Return the hours of an engine that burns what a digester gives: nearly all day, at a level that wanders over weeks."""
    level = np.clip(0.93 + _wandering(rng, 0.98, 0.06), 0.4, 1.0)
    hours = HOURS_A_DAY * level + rng.normal(0, 0.4, DAYS)
    return _with_outages(rng, np.clip(hours, 0, HOURS_A_DAY), every_d=45, lasts_d=1.6)


def standby(rng: np.random.Generator) -> Floats:
    """Return the hours of an emergency set: half an hour or an hour every four to five weeks, and power failures a few times a year."""
    hours = np.zeros(DAYS)
    day = int(rng.integers(0, 28))
    while day < DAYS:
        hours[day] += rng.choice([0.5, 1.0])
        day += 28 + int(rng.integers(0, 6))
    for failed in np.flatnonzero(rng.random(DAYS) < 0.012):
        hours[failed] += min(HOURS_A_DAY, rng.lognormal(np.log(2.0), 1.0))
    return hours


def ship(rng: np.random.Generator) -> Floats:
    """Return the hours of one of a ship's generators: days at sea and in port, and another route every eight to sixteen months."""
    hours, day, left = np.empty(DAYS), 0, 0
    sea_d = port_d = share = 0.0
    while day < DAYS:
        if left <= 0:
            left, sea_d, port_d, share = int(rng.uniform(240, 480)), rng.uniform(2, 12), rng.uniform(1, 5), rng.uniform(0.35, 0.75)
        at_sea, in_port = max(1, int(rng.normal(sea_d, sea_d * 0.2))), max(1, int(rng.normal(port_d, port_d * 0.3)))
        is_on = rng.random() < share
        hours[day : day + at_sea] = np.clip(rng.normal(20 if is_on else 5, 2), 0, HOURS_A_DAY)
        hours[day + at_sea : day + at_sea + in_port] = np.clip(rng.normal(9, 2), 0, HOURS_A_DAY)
        day, left = day + at_sea + in_port, left - at_sea - in_port
    return hours


def island(rng: np.random.Generator) -> Floats:
    """Return the hours of one of an island's three sets: a week in turn as the first, the second, the third, most load in summer."""
    load = 0.55 + 0.3 * np.exp(-(((DAY_OF_YEAR - 205) / 45.0) ** 2)) + _wandering(rng, 0.9, 0.04)
    turn = ((np.arange(DAYS) + rng.integers(0, 21)) // 7) % 3
    second, third = HOURS_A_DAY * np.clip((load - 0.45) * 2.2, 0, 1), HOURS_A_DAY * np.clip((load - 0.75) * 3, 0, 0.6)
    hours = np.where(turn == 0, 23.5, np.where(turn == 1, second, third)) + rng.normal(0, 0.5, DAYS)
    return _with_outages(rng, np.clip(hours, 0, HOURS_A_DAY), every_d=90, lasts_d=2.0)


KINDS: dict[str, Callable[[np.random.Generator], Floats]] = {
    "heat-led": heat_led,
    "peak-led": peak_led,
    "biogas": biogas,
    "standby": standby,
    "ship, changing routes": ship,
    "island": island,
}


def engines(per_kind: int, seed: int) -> Iterator[tuple[str, Floats]]:
    """Yield kind and running hours up to the end of each day, from zero, of so many engines of each kind.

    Args:
        per_kind: how many of each kind.
        seed: another seed gives other weather, other outages, other engines.
    """
    for place, (kind, hours_of) in enumerate(KINDS.items()):
        for number in range(per_kind):
            hours = hours_of(np.random.default_rng([seed, place, number]))
            yield kind, np.concatenate((np.zeros(1), np.cumsum(hours)))


def _temperature(rng: np.random.Generator) -> Floats:
    """Return daily mean temperatures, degrees Celsius: coldest in late January, seven winters of their own."""
    mean = 10 - 9 * np.cos(2 * np.pi * (DAY_OF_YEAR - 20) / 365)
    return np.asarray(mean + _wandering(rng, 0.75, 3.2) + _wandering(rng, 0.985, 1.3))


def _wandering(rng: np.random.Generator, keeps: float, spread: float) -> Floats:
    """Return noise of a mean of zero that keeps so much of itself from day to day."""
    steps, found = rng.normal(0, spread * np.sqrt(1 - keeps * keeps), DAYS), np.empty(DAYS)
    found[0] = rng.normal(0, spread)
    for day in range(1, DAYS):
        found[day] = keeps * found[day - 1] + steps[day]
    return found


def _with_outages(rng: np.random.Generator, hours: Floats, *, every_d: float, lasts_d: float) -> Floats:
    """Return hours with days on which the engine stood still for repair."""
    day = 0
    while True:
        day += int(rng.exponential(every_d)) + 1
        if day >= len(hours):
            return hours
        lasts = max(1, int(rng.lognormal(np.log(lasts_d), 0.5)))
        hours[day : day + lasts] = 0
        day += lasts
