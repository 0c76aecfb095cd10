"""A record taken back: the rows that void it, by its code.

In: a site, a code or another reference, who and why. Out: the rows, in the file. Refuses (CLI167) a reference of which no record stands, or
that several rows of one task have.
"""

from __future__ import annotations

from collections import Counter
from datetime import datetime
from typing import NamedTuple

from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError, nearest_of
from intervals.questions.card.card_code import read_code
from intervals.questions.record.append_records import Written, append_rows, finish_pending
from intervals.questions.record.jobs_in_parts import cards_that_complete
from intervals.questions.record.record_site import rows_shown
from intervals.questions.record.recorded_cards import MEASURES, measures_with, read_measures
from intervals.questions.record.records_lock import records_lock
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.readings import ServiceRecord, read_records
from intervals.site.model import Site

NOTHING_TO_UNDO = "CLI167"


class Undoing(NamedTuple):
    """What takes a record back.

    Attributes:
        ref: its code or other reference.
        reason: why.
        by: who.
        at: this moment.
    """

    ref: str
    reason: str
    by: str
    at: datetime


def rows_that_void(site: Site, asked: Undoing) -> tuple[RecordRow, ...]:
    """Return the rows that take back every record of a reference that stands.

    Raises:
        RequestProblemError: no record of it stands, or several rows of one task have it (CLI167).
    """
    records = read_records(site, now_us=to_us(asked.at)).records
    refs = {record.ref for record in records if record.ref}
    code = read_code(asked.ref)
    ref = asked.ref if asked.ref in refs else code if code in refs else asked.ref
    own = [record for record in records if record.ref == ref]
    standing: Counter[tuple[str, str]] = Counter()
    for record in own:
        standing[record.engine, record.task] += -1 if record.outcome == "void" else 1
    if not any(count > 0 for count in standing.values()):
        text = f'"{ref}" was taken back before' if own else f'no record has the reference "{ref}"{nearest_of(ref, refs)}'
        raise _refused(text, "the code of a card stands at its foot, and in the column ref of the service records")
    completing = cards_that_complete(site, records, ref)
    if completing:
        named = ", ".join(completing)
        text = f'the card "{ref}" is completed by {named}, which counts on it'
        raise _refused(text, f"take that back first: --undo {completing[-1]}")
    doubled = [f"{task} of {engine}" for (engine, task), count in standing.items() if count > 1]
    if doubled:
        text = f'several records have the reference "{ref}": {", ".join(doubled)}'
        raise _refused(text, "a record that voids must name one; give each row a reference of its own")
    return tuple(_row(record, ref, asked) for record in _last_of(own) if standing[record.engine, record.task] > 0)


def undo(site: Site, asked: Undoing) -> Written:
    """Append the rows that take a record back, under the lock; what was measured with it goes, the card that was handed in stays.

    Raises:
        RequestProblemError: there is nothing to take back (CLI167), or it cannot be written (CLI110, 164, 165).
    """
    with records_lock(site.folder):
        finish_pending(site)
        rows = rows_that_void(site, asked)
        is_measured = any(line.card == rows[0].ref for line in read_measures(site))
        files = {MEASURES: measures_with(site, (), without=rows[0].ref)} if is_measured else {}
        return append_rows(dialect_of(site), rows, files=files, now=asked.at)


def shown_undo(site: Site, asked: Undoing) -> list[str]:
    """Return the rows that would take a record back, as they would stand in the file."""
    return rows_shown(site, rows_that_void(site, asked), asked.at)


def undone_without(site: Site) -> list[str]:
    """Return the columns that the file of service records lacks, of what a record that takes another back says: who, and why."""
    return dialect_of(site).lacking(("done_by", "note"))


def _last_of(records: list[ServiceRecord]) -> list[ServiceRecord]:
    """Return the last row of each engine and task that is no void, in order of the file."""
    last = {(record.engine, record.task): record for record in records if record.outcome != "void"}
    return [*last.values()]


def _row(record: ServiceRecord, ref: str, asked: Undoing) -> RecordRow:
    """Return the row that voids a record."""
    return RecordRow(asked.at, record.engine, record.task, "void", done_by=asked.by, note=asked.reason, ref=ref)


def _refused(text: str, fix: str) -> RequestProblemError:
    """Return the refusal of a reference."""
    return RequestProblemError([Problem(NOTHING_TO_UNDO, "--undo", None, None, text, fix)])
