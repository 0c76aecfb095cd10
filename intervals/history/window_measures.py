"""Figures of windows as a whole that rules may ask for: means, average power, starts, shares of hours, oil consumption.

In: an engine's ledger and the two ends of any number of windows. Out: one figure per window, NaN where it is unknown. Figures
only: whether one is past a threshold is for the rules. What a measure is called, and what it needs of the ledger, stands in its
row of `language/measures.py`; the method that works it out has its name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.language.durations import CalendarStep
from intervals.language.measures import condition_of_share, level_of_mean
from intervals.local_days import DAY_US
from intervals.rulebook.inference import Verdict
from intervals.rulebook.rulebook import HOURS_OF
from intervals.usage.ledger import FLOORED_LOAD, Ledger

Indexes = NDArray[np.int64]
NOTHING_H = 1e-6
SHARE_GRAIN = 1e-9
DAYS_A_YEAR = 365.25
_YEAR = CalendarStep("P1Y", years=1)


class Spans(NamedTuple):
    """Windows by their ends: edges of the ledger, instants, local day numbers (arrays of one length)."""

    start_edges: Indexes
    end_edges: Indexes
    start_us: Indexes
    end_us: Indexes
    start_days: Indexes
    end_days: Indexes


class LogBegin(NamedTuple):
    """When an engine's rows begin, and the ledger's running hours before that, which only the meter shows.

    Shares of what is known are of the hours that the log covers: what ran before it is not known by any row, and spoils no mean.
    """

    from_us: int | None = None
    before_h: float = 0.0


class Life(NamedTuple):
    """What is known of an engine's life, whatever the log covers.

    Attributes:
        first_day: its first day, or None.
        hours_at: its running hours at some instants, those before it came here included; NaN where they are not known.
    """

    first_day: date | None = None
    hours_at: Callable[[Instants], Floats] | None = None


_FROM_THE_START = LogBegin()
_NOT_STATED = Life()


@dataclass(frozen=True)
class Measurer:
    """Measures windows of one engine.

    Attributes:
        ledger: the engine's ledger.
        verdicts: what the rule book says of each duty cell.
        oil_density_kg_per_l: density of lube oil.
        known_share: a mean is unknown where less than this share of the running hours that the log covers is known.
        log: when the log begins.
        life: what is known of the engine's life.
    """

    ledger: Ledger
    verdicts: Sequence[Verdict]
    oil_density_kg_per_l: float
    known_share: float
    log: LogBegin = _FROM_THE_START
    life: Life = _NOT_STATED

    def measure(self, name: str, spans: Spans) -> Floats:
        """Return one measure of every window, NaN where it is unknown.

        Args:
            name: a mean, a share, or a measure of the table, whose method has its name.
            spans: the windows.
        """
        level = level_of_mean(name)
        if level is not None:
            return self._mean(level, f"mean:{level}", spans)
        if condition_of_share(name) is not None:
            return self._hours_share(name, spans)
        figures: Floats = getattr(self, name)(spans)
        return figures

    def _hours(self, spans: Spans) -> Floats:
        """Return the running hours of every window; NaN where there are none."""
        total = self.ledger.running_h
        hours = total[spans.end_edges] - total[spans.start_edges]
        return np.where(hours > NOTHING_H, hours, np.nan)

    def _covered_hours(self, spans: Spans) -> Floats:
        """Return the running hours of every window that the log covers; NaN where there are none."""
        total = self.ledger.running_h
        hours = total[spans.end_edges] - np.maximum(total[spans.start_edges], self.log.before_h)
        return np.where(hours > NOTHING_H, hours, np.nan)

    def _sum(self, name: str, spans: Spans) -> Floats:
        """Return the increase of a total over every window; NaN where it is unknown."""
        totals = self.ledger.totals.get(name)
        if totals is None:
            return np.full(len(spans.start_edges), np.nan)
        return totals[spans.end_edges] - totals[spans.start_edges]

    def _mean(self, level: str, total: str, spans: Spans) -> Floats:
        """Return the mean of a level, weighted by the running hours on which it is known."""
        hours, known = self._covered_hours(spans), self._sum(f"known:{level}", spans)
        with np.errstate(divide="ignore", invalid="ignore"):
            enough = (known > NOTHING_H) & (known / hours >= self.known_share - SHARE_GRAIN)
            return np.where(enough, self._sum(total, spans) / known, np.nan)

    def average_power_pct(self, spans: Spans) -> Floats:
        """Return the average power after ISO 8528-1, per cent of rated: below 30 % counts as 30 %, standstill is left out."""
        return self._mean("load_pct", FLOORED_LOAD, spans)

    def _hours_on(self, name: str, spans: Spans) -> tuple[Floats, Floats]:
        """Return the running hours on which a measure's condition holds, and those on which it is known to hold or not."""
        rule, cells = HOURS_OF + name, self.ledger.cell_running_h
        hours = cells[spans.end_edges] - cells[spans.start_edges]
        known = hours @ np.array([rule not in verdict.unknown for verdict in self.verdicts], dtype=np.float64)
        holds = hours @ np.array([rule in verdict.holds for verdict in self.verdicts], dtype=np.float64)
        return holds, known

    def _hours_share(self, name: str, spans: Spans) -> Floats:
        """Return the share of hours, per cent, on which a named condition holds, of those on which it is known."""
        holds, known = self._hours_on(name, spans)
        with np.errstate(divide="ignore", invalid="ignore"):
            enough = (known > NOTHING_H) & (known / self._covered_hours(spans) >= self.known_share - SHARE_GRAIN)
            return np.where(enough, 100.0 * holds / known, np.nan)

    def starts_per_100h(self, spans: Spans) -> Floats:
        """Return starts per 100 running hours."""
        known_from = self.ledger.counters_known_from_us.get("starts")
        if known_from is None:
            return np.full(len(spans.start_edges), np.nan)
        # a counter that begins with the log counts no start before it, and is held against no hour before it
        begins = self.log.from_us is not None and known_from >= self.log.from_us
        start_us = np.maximum(spans.start_us, self.log.from_us) if begins and self.log.from_us is not None else spans.start_us
        hours = self._covered_hours(spans) if begins else self._hours(spans)
        share = (spans.end_us - np.maximum(start_us, known_from)) / np.maximum(spans.end_us - start_us, 1)
        return np.where(share >= self.known_share, 100.0 * self._sum("starts", spans) / hours, np.nan)

    def oil_consumption_g_per_kwh(self, spans: Spans) -> Floats:
        """Return oil added, in grams per kWh made; energy from its counter, else from the mean load."""
        energy = self._sum("energy_kwh", spans)
        energy = np.where(np.isnan(energy), self._mean("load_kw", "mean:load_kw", spans) * self._covered_hours(spans), energy)
        with np.errstate(divide="ignore", invalid="ignore"):
            grams = self._sum("oil_added_l", spans) * self.oil_density_kg_per_l * 1000.0
            return np.where(energy > 0, grams / energy, np.nan)

    def days_since(self, spans: Spans) -> Floats:
        """Return local days since the window began."""
        return (spans.end_days - spans.start_days).astype(np.float64)

    def running_hours_per_day(self, spans: Spans) -> Floats:
        """Return running hours per 24 h."""
        total = self.ledger.running_h
        days = (spans.end_us - spans.start_us) / DAY_US
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(days > 0, (total[spans.end_edges] - total[spans.start_edges]) / days, np.nan)

    def age_years(self, spans: Spans) -> Floats:
        """Return the engine's age on the last day of every window: whole years, and days since the last birthday / 365.25."""
        first = self.life.first_day
        if first is None:
            return np.full(len(spans.end_days), np.nan)
        days = np.maximum(spans.end_days, first.toordinal())
        different, place = np.unique(days, return_inverse=True)
        ages = np.array([_age(first, date.fromordinal(day)) for day in different.tolist()], dtype=np.float64)
        return ages[place.reshape(-1)]

    def total_hours_h(self, spans: Spans) -> Floats:
        """Return the running hours of the engine's life where every window begins."""
        if self.life.hours_at is None:
            return np.full(len(spans.start_us), np.nan)
        return self.life.hours_at(spans.start_us)

    def month(self, spans: Spans) -> Floats:
        """Return the month of the last day of every window, 1 to 12."""
        different, place = np.unique(spans.end_days, return_inverse=True)
        months = np.array([date.fromordinal(day).month for day in different.tolist()], dtype=np.float64)
        return months[place.reshape(-1)]


def _age(first: date, day: date) -> float:
    """Return the years from one day to another; a 29 February has its birthday on the 28th where there is none."""
    years = day.year - first.year
    if _YEAR.after(first, years) > day:
        years -= 1
    return years + (day - _YEAR.after(first, years)).days / DAYS_A_YEAR
