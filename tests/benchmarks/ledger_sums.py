"""What `ledger_only` sums: the log of a fleet by engine, day and duty cell, as the package's own ledger has it.

In: a fleet folder. Out: the checksum's figures. It does all that `intervals check` does up to the ledger: cells that cannot be read,
rows out of order, repeated rows, meters and counters that step back.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from intervals.local_days import LocalDays
from intervals.processes import map_in_processes, processes_for
from intervals.readings.read import read_readings
from intervals.rulebook.duty_cells import CellPlan
from intervals.site.model import Site, load_site
from intervals.usage.engine_log import gather_engine_log
from intervals.usage.ledger import build_ledger
from intervals.usage.steps import build_steps
from tests.benchmarks.fleet_folder import (
    CELL_FACTOR,
    CELLS_PER_LEVEL,
    DAY_FACTOR,
    ENGINE_FACTOR,
    MODULUS,
    US_PER_DAY,
    FleetFolder,
)

if TYPE_CHECKING:
    from intervals.readings.rows import Readings
    from intervals.usage.ledger import Ledger


class Sums(NamedTuple):
    """The checksum's figures of one engine."""

    hours: float
    starts: int
    by_day: int
    by_cell: int


def ledger_of(site: Site, index: int, readings: Readings, days: LocalDays, plan: CellPlan) -> Ledger:
    """Sum the log of one engine by day and duty cell, from the first day of its service to the end of its last row's day."""
    log = gather_engine_log(site, index, readings, (), days)
    start_us = log.in_service_us if log.in_service_us is not None else int(log.rows[0])
    first_us = start_us // US_PER_DAY * US_PER_DAY
    end_us = (int(log.rows[-1]) + US_PER_DAY - 1) // US_PER_DAY * US_PER_DAY
    edges_us = np.arange(first_us, end_us + 1, US_PER_DAY, dtype=np.int64)
    steps, _ = build_steps(log, edges_us, (first_us, end_us), plan.levels)
    return build_ledger(steps, edges_us, plan)


def sums_of(ledger: Ledger, engine: int) -> Sums:
    """Return the checksum's figures of one engine's ledger."""
    day = ledger.edges_us[:-1] // US_PER_DAY
    weight = (ENGINE_FACTOR * engine + DAY_FACTOR * day) % MODULUS + 1
    cell = np.array([CELLS_PER_LEVEL * load + sulphur for load, sulphur in ledger.cells], dtype=np.int64)
    thousandths = np.rint(ledger.cell_hours_h * 1000).astype(np.int64)
    starts = np.rint(ledger.cell_counts["starts"]).astype(np.int64)
    both = thousandths + 1000 * starts
    return Sums(
        float(ledger.cell_hours_h.sum()),
        int(starts.sum()),
        int(weight @ thousandths.sum(axis=1)),
        int(weight @ both.sum(axis=1) + CELL_FACTOR * (cell @ both.sum(axis=0))),
    )


def sum_fleet(folder: Path, fleet: FleetFolder, jobs: int | None) -> Sums:
    """Read the log of a fleet, sum it, and add up its engines."""
    site = load_site(folder)
    thresholds = {"load_pct": fleet.load_thresholds_pct, "fuel_sulphur_pct": fleet.sulphur_thresholds_pct}
    plan = CellPlan(thresholds, counts_by_cell=frozenset({"starts"}))
    readings = read_readings(site, now_us=None)
    lows, highs = zip(*(block.rows.span_us for block in readings.blocks), strict=True)
    days = LocalDays(site.zone, min(lows), max(highs))
    engines = range(len(site.engines))
    parts = map_in_processes(
        lambda index: sums_of(ledger_of(site, index, readings, days, plan), index), engines, processes_for(len(engines), jobs)
    )
    return Sums(*(sum(figures) for figures in zip(*parts, strict=True)))
