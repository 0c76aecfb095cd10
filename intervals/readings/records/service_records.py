"""What a service record says, as a value.

In: nothing. Out: `ServiceRecord` and `Records`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from intervals.faults import Fault
from intervals.site.sources import OutcomeWord


class ServiceRecord(NamedTuple):
    """One row of the service records: one task of one engine.

    A named tuple, since a fleet has many: it is made several times faster than a frozen dataclass.

    Attributes:
        engine: engine id.
        task: task as the rule set spells it, as far as the site says so; not checked here.
        at_us: when, UTC microseconds since 1970, or None for a record that gives a date alone.
        on: the local date of such a record, else None.
        hour_meter_h: meter reading as it was typed, h, or None.
        outcome: `done`, `partial` (not credited), `deferred` or `void`.
        until_h: meter reading that a deferral holds to, h, or None.
        until_date: last local day of a deferral, or None.
        approved_by: who approved a deferral, or nothing.
        done_by: who did the work, or nothing.
        note: remark, or nothing.
        ref: number of the job card, or of the record that a void one takes back, or nothing.
        file: path below the site folder.
        line: line or row of that file.
        hours_h: running hours that the job itself took, h, or None.
        shares_row: whether its row stands for several tasks or engines, each with a record of its own.
    """

    engine: str
    task: str
    at_us: int | None
    on: date | None
    hour_meter_h: float | None
    outcome: OutcomeWord
    until_h: float | None
    until_date: date | None
    approved_by: str
    done_by: str
    note: str
    ref: str
    file: str
    line: int
    hours_h: float | None = None
    shares_row: bool = False


@dataclass(frozen=True)
class Records:
    """The service records of a site.

    Attributes:
        records: the accepted records, in order of the file.
        faults: every record set aside and every cell blanked, in order of the file.
        rows_read: rows of the file.
        rows_kept: those of them of which there is a record.
        blank_outcomes: those of the kept ones whose outcome is blank in a file that has a column for it.
    """

    records: tuple[ServiceRecord, ...] = ()
    faults: list[Fault] = field(default_factory=list)
    rows_read: int = 0
    rows_kept: int = 0
    blank_outcomes: int = 0
