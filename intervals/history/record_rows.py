"""Which rows of the service records can be used, and what must be said before anything that rests on them.

In: the records as they were read, and the tasks that judge each engine. Out: the records by engine, and warnings. Refuses nothing.

A row may stand for several tasks and engines. It is used where one of its records is of a task that judges that engine; those of its
records that are of none are then left out without a word: not every engine of a fleet has every task of a service.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

from intervals.faults import Fault
from intervals.findings import RecordsWarning, WarningKind
from intervals.history.completions import task_ids
from intervals.problems import nearest_name_of
from intervals.readings import Records, ServiceRecord
from intervals.shown_numbers import count_of
from intervals.site.model import Site

KnownTasks = Callable[[str], Collection[str]]
"""The tasks that a record of an engine may name."""
MOSTLY = 0.5
"""From this share of rows set aside on, more of the evidence was thrown away than the findings rest on."""
RECORDS_BEGIN_LATE = timedelta(days=550)
"""A year and a half: yearly work that was long overdue is on record by then; where nothing is, the records begin later than the engine."""
_MOST_ENGINES = 5


class UsedRows(NamedTuple):
    """The records that can be used.

    Attributes:
        by_engine: engine -> its records, in order of the file; with those of tasks that are not known, which the judge reports.
        used: number of rows of which some record can be used.
        strays: engine -> the tasks of its records that no rule set of it has.
    """

    by_engine: dict[str, list[ServiceRecord]]
    used: int
    strays: Mapping[str, frozenset[str]]

    def first_us(self, site: Site, engine: str) -> int | None:
        """Return when the first work of an engine was done of which there is a record that can be used, or None."""
        records = [record for record in self.by_engine.get(engine, ()) if record.task not in self.strays[engine]]
        times_us = [record.at_us for record in records if record.at_us is not None]
        days = [record.on for record in records if record.on is not None]
        return min([*times_us, *([site.instant_us(min(days))] if days else [])], default=None)


def use_rows(site: Site, records: Sequence[ServiceRecord], known_tasks: KnownTasks) -> UsedRows:
    """Return the records by engine, those of shared rows that are of no task of their engine left out where another one is.

    Args:
        site: the site.
        records: in order of the file.
        known_tasks: the tasks that a record of an engine may name.
    """
    by_engine: dict[str, list[ServiceRecord]] = defaultdict(list)
    for record in records:
        by_engine[record.engine].append(record)
    strays = {engine: _strays({record.task for record in of_engine}, known_tasks(engine)) for engine, of_engine in by_engine.items()}
    shared = {record.line for record in records if record.shares_row and record.task not in strays[record.engine]}
    used = len(shared)
    for engine, of_engine in by_engine.items():
        # in most files every task is known and stands alone, and no record need be asked
        if strays[engine] or shared:
            used += sum(not record.shares_row and record.task not in strays[engine] for record in of_engine)
            by_engine[engine] = [record for record in of_engine if record.line not in shared or record.task not in strays[engine]]
        else:
            used += len(of_engine)
    return UsedRows(by_engine, used, strays)


def _strays(tasks: Collection[str], known: Collection[str]) -> frozenset[str]:
    """Return the tasks, as they were typed, that are none of the known ones."""
    ids = task_ids(tasks, known)
    return frozenset(task for task in tasks if ids[task] not in known)


def mapped_task_faults(site: Site, known: Collection[str]) -> list[Fault]:
    """Return a fault for each task that `services.task_names` names and no rule set of the site has.

    Args:
        site: the site.
        known: the tasks of all its rule sets.
    """
    faults = []
    for word, named in (site.services.task_names or {}).items():
        for task in (named,) if isinstance(named, str) else named:
            if task_ids({task}, known)[task] not in known:
                text = f'services.task_names: "{word}" stands for "{task}", which no rule set here has{nearest_name_of(task, known)}'
                faults.append(Fault(None, "unknown_task", Path(site.file).name, None, None, text))
    return faults


def records_warnings(site: Site, recorded: Records, rows: UsedRows, at_us: int) -> tuple[RecordsWarning, ...]:
    """Return what must be said before any finding: that few records could be used, or that they may not say what they seem to.

    Args:
        site: the site.
        recorded: as the file was read.
        rows: what of it can be used.
        at_us: the moment of judging.
    """
    counts = {"read": recorded.rows_read, "used": rows.used, "set_aside": recorded.rows_read - rows.used}
    said: list[tuple[WarningKind, str]] = [
        ("records_mostly_unusable", _mostly_unusable(recorded, rows)),
        ("outcomes_all_blank", _all_blank(recorded)),
        ("records_from_missing", _begins_late(site, rows, at_us)),
    ]
    return tuple(RecordsWarning(kind=kind, text=text, **counts) for kind, text in said if text)


def _mostly_unusable(recorded: Records, rows: UsedRows) -> str:
    """Return what to say of records of which at least half are set aside, or nothing."""
    read, aside = recorded.rows_read, recorded.rows_read - rows.used
    if not read or aside < MOSTLY * read:
        return ""
    why = Counter(dict(_reasons(recorded, aside)))
    reasons = ", ".join(f"{count:,} {reason}" for reason, count in why.most_common())
    rest = f"the findings rest on the other {rows.used:,}" if rows.used else "the findings rest on no record of any work"
    return f"{aside:,} of {count_of(read, 'service record')} could not be used: {reasons}; {rest}"


def _reasons(recorded: Records, aside: int) -> Iterator[tuple[str, int]]:
    """Yield why rows were set aside, each row counted for one reason: what the reader set aside, and tasks that are not known."""
    kinds = {fault.line: _reason(fault) for fault in recorded.faults if fault.text.endswith(_SET_ASIDE) or f"{_SET_ASIDE};" in fault.text}
    counted = Counter(kinds.values())
    yield from counted.items()
    unknown = aside - sum(counted.values())
    if unknown > 0:
        yield "of an unknown task", unknown


_SET_ASIDE = "the record is set aside"


def _reason(fault: Fault) -> str:
    """Return in a few words why a row was set aside."""
    if fault.kind == "unknown_engine":
        return "of an unknown engine"
    if fault.spelled is not None:
        return "with an unknown outcome"
    return "later than the clock" if fault.kind == "record_in_future" else "that cannot be read"


def _all_blank(recorded: Records) -> str:
    """Return what to say of records none of which says what became of the work though the file has a column for it, or nothing."""
    if not recorded.rows_kept or recorded.blank_outcomes < recorded.rows_kept:
        return ""
    whose = f"all {count_of(recorded.rows_kept, 'service record')}" if recorded.rows_kept > 1 else "the only service record"
    return f"the outcome of {whose} is blank: each counts as done, whether the work was done or not"


def _begins_late(site: Site, rows: UsedRows, at_us: int) -> str:
    """Return what to say of engines whose records are taken to be complete from a day long before the first of them, or nothing."""
    shown = []
    for unit in site.judged_units:
        start = unit.in_service
        if start is None or unit.records_from is not None or site.records_from is not None:
            continue
        start_us, first_us = site.instant_us(start), rows.first_us(site, unit.id)
        if (at_us if first_us is None else min(at_us, first_us)) - start_us > RECORDS_BEGIN_LATE / timedelta(microseconds=1):
            which = "no record can be used" if first_us is None else f"first record of {site.day_of(first_us)}"
            shown.append(f"{unit.id} in service since {site.day_of(start_us)}, {which}")
    if not shown:
        return ""
    more = f"; and {len(shown) - _MOST_ENGINES} more" if len(shown) > _MOST_ENGINES else ""
    return (
        "records_from is not stated, so service records count as complete from in_service on "
        f"({'; '.join(shown[:_MOST_ENGINES])}{more}): "
        "everything that fell due before the first record counts as skipped; "
        "state records_from if not all work was written down from the start"
    )
