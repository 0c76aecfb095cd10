"""The steps of one engine inside a span: what every figure of its duty is summed from.

In: an engine's case and the span's two ends. Out: a `DutySpan`, arrays of one length. Arithmetic only.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.history.engine_case import EngineCase
from intervals.local_days import DAY_US, HOUR_US
from intervals.usage.engine_blocks import covered_borders_us

YEAR_DAYS = 365.25
FULL_GRAIN_H = 0.15
"""A step that ran so little less than its time ran through: hour meters show tenths."""
COUNT_GRAIN = 1e-6


@dataclass(frozen=True)
class DutySpan:
    """Steps of one engine between two of its ledger's edges.

    Attributes:
        case: the engine's case.
        start_us: first instant.
        end_us: last instant.
        start_edge: the ledger's edge at the start.
        end_edge: the ledger's edge at the end.
        first: index of the first step.
        last: index behind the last step.
    """

    case: EngineCase
    start_us: int
    end_us: int
    start_edge: int
    end_edge: int
    first: int
    last: int

    @classmethod
    def of(cls, case: EngineCase, since_us: int, until_us: int | None = None) -> DutySpan:
        """Return the steps from a local midnight (or the first thing known, if that is later) to another, or to the case's end."""
        edges = case.ledger.edges_us
        start_edge = min(int(np.searchsorted(edges, since_us, side="left")), len(edges) - 1)
        start_us, end_us, end_edge = int(edges[start_edge]), case.end_us, case.end_edge
        if until_us is not None and until_us < end_us:
            end_edge = max(int(np.searchsorted(edges, until_us, side="right")) - 1, start_edge)
            end_us = int(edges[end_edge])
        steps = case.steps
        nodes = np.zeros(0, dtype=np.int64) if steps is None else steps.at_us
        first, last = (int(np.searchsorted(nodes, at, side="left")) for at in (start_us, end_us))
        return cls(case, start_us, end_us, start_edge, end_edge, first, last)

    @property
    def last_day(self) -> date:
        """The last local day that the span covers."""
        case = self.case
        return case.last_day if self.end_us >= case.end_us else case.days.date_of(self.end_us - 1)

    @cached_property
    def nodes_us(self) -> Instants:
        """Both ends of every step, one more than there are steps."""
        steps = self.case.steps
        return np.zeros(1, dtype=np.int64) if steps is None else steps.at_us[self.first : self.last + 1]

    @cached_property
    def hours_h(self) -> Floats:
        """Running hours of each step."""
        steps = self.case.steps
        return np.zeros(0) if steps is None else steps.hours_h[self.first : self.last]

    @cached_property
    def elapsed_h(self) -> Floats:
        """Length of each step on the clock."""
        return np.diff(self.nodes_us) / HOUR_US

    @cached_property
    def runs(self) -> NDArray[np.bool_]:
        """Whether the engine ran in each step."""
        return self.hours_h > 0

    @property
    def running_h(self) -> float:
        """Running hours."""
        return float(self.hours_h.sum())

    @cached_property
    def before_log_h(self) -> float:
        """Running hours before the log began: no row covers them."""
        from_us = self.case.log.covers_from_us
        return 0.0 if from_us is None else float(self.hours_h[self.nodes_us[1:] <= from_us].sum())

    @cached_property
    def unknown_time_h(self) -> float:
        """Time of which no meter shows whether the engine ran, within the time that the log covers."""
        steps = self.case.steps
        if steps is None or self.covered_us is None:
            return 0.0
        inside = (self.nodes_us[:-1] >= self.covered_us[0]) & (self.nodes_us[1:] <= self.covered_us[1])
        return float(self.elapsed_h[inside & ~steps.is_known[self.first : self.last]].sum())

    def level(self, name: str) -> Floats:
        """Return a level on each step, NaN where it is unknown."""
        values = None if self.case.steps is None else self.case.steps.levels.get(name)
        return np.full(len(self.hours_h), np.nan) if values is None else values[self.first : self.last]

    def increase(self, name: str) -> Floats | None:
        """Return what each step adds to a counter or amount; None where it is not logged."""
        values = None if self.case.steps is None else self.case.steps.increments.get(name)
        return None if values is None else values[self.first : self.last]

    def running_h_counted_by(self, counter: str) -> float:
        """Return the running hours that a counter covers: those after its first reading."""
        known_from = self.case.ledger.counters_known_from_us.get(counter)
        return self.running_h if known_from is None else float(self.hours_h[self.nodes_us[:-1] >= known_from].sum())

    @cached_property
    def load_pct(self) -> Floats:
        """Load on each step, per cent of rated, to a millionth as it meets a threshold; NaN where it is unknown or the engine stood."""
        return np.where(self.runs, np.round(self.level("load_pct"), 6), np.nan)

    @cached_property
    def energy_kwh(self) -> Floats | None:
        """Energy made in each step: its counter, else load times running hours where the load is known; None where it is unknown."""
        counted = self.increase("energy_kwh")
        if counted is not None:
            return counted
        load = self.level("load_kw")
        return None if np.isnan(load).all() else np.nan_to_num(load * self.hours_h, nan=0.0)

    @cached_property
    def covered_us(self) -> tuple[int, int] | None:
        """From when to when the log covers the engine, inside the span; None where it covers nothing."""
        log = self.case.log
        first = log.course.known_from_us if log.course.is_known else (int(log.rows[0]) if len(log.rows) else None)
        if first is None or log.log_end_us is None:
            return None
        start, end = max(self.start_us, first, log.in_service_us or first), min(self.end_us, log.log_end_us)
        return (start, end) if end > start else None

    @property
    def covered_days(self) -> float | None:
        """How many days of the span the log covers."""
        return None if self.covered_us is None else (self.covered_us[1] - self.covered_us[0]) / DAY_US

    def a_year(self, amount: float | None) -> float | None:
        """Return what an amount of the span comes to in a year."""
        days = self.covered_days
        return None if amount is None or days is None else amount / days * YEAR_DAYS

    @cached_property
    def stretch_of(self) -> NDArray[np.int64]:
        """The number of the unbroken run that each step belongs to; standing steps carry the number of what was before.

        A run is broken where the engine stood, and where a start was counted. Where no starts are counted, a row that ran for
        less than its time joins what ran before it or what ran after it, not both.
        """
        if not len(self.hours_h):
            return np.zeros(0, dtype=np.int64)
        # steps that are cut out of one row of the log say nothing of their own
        log, from_us = self.case.log, self.nodes_us[:-1]
        rows_before = log.rows.searchsorted(from_us, side="right")
        # the first row after a silence covers its own rhythm alone
        for border_us in (border for block in log.blocks for border in covered_borders_us(block)):
            rows_before = rows_before + np.sort(border_us).searchsorted(from_us, side="right")
        row: NDArray[np.int64] = np.cumsum(np.diff(rows_before, prepend=rows_before[0]) > 0)
        hours, elapsed = np.bincount(row, weights=self.hours_h), np.bincount(row, weights=self.elapsed_h)
        runs = hours > 0
        broken = ~runs | np.concatenate(([True], ~runs[:-1]))
        starts = self.increase("starts")
        if starts is not None and starts.any():
            broken |= np.bincount(row, weights=starts) > COUNT_GRAIN
        else:
            full = hours >= elapsed - FULL_GRAIN_H
            part_before = np.concatenate(([False], ~full[:-1]))
            ran_before_that = np.concatenate(([False, False], (runs & full)[:-2]))[: len(hours)]
            broken |= part_before & (~full | ran_before_that)
        run = np.cumsum(broken.astype(np.int64))
        return run[row]
