"""What was read of a site's log: per engine the period, rows, meter, hours, gaps, faults, and how much is known.

In: a site and a moment. Out: a `LogSummary`. Nothing is judged.
"""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime

import numpy as np

from intervals.faults import Fault
from intervals.findings import Rows
from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, faults_of
from intervals.history.inputs import Inputs, read_inputs
from intervals.local_days import HOUR_US
from intervals.quantities import QUANTITIES, levels_of
from intervals.questions.log.log_models import EngineLogSummary, LogSummary
from intervals.rulebook.duty_cells import CellPlan
from intervals.site.model import Site


def summarise_log(site: Site, as_of: date | datetime, *, now_us: int | None = None) -> LogSummary:
    """Return what was read of a site's log up to a moment.

    Args:
        site: the site.
        as_of: a date (its end) or a time.
        now_us: the clock, UTC microseconds; later rows are faults. None: no clock.

    Raises:
        ProblemsError: what cannot be read.
    """
    inputs = read_inputs(site, as_of, now_us=now_us)
    levels = frozenset(levels_of(site.quantities))
    plan = CellPlan(means=levels)
    faults: list[Fault] = list(inputs.faults)
    engines = []
    for index, engine in enumerate(site.engines):
        cases = build_cases(inputs, index, None, extra_plan=plan)
        if not cases:
            continue
        faults += faults_of(cases)
        engines.append(_summary(inputs, cases[0], Counter(fault.engine for fault in faults)[engine.id]))
    readings = inputs.readings
    return LogSummary(
        site=site.site,
        as_of=inputs.days.iso(inputs.moment.at_us),
        warnings=inputs.warnings,
        engines=tuple(engines),
        faults=inputs.fault_lines(faults),
        rows=Rows(read=readings.rows_read, accepted=readings.rows_accepted, set_aside=readings.rows_set_aside),
    )


def _summary(inputs: Inputs, case: EngineCase, faults: int) -> EngineLogSummary:
    """Return what was read of one engine."""
    log, ledger, iso = case.log, case.ledger, case.days.iso
    rows = log.rows[log.rows < case.end_us]
    hours = float(ledger.running_h[-1])
    before_h = min(hours, case.before_log_h)
    shares = {}
    for name in sorted(name.removeprefix("known:") for name in ledger.totals if name.startswith("known:")):
        known = float(ledger.totals[f"known:{name}"][-1])
        if hours > before_h and (known > 0 or name in QUANTITIES):
            shares[name] = min(100.0, round(100.0 * known / (hours - before_h), 6))
    first_us = int(rows[0]) if len(rows) else case.end_us
    unknown = np.diff(ledger.unknown_up_to_h)
    since_us = first_us if log.in_service_us is None else log.in_service_us
    unknown_h = float(unknown[ledger.edges_us[:-1] >= since_us].sum())
    course = log.course
    return EngineLogSummary(
        engine=case.engine.id,
        rows=sum(int((block.at_us < case.end_us).sum()) for block in log.blocks),
        first_at=iso(int(rows[0])) if len(rows) else None,
        last_at=iso(int(rows[-1])) if len(rows) else None,
        meter_first_h=round(float(course.reading_h[0]), 6) if course.is_known else None,
        meter_last_h=_last_reading(case),
        running_hours_h=round(hours, 6),
        before_log_h=round(before_h, 6),
        unknown_time_h=round(unknown_h, 6),
        doubtful_hours_h=round(float(ledger.doubtful_h.sum()), 6),
        gaps=len(log.gaps),
        gap_h=round(sum(gap.end_us - gap.start_us for gap in log.gaps) / HOUR_US, 6),
        faults=faults,
        known_share_pct=shares,
    )


def _last_reading(case: EngineCase) -> float | None:
    """Return the last meter reading before the moment of judging."""
    course = case.log.course
    before = np.flatnonzero(course.at_us <= case.end_us) if course.is_known else np.zeros(0, dtype=np.int64)
    return round(float(course.reading_h[before[-1]]), 6) if len(before) else None
