"""Service records with their instant: where a date alone stands in the course of the meter, and which records count.

In: one engine's service records, the course of its meter. Out: the records with their instants, without those that were voided and without
one that tells the same a second time. A void or a second record is a named fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date

from intervals.faults import Fault
from intervals.local_days import LocalDays
from intervals.readings import ServiceRecord
from intervals.usage.meter.meter_course import Course

_CODE = re.compile(r"[0-9A-HJKMNP-TV-Z]{4}(?:-[0-9A-HJKMNP-TV-Z]{4}){3}", re.ASCII)
_CODE_LENGTH = 19
PlacedRecord = tuple[ServiceRecord, int]
"""A record with its instant."""


def place_of(record: ServiceRecord) -> str:
    """Return the file and line of a record."""
    return f"{record.file}:{record.line}"


def card_named(ref: str) -> str:
    """Return a reference that is the code of a job card, or nothing: four groups of four letters and digits.

    Example:
        >>> card_named("7K3M-9QXT-02HD-15WV"), card_named("JC-041")
        ('7K3M-9QXT-02HD-15WV', '')
    """
    return ref if len(ref) == _CODE_LENGTH and _CODE.fullmatch(ref) else ""


def place_record(record: ServiceRecord, course: Course, days: LocalDays) -> int:
    """Return a record's instant: its own, or for a date the first moment that the meter showed its reading, else noon."""
    if record.at_us is not None:
        return record.at_us
    day = record.on
    if day is None:
        message = f"{record.file}:{record.line} has neither time nor date"
        raise ValueError(message)
    if record.hour_meter_h is not None:
        start_us = days.midnight_us(day)
        end_us = days.midnight_us(date.fromordinal(day.toordinal() + 1))
        reached = course.first_reaching_us(start_us, end_us, record.hour_meter_h)
        if reached is not None:
            return reached
    return days.noon_us(day)


def telling_records(records: Sequence[ServiceRecord], days: LocalDays, before_us: int) -> list[ServiceRecord]:
    """Return the records whose meter reading can be believed at an instant: neither voided nor later.

    Args:
        records: one engine's records in file order.
        days: the site's local days; a record that gives a date alone is taken to stand at noon.
        before_us: records at or after this instant do not count yet.
    """
    known = [
        record
        for record in records
        if (record.at_us if record.at_us is not None else before_us if record.on is None else days.noon_us(record.on)) < before_us
    ]
    if not _has_void(known):
        return known
    return [record for record, _ in drop_voided([(record, before_us) for record in known], [])]


def _has_void(records: Iterable[ServiceRecord]) -> bool:
    """Tell whether some record takes another back."""
    return "void" in {record.outcome for record in records}


def drop_voided(placed: Sequence[PlacedRecord], faults: list[Fault]) -> list[PlacedRecord]:
    """Return the records without voids and without what they void: one earlier row of the same engine, task and ref."""
    if not _has_void(record for record, _ in placed):
        return list(placed)
    voided: set[int] = set()
    for number, (record, at_us) in enumerate(placed):
        if record.outcome != "void":
            continue
        targets = [
            place
            for place, (earlier, _) in enumerate(placed[:number])
            if earlier.task == record.task
            and earlier.outcome != "void"
            and record.ref
            and earlier.ref == record.ref
            # what was taken back, and recorded again, stands once
            and place not in voided
        ]
        if len(targets) == 1:
            voided.add(targets[0])
            continue
        found = "no earlier record has it" if not targets else f"{len(targets)} earlier records have it"
        text = f'void of {record.task} with ref "{record.ref}": {found}; nothing is voided'
        if not record.ref:
            text = f"void of {record.task} names no ref; nothing is voided"
        faults.append(Fault(record.engine, "void_without_record", record.file, record.line, at_us, text))
    return [entry for number, entry in enumerate(placed) if number not in voided and entry[0].outcome != "void"]


def drop_duplicates(placed: Sequence[PlacedRecord], faults: list[Fault]) -> list[PlacedRecord]:
    """Return the records with two of one task at one time as one: the one that says done, else the first in the file."""
    if len({(record.task, at_us) for record, at_us in placed}) == len(placed):
        return list(placed)
    counted: dict[tuple[str, int], ServiceRecord] = {}
    # what was begun, or put off, and done at the same moment is done; records of one outcome keep the file's order
    for record, at_us in sorted(placed, key=lambda entry: entry[0].outcome != "done"):
        counted.setdefault((record.task, at_us), record)
    for record, at_us in placed:
        other = counted[record.task, at_us]
        if other is not record:
            which = "" if other.outcome == record.outcome else f", as {other.outcome}"
            text = f"{record.task} at the same time as in {place_of(other)}; they count once{which}"
            faults.append(Fault(record.engine, "duplicate_record", record.file, record.line, at_us, text))
    return [entry for entry in placed if counted[entry[0].task, entry[1]] is entry[0]]
