"""Service records as completions: what restarted which task, and when; deferrals and voids.

In: one engine's service records, its meter's course, its rule set. Out: an `EngineRecords`: completions by task in order of
time, deferrals, partial jobs, and the faults of the records. A record that moves nothing is always a named fault.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from operator import itemgetter

import numpy as np

from intervals.arrays import Floats
from intervals.faults import TASK_NAMES, Fault, Spelled
from intervals.history.completion_row import CompletionRow
from intervals.history.engine_records import Completion, DeferralRecord, EngineRecords, HoursRecord, PartialRecord
from intervals.history.placed_records import PlacedRecord, card_named, drop_duplicates, drop_voided, place_of, place_record
from intervals.local_days import LocalDays
from intervals.problems import asked_back, clearly_nearest
from intervals.readings import ServiceRecord
from intervals.readings.spelling import Spellings
from intervals.rules.ruleset import RuleSet
from intervals.usage.engine_log import EngineLog
from intervals.usage.meter.meter_course import Course

METER_AGREES_WITHIN_H = 24.0


def settle_records(  # noqa: PLR0913 - what places, filters and bounds the records
    log: EngineLog,
    records: Sequence[ServiceRecord],
    ruleset: RuleSet,
    days: LocalDays,
    *,
    before_us: int,
    includes_end: bool = False,
    others: Sequence[RuleSet] = (),
) -> EngineRecords:
    """Return what the records of one engine completed up to an instant.

    Args:
        log: the engine's log, whose course places date-only records.
        records: the engine's records in file order.
        ruleset: the rule set that judges it.
        days: the site's local days.
        before_us: records at or after this instant, voids too, do not count yet.
        includes_end: whether a record at that very instant counts.
        others: the other rule sets that judge it, to word what none of them knows.

    Returns:
        Completions (renewed tasks included), deferrals, partial jobs, faults.
    """
    faults: list[Fault] = []
    tasks, counted = ruleset.renewed.keys(), ruleset.counted_tasks
    last_us = before_us if includes_end else before_us - 1
    known = _of_known_tasks(records, (ruleset, *others), faults)
    instants = [place_record(record, log.course, days) if record.at_us is None else record.at_us for record in known]
    placed = [entry for entry in zip(known, instants, strict=True) if entry[1] <= last_us]
    standing = sorted(drop_duplicates(drop_voided(placed, faults), faults), key=itemgetter(1))
    hours = _recorded_hours(standing, counted) if counted else {}
    if counted - tasks:
        standing = [entry for entry in standing if entry[0].task in tasks]
    by_outcome: dict[str, list[PlacedRecord]] = defaultdict(list)
    for entry in standing:
        by_outcome[entry[0].outcome].append(entry)
    completions = _begun_with_parts(_credit(by_outcome["done"], log, ruleset, days, faults), by_outcome["partial"], ruleset, days)
    deferrals = _deferrals(_not_done_since(by_outcome["deferred"], standing), log.course, faults)
    partials: dict[str, list[PartialRecord]] = defaultdict(list)
    for record, at_us in by_outcome["partial"]:
        partials[record.task].append(
            PartialRecord(record.task, at_us, days.date_of(at_us), place_of(record), record.note, card_named(record.ref))
        )
    return EngineRecords(completions, deferrals, {task: tuple(rows) for task, rows in partials.items()}, tuple(faults), hours=hours)


def tasks_known_to(ruleset: RuleSet) -> frozenset[str]:
    """Return the ids under which records mean something to a rule set: its tasks, and those of which some budget adds up the hours."""
    return ruleset.counted_tasks.union(ruleset.renewed)


def name_tasks(records: Sequence[ServiceRecord], ruleset: RuleSet) -> Sequence[ServiceRecord]:
    """Return records with their tasks by their ids in a rule set; one typed otherwise is taken for the only one that it fits.

    A record may name the rule set too: `standby-hospital.oil-change`.

    Args:
        records: one engine's records.
        ruleset: the rule set that judges it; another engine's may have other ids.
    """
    known = tasks_known_to(ruleset)
    others = {record.task for record in records} - known
    if not others:
        return records
    qualified = {f"{ruleset.ruleset}.{task}": task for task in known}
    ids = {task: qualified.get(found, found) for task, found in task_ids(others, known.union(qualified)).items()}
    return [record._replace(task=ids[record.task]) if record.task in ids else record for record in records]


def task_ids(tasks: Collection[str], known: Collection[str]) -> dict[str, str]:
    """Return the id of each task as it was typed: itself, the only known one that it fits, or the task as typed where it fits none."""
    if all(task in known for task in tasks):
        return {task: task for task in tasks}
    spellings = Spellings({task: task for task in known})
    return {task: spellings.find(task) or task for task in tasks}


def _of_known_tasks(records: Sequence[ServiceRecord], rulesets: Sequence[RuleSet], faults: list[Fault]) -> Sequence[ServiceRecord]:
    """Return the records of tasks that the first rule set has, or of which some budget of it adds up the hours."""
    known = tasks_known_to(rulesets[0])
    unknown = {record.task for record in records} - known
    if not unknown:
        return records
    ids = tuple(dict.fromkeys(task for each in rulesets for task in (*each.renewed, *sorted(each.counted_tasks - each.renewed.keys()))))
    meant = {task: clearly_nearest(task, {each: each for each in ids}) or "" for task in unknown}
    spelled = {task: Spelled(TASK_NAMES, task, meant[task], ids) for task in unknown}
    where = f"rule set{'s' if len(rulesets) > 1 else ''} {', '.join(each.ruleset for each in rulesets)}"
    for record in records:
        if record.task in unknown:
            text = f'no task "{record.task}" in {where}; the record is set aside{asked_back(meant[record.task])}'
            faults.append(Fault(record.engine, "unknown_task", record.file, record.line, record.at_us, text, spelled[record.task]))
    return [record for record in records if record.task not in unknown]


def _recorded_hours(standing: Sequence[PlacedRecord], counted: frozenset[str]) -> dict[str, tuple[HoursRecord, ...]]:
    """Return the hours that jobs ran the engine for, in full or in part, by the tasks of which some budget adds them up."""
    by_task: dict[str, list[HoursRecord]] = defaultdict(list)
    for record, at_us in standing:
        if record.task in counted and record.outcome in ("done", "partial"):
            by_task[record.task].append(HoursRecord(record.task, at_us, record.hours_h, place_of(record)))
    return {task: tuple(rows) for task, rows in by_task.items()}


def _credit(
    done: Sequence[PlacedRecord], log: EngineLog, ruleset: RuleSet, days: LocalDays, faults: list[Fault]
) -> dict[str, Sequence[Completion]]:
    """Return the completions that records of work done stand for, in order of time, and check their typed readings."""
    instants = np.array([at_us for _, at_us in done], dtype=np.int64)
    meters = _meters_at(done, log.course.meters_at(instants), log, faults)
    places_of: dict[str, list[int]] = defaultdict(list)
    for place, (record, _) in enumerate(done):
        places_of[record.task].append(place)
    by_task: dict[str, list[tuple[list[int], CompletionRow]]] = defaultdict(list)
    for by, places in places_of.items():
        records, at_us, meters_h = [done[place][0] for place in places], instants[places], [meters[place] for place in places]
        for task, makes_new in ruleset.renewed[by].items():
            row = CompletionRow(task, by, records, at_us, meters_h, days, makes_new=makes_new)
            by_task[task].append((places, row))
    return {task: parts[0][1] if len(parts) == 1 else tuple(_joined(parts)) for task, parts in by_task.items()}


def _begun_with_parts(
    completions: dict[str, Sequence[Completion]], partial: Sequence[PlacedRecord], ruleset: RuleSet, days: LocalDays
) -> dict[str, Sequence[Completion]]:
    """Return completions with the first part of each job in parts, of the tasks whose next window counts from there.

    The first part is the earliest record in part since the task was last completed.
    """
    tasks = {task.id for task in ruleset.tasks if task.restarts_from_part == "first"}
    begun: dict[str, list[int]] = defaultdict(list)
    for record, at_us in partial:
        if record.task in tasks:
            begun[record.task].append(at_us)
    for task, parts in begun.items():
        last_us, found = None, []
        for completion in completions.get(task, ()):
            own = [at_us for at_us in parts if at_us < completion.at_us and (last_us is None or at_us > last_us)]
            is_of_parts = own and completion.by == task
            first_us = min(own) if is_of_parts else None
            found.append(completion if first_us is None else completion._replace(began_us=first_us, began_day=days.date_of(first_us)))
            last_us = completion.at_us
        if found:
            completions[task] = tuple(found)
    return completions


def _joined(parts: Iterable[tuple[Sequence[int], Sequence[Completion]]]) -> Iterable[Completion]:
    """Return completions of one task by several others, in order of time: those of one moment are one.

    The task's own record goes before one that renews it, else the one that is listed first; new is what any of them makes new.

    Args:
        parts: for each of the others, the places of its records among all, and what they complete.
    """
    placed = (entry for places, completions in parts for entry in zip(places, completions, strict=True))
    by_moment: dict[int, Completion] = {}
    for _, completion in sorted(placed, key=lambda entry: (entry[1].at_us, entry[1].by != entry[1].task, entry[0])):
        earlier = by_moment.setdefault(completion.at_us, completion)
        if completion.makes_new and not earlier.makes_new:
            by_moment[completion.at_us] = earlier._replace(makes_new=True)
    return by_moment.values()


def _meters_at(done: Sequence[PlacedRecord], logged_h: Floats, log: EngineLog, faults: list[Fault]) -> list[float | None]:
    """Return the meter reading of each record: as typed where it agrees with the log or the log does not show it."""
    typed: list[float | None] = [record.hour_meter_h for record, _ in done]
    typed_h = np.array(typed, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        odd = ~np.isnan(logged_h) & ~(np.abs(typed_h - logged_h) <= METER_AGREES_WITHIN_H)
    for index in odd.nonzero()[0].tolist():
        typed[index] = _logged_meter(*done[index], float(logged_h[index]), log, faults)
    return typed


def _logged_meter(record: ServiceRecord, at_us: int, logged: float, log: EngineLog, faults: list[Fault]) -> float | None:
    """Return the log's meter reading for a record whose typed one is missing or too far off; after the log's end what was typed counts."""
    typed = record.hour_meter_h
    if typed is None:
        return round(logged, 6)
    if log.course.is_known and at_us > log.course.known_to_us:
        return typed
    text = f"{record.task} was recorded at {typed:,.1f} h, the log shows {logged:,.1f} h then; the log's hours count"
    faults.append(Fault(record.engine, "service_meter_disagrees", record.file, record.line, at_us, text))
    return round(logged, 6)


def _not_done_since(deferred: Sequence[PlacedRecord], standing: Sequence[PlacedRecord]) -> list[PlacedRecord]:
    """Return the deferrals but for those of work that was done before them and recorded after them: that ends them too.

    The order of recording is known only of what came by a card, whose row goes to the end of the file, and only where earlier rows show
    that the file has not been turned round since.
    """
    if not deferred:
        return []
    by_card = [entry for entry in standing if entry[0].outcome == "done" and card_named(entry[0].ref)]
    kept = []
    for record, at_us in deferred:
        after = [
            other
            for other, done_us in by_card
            if (other.task, other.file) == (record.task, record.file) and other.line > record.line and done_us <= at_us
        ]
        is_in_order = any(other.file == record.file and other.line < record.line and us < at_us for other, us in standing)
        if not (after and is_in_order):
            kept.append((record, at_us))
    return kept


def _deferrals(deferred: Iterable[PlacedRecord], course: Course, faults: list[Fault]) -> dict[str, tuple[DeferralRecord, ...]]:
    """Return the approved deferrals by task; one without approval or without an end is a fault and moves nothing."""
    by_task: dict[str, list[DeferralRecord]] = defaultdict(list)
    for record, at_us in deferred:
        if not record.approved_by:
            text = f"deferral of {record.task} names nobody in approved_by; it has no effect"
            faults.append(Fault(record.engine, "deferral_not_approved", record.file, record.line, at_us, text))
            continue
        if record.until_h is None and record.until_date is None:
            text = f"deferral of {record.task} has neither until_h nor until_date; it has no effect"
            faults.append(Fault(record.engine, "deferral_without_end", record.file, record.line, at_us, text))
            continue
        bridged = None
        if record.until_h is not None:
            shown, hours = course.meter_at(at_us), course.hours_at_one(at_us)
            bridged = None if shown is None or hours is None else hours + record.until_h - shown
        by_task[record.task].append(
            DeferralRecord(record.task, at_us, record.until_h, bridged, record.until_date, record.approved_by, place_of(record))
        )
    return {task: tuple(rows) for task, rows in by_task.items()}
