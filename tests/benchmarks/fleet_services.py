"""Service records of the benchmark fleet: each task done roughly on time, at a weekly visit.

In: one engine's course (meter, load, sulphur by the hour). Out: its service records. A task is planned for the last
weekly visit before its hours (weighted as the rule set weighs them) or its days run out; now and then a visit is
missed and the task is done a week later, so that a fleet shows some tasks overdue and some late.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from tests.benchmarks.fleet_rules import LOAD_COUNTS_AS, LOAD_THRESHOLDS_PCT, SULPHUR_COUNTS_AS, SULPHUR_THRESHOLDS_PCT, TASKS, FleetTask

if TYPE_CHECKING:
    from numpy.typing import NDArray

DAYS_BETWEEN_VISITS = 7
VISIT_BEGINS_H = 8
MINUTES_PER_TASK = 20
MISSED_VISIT_SHARE = 0.03


class ServiceRow(NamedTuple):
    """One service record: local time, engine, task, hour meter."""

    at: str
    engine: str
    task: str
    meter_h: float


@dataclass(frozen=True)
class EngineCourse:
    """What one engine did hour by hour: the meter at each hour's end, load and sulphur in it (NaN where unknown)."""

    engine: str
    begins: date
    meter_h: NDArray[np.float64]
    load_pct: NDArray[np.float64]
    sulphur_pct: NDArray[np.float64]


def services_of_engine(rng: np.random.Generator, course: EngineCourse) -> list[ServiceRow]:
    """Place the service records of one engine.

    Args:
        rng: where the missed visits come from.
        course: what the engine did; its meter starts at 0.

    Returns:
        The records, task by task.
    """
    meter_h, load_pct, sulphur_pct = course.meter_h, course.load_pct, course.sulphur_pct
    run_h = np.diff(meter_h, prepend=0.0)
    load_low, load_high = LOAD_THRESHOLDS_PCT
    sulphur_low, sulphur_high = SULPHUR_THRESHOLDS_PCT
    by_load = np.where((load_pct < load_low) | (load_pct > load_high), LOAD_COUNTS_AS, 1.0)
    by_sulphur = np.where((sulphur_pct >= sulphur_low) & (sulphur_pct <= sulphur_high), SULPHUR_COUNTS_AS, 1.0)
    first_visit = int(rng.integers(1, DAYS_BETWEEN_VISITS)) * 24 + VISIT_BEGINS_H - 1
    # A visit on the log's last day would run past its end.
    visit_rows = np.arange(first_visit, run_h.size - 24, DAYS_BETWEEN_VISITS * 24)
    midnight = datetime.combine(course.begins, time())
    records = []
    for slot, task in enumerate(TASKS):
        weight = (by_load if task.load_counts else 1.0) * (by_sulphur if task.sulphur_counts else 1.0)
        counted_h = np.cumsum(run_h * weight)[visit_rows]
        for visit in _visits_done(rng, task, counted_h, visit_rows):
            # The row that ends at the visit's beginning is followed by the tasks' own minutes.
            minutes = slot * MINUTES_PER_TASK
            row = int(visit_rows[visit]) + minutes // 60
            done_h = meter_h[row] + (meter_h[row + 1] - meter_h[row]) * (minutes % 60) / 60
            at = midnight + timedelta(hours=row + 1, minutes=minutes % 60)
            records.append(ServiceRow(at.isoformat(timespec="minutes"), course.engine, task.id, float(done_h)))
    return records


def _visits_done(rng: np.random.Generator, task: FleetTask, counted_h: NDArray[np.float64], visit_rows: NDArray[np.int64]) -> list[int]:
    """Say at which visits the task is done: the last one inside the interval, or rarely the next."""
    done: list[int] = []
    last_h, last_row = 0.0, 0
    while True:
        by_hours = int(np.searchsorted(counted_h, last_h + task.interval_h, side="right")) - 1
        by_days = int(np.searchsorted(visit_rows, last_row + (task.interval_days - 1) * 24, side="right")) - 1
        ends_inside = min(by_hours, by_days) == len(counted_h) - 1
        visit = max(min(by_hours, by_days), done[-1] + 1 if done else 0) + int(rng.random() < MISSED_VISIT_SHARE)
        if ends_inside or visit >= len(counted_h):
            return done
        done.append(visit)
        last_h, last_row = float(counted_h[visit]), int(visit_rows[visit])
