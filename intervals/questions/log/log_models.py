"""What was read of a site's log, as models.

In: plain values from `logbook`. Out: frozen models, which `reports/document.py` prints as `intervals.log/1`.
"""

from __future__ import annotations

from intervals.documents import Frozen
from intervals.findings import FaultLine, RecordsWarning, Rows


class EngineLogSummary(Frozen):
    """What was read of one engine (hours in h, days in d, shares in per cent of the running hours that the log covers)."""

    engine: str
    rows: int
    first_at: str | None
    last_at: str | None
    meter_first_h: float | None
    meter_last_h: float | None
    running_hours_h: float
    unknown_time_h: float
    doubtful_hours_h: float
    gaps: int
    gap_h: float
    faults: int
    known_share_pct: dict[str, float]
    before_log_h: float = 0.0


class LogSummary(Frozen):
    """What was read of a site's log."""

    site: str
    as_of: str
    warnings: tuple[RecordsWarning, ...] = ()
    engines: tuple[EngineLogSummary, ...]
    faults: tuple[FaultLine, ...]
    rows: Rows
