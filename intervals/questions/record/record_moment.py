"""The moment at which a record will stand, as its file writes it, and the record of the same task that stands there already.

In: how the file is written, an engine's records. Out: an instant, and the place of a record. Of two records of a task at one moment one
alone counts, so the moment is looked for as finely as it will be read back. Refuses nothing.
"""

from __future__ import annotations

from datetime import datetime

from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import DeferralRecord, PartialRecord
from intervals.history.placed_records import place_record
from intervals.local_days import to_us
from intervals.questions.record.services_dialect import Dialect
from intervals.readings import ServiceRecord


def written_us(case: EngineCase, dialect: Dialect, at: datetime, now: datetime, hour_meter_h: float | None = None) -> int:
    """Return where a record will stand: at its time as finely as the file writes it; of a day alone, where one of its day stands.

    Args:
        case: its engine.
        dialect: how the file is written.
        at: its time.
        now: this moment.
        hour_meter_h: its meter reading, h, or None.

    Returns:
        UTC microseconds.
    """
    if dialect.dates.gives_clock(at, dialect.site.zone, now):
        return to_us(dialect.dates.as_written(at))
    day = case.days.date_of(to_us(at))
    dated = ServiceRecord(case.engine.id, "", None, day, hour_meter_h, "done", None, None, "", "", "", "", "", 0)
    return place_record(dated, case.log.course, case.days)


def open_record_at(case: EngineCase, task: str, at_us: int) -> str:
    """Return where a job in part, or a deferral, of a task stands at a moment; nothing where none does.

    Args:
        case: its engine.
        task: task id.
        at_us: UTC microseconds.
    """
    entries: list[PartialRecord | DeferralRecord] = [*case.records.partials.get(task, ()), *case.records.deferrals.get(task, ())]
    return next((entry.record for entry in entries if entry.at_us == at_us), "")


def latest_completion(case: EngineCase | None, task: str) -> tuple[int | None, str]:
    """Return when a task was done whole last (UTC microseconds) and where its record is; None and nothing where there is none.

    Args:
        case: its engine; None where it is not known.
        task: task id.
    """
    done = case.records.completions.get(task, ()) if case is not None else ()
    return (done[-1].at_us, done[-1].record) if done else (None, "")


def record_at(case: EngineCase, task: str, at_us: int) -> str:
    """Return where any record of a task stands at a moment; nothing where none does.

    Args:
        case: its engine.
        task: task id.
        at_us: UTC microseconds.
    """
    done = next((entry.record for entry in case.records.completions.get(task, ()) if entry.at_us == at_us), "")
    return done or open_record_at(case, task, at_us)
