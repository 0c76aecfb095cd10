"""What is known of what a budget counts of one engine: from when on, up to when, and what may have run besides.

In: an engine made ready to be judged. Out: a `Cover`, plain values that travel to another process, and the `Doubt` of a stretch of time.
Nothing is decided here: whether a doubt matters is for who judges the budget.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from intervals.arrays import Floats, Instants
from intervals.history.engine_case import METER_GAP, NO_METER, EngineCase
from intervals.history.engine_records import HoursRecord
from intervals.history.window_measures import NOTHING_H
from intervals.language.legs import RUNNING_HOURS
from intervals.local_days import HOUR_US, LocalDays
from intervals.rules.budgets import Budget
from intervals.usage.meter.meter_course import ActiveTime

MOST_NAMED = 3


class Doubt(NamedTuple):
    """Why what was counted is not all, an empty text where it is, and how many hours more it may be; None: nobody can say."""

    why: str
    more_h: float | None


@dataclass(frozen=True)
class Cover:
    """What is known of one engine.

    Attributes:
        days: the site's local days.
        quantities: what is counted of its log.
        unlogged: which of it the log does not have.
        in_service_us: since when it is in service, None where nobody says.
        end_us: the moment of judging, or the engine's last one.
        log_end_us: up to when its meter was read.
        ended: the same in words.
        gap_us: for how long its log may be silent.
        active: when it was not laid up.
        first_row_us: the first row of its log.
        known_from_us: the first reading of each counter.
        edges_us: the edges of its ledger.
        unknown_up_to_h: time up to each of which no meter shows whether it ran.
        records_from_us: from when on its records are complete.
        counts_records: whether hours of service records count.
        records: the records that count.
    """

    days: LocalDays
    quantities: tuple[str, ...]
    unlogged: tuple[str, ...]
    in_service_us: int | None
    end_us: int
    log_end_us: int | None
    ended: str
    gap_us: int
    active: ActiveTime
    first_row_us: int | None
    known_from_us: Mapping[str, int]
    edges_us: Instants
    unknown_up_to_h: Floats
    records_from_us: int | None
    counts_records: bool
    records: tuple[HoursRecord, ...]

    @classmethod
    def of(cls, case: EngineCase, budget: Budget) -> Cover:
        """Return what is known of what a budget counts of an engine."""
        log, ledger, counted = case.log, case.ledger, budget.of
        return cls(
            days=case.days,
            quantities=counted.quantities,
            unlogged=tuple(name for name in counted.quantities if name != RUNNING_HOURS and name not in ledger.sums),
            in_service_us=log.in_service_us,
            end_us=case.end_us,
            log_end_us=log.log_end_us,
            ended=case.log_ended_text(log.log_end_us or 0),
            gap_us=log.gap_us,
            active=log.active,
            first_row_us=int(log.rows[0]) if len(log.rows) else None,
            known_from_us={
                name: ledger.counters_known_from_us[name] for name in counted.quantities if name in ledger.counters_known_from_us
            },
            edges_us=ledger.edges_us,
            unknown_up_to_h=ledger.unknown_up_to_h,
            records_from_us=case.records_from_us,
            counts_records=bool(counted.records),
            records=tuple(entry for task in counted.records for entry in case.records.hours.get(task, ())),
        )

    def doubt(self, start_us: int, end_us: int) -> Doubt:
        """Return what is not known of a stretch of time.

        Args:
            start_us: its first moment.
            end_us: its end, at most the moment of judging; what lies after the engine's last moment is known to be nothing.
        """
        start_us = start_us if self.in_service_us is None else max(start_us, self.in_service_us)
        until_us = min(end_us, self.end_us)
        if start_us >= until_us:
            return Doubt("", 0.0)
        for why in (self._unlogged(start_us), self._unrecorded(start_us, until_us)):
            if why:
                return Doubt(why, None)
        if not self.quantities:
            return Doubt("", 0.0)
        silent_us = self._silence_us(until_us)
        silent_h = silent_us / HOUR_US if silent_us > self.gap_us else 0.0
        if silent_h > 0 and self.quantities != (RUNNING_HOURS,):
            return Doubt(self.ended, None)
        unknown_h = self._unknown_h(start_us, until_us) if RUNNING_HOURS in self.quantities else 0.0
        more_h = unknown_h + silent_h
        if more_h <= NOTHING_H:
            return Doubt("", more_h)
        return Doubt(f"{METER_GAP} part of this period" if unknown_h > NOTHING_H else self.ended, more_h)

    def _silence_us(self, until_us: int) -> int:
        """Return how long the log has been silent at an instant, lay-ups left out."""
        if self.log_end_us is None or self.log_end_us >= until_us:
            return 0
        return self.active.between_us(self.log_end_us, until_us)

    def _unknown_h(self, start_us: int, end_us: int) -> float:
        """Return the time between two instants of which no meter shows whether the engine ran."""
        edges = self.edges_us
        before_h = max(0, int(edges[0]) - start_us) / HOUR_US
        low = int(edges.searchsorted(max(start_us, int(edges[0]))))
        high = min(int(edges.searchsorted(end_us)), len(edges) - 1)
        return before_h + float(self.unknown_up_to_h[high] - self.unknown_up_to_h[min(low, high)])

    def _unlogged(self, start_us: int) -> str:
        """Return which quantity the log does not know from an instant on."""
        if self.unlogged:
            return f"no {' and no '.join(self.unlogged)} is logged"
        if self.quantities and self.log_end_us is None:
            return f"{NO_METER} was ever read"
        first_us = start_us if self.first_row_us is None else self.first_row_us - self.gap_us
        for name in self.quantities:
            known_from = self.known_from_us.get(name, first_us)
            if name != RUNNING_HOURS and known_from > start_us:
                return f"{name} is known only from {self.days.iso(known_from)} on"
        return ""

    def _unrecorded(self, start_us: int, end_us: int) -> str:
        """Return why the service records do not cover all hours."""
        if not self.counts_records:
            return ""
        if self.records_from_us is None or self.records_from_us > start_us:
            since = "nothing says from when on" if self.records_from_us is None else f"only from {self.days.iso(self.records_from_us)} on"
            return f"{since} the service records are complete"
        blank = [row.record for row in self.records if row.hours_h is None and start_us <= row.at_us <= end_us]
        return f"no hours are recorded in {', '.join(blank[:MOST_NAMED])}" if blank else ""
