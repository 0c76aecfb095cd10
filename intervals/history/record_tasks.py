"""Which of an engine's rule sets a service record is for: every set that has its task, or the one that it names as `set.task`.

In: an engine's service records, the rule sets that judge it. Out: the records of each set, with their tasks by its ids; voids that
found their record in one set are no fault of another. A record that no set knows stays with the first one, which names it as a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from intervals.faults import Fault
from intervals.history.completions import name_tasks, settle_records, tasks_known_to
from intervals.history.engine_records import EngineRecords
from intervals.history.one_job import OneJobs
from intervals.local_days import LocalDays
from intervals.readings import ServiceRecord
from intervals.rules.ruleset import RuleSet
from intervals.usage.engine_log import EngineLog

_VOID = "void_without_record"


def records_by_set(records: Sequence[ServiceRecord], rulesets: Sequence[RuleSet]) -> list[Sequence[ServiceRecord]]:
    """Return the records of each rule set, in the order of the sets.

    Args:
        records: one engine's records in file order.
        rulesets: the rule sets that judge it.
    """
    named = [name_tasks(records, ruleset) for ruleset in rulesets]
    if len(rulesets) == 1:
        return named
    known = [tasks_known_to(ruleset) for ruleset in rulesets]
    is_known = [any(row[number].task in ids for row, ids in zip(named, known, strict=True)) for number in range(len(records))]
    return [
        [record for record, elsewhere in zip(row, is_known, strict=True) if record.task in ids or (place == 0 and not elsewhere)]
        for place, (row, ids) in enumerate(zip(named, known, strict=True))
    ]


def records_of_log(records: Sequence[ServiceRecord], rulesets: Sequence[RuleSet]) -> Sequence[ServiceRecord]:
    """Return all records once, each task by the id that the first set which knows it has: for what they say of the hour meter."""
    named = [name_tasks(records, ruleset) for ruleset in rulesets]
    if len(rulesets) == 1:
        return named[0]
    known = [tasks_known_to(ruleset) for ruleset in rulesets]
    return [
        next((row[number] for row, ids in zip(named, known, strict=True) if row[number].task in ids), record)
        for number, record in enumerate(records)
    ]


def without_voids_found(settled: Sequence[EngineRecords], records: Sequence[Sequence[ServiceRecord]]) -> list[EngineRecords]:
    """Return settled records without the faults of voids that took back a record in another rule set.

    Args:
        settled: of each rule set.
        records: those that each rule set was given.
    """
    if len(settled) == 1:
        return list(settled)
    failed = [{(fault.file, fault.line) for fault in each.faults if fault.kind == _VOID} for each in settled]
    given = [{(record.file, record.line) for record in row if record.outcome == "void"} for row in records]
    found = set().union(*(voids - lost for voids, lost in zip(given, failed, strict=True)))

    def stays(fault: Fault) -> bool:
        return fault.kind != _VOID or (fault.file, fault.line) not in found

    return [replace(each, faults=tuple(fault for fault in each.faults if stays(fault))) for each in settled]


def settle_by_set(  # noqa: PLR0913 - what places, filters and bounds the records
    log: EngineLog,
    records: Sequence[ServiceRecord],
    rulesets: Sequence[RuleSet],
    days: LocalDays,
    jobs: OneJobs,
    *,
    before_us: int,
    includes_end: bool,
) -> list[EngineRecords]:
    """Return an engine's records settled for each rule set, a job that is another set's too counted in both.

    Args:
        log: the engine's log.
        records: its records in file order.
        rulesets: the rule sets that judge it.
        days: the site's local days.
        jobs: which tasks are one job.
        before_us: records at or after this instant do not count yet.
        includes_end: whether a record at that very instant counts.
    """
    given = records_by_set(records, rulesets)
    settled = [
        settle_records(
            log,
            own,
            ruleset,
            days,
            before_us=before_us,
            includes_end=includes_end,
            others=[other for other in rulesets if other is not ruleset],
        )
        for own, ruleset in zip(given, rulesets, strict=True)
    ]
    return jobs.shared(without_voids_found(settled, given), of_records_alone=True)
