"""What restarted which task, and when: service records placed in time, voids, deferrals, what renews what."""

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from fractions import Fraction

from tests.second_judge.clock import Instant
from tests.second_judge.conditions import near
from tests.second_judge.duty import Weigher
from tests.second_judge.site_folder import Plain, Record, SiteFolder, as_list, exact


@dataclass
class TaskRecords:
    """The records of one task of one engine."""

    done: dict[Instant, tuple[Record, bool]] = field(default_factory=dict)  # the record, and whether it makes new
    partial: list[tuple[Instant, Record]] = field(default_factory=list)
    deferred: list[tuple[Instant, Record]] = field(default_factory=list)


def place(site: SiteFolder, record: Record, weigher: Weigher) -> Instant:
    """Return when a record counts: of a day alone the first moment at which the meter reached its reading, else noon."""
    if not record.day_only:
        return record.at
    day = site.clock.day(record.at)
    if record.hour_meter_h is not None:
        reading = record.hour_meter_h + offset_at(site, weigher.usage.told, record.at)
        shown = weigher.usage.bridged(record.at)
        if shown is not None:
            moment = weigher.hours.reaches(record.at, reading - shown) if near(reading - shown) >= 0 else None
            if moment is not None and moment < site.clock.midnight(day + timedelta(days=1)):
                return moment
    return site.clock.instant(datetime.combine(day, time(12)))


def offset_at(site: SiteFolder, engine: Plain, at: Instant) -> Fraction:
    """Return what is added to the reading of the meter fitted at an instant to get what the first one would show."""
    changes = as_list(engine.get("meter_changes"))
    jumps = [exact(one["old_read_h"]) - exact(one["new_read_h"]) for one in changes if site.clock.read(one["at"]) < at]
    return sum(jumps, Fraction(0))


def completed_by(tasks: list[Plain], name: str) -> list[str]:
    """Return the tasks that are completed when one is: itself and what it renews, and what those renew."""
    found = [name]
    for one in found:
        task = next((task for task in tasks if task["id"] == one), {})
        found += [other for other in task.get("renews", []) if other not in found]
    return found


def made_new_by(tasks: list[Plain], name: str) -> list[str]:
    """Return the tasks that start again with their first interval when one is done."""
    told = next((task for task in tasks if task["id"] == name), {}).get("makes_new", [])
    return [task["id"] for task in tasks if "first" in task and task["id"] != name] if told == "all" else as_list(told)


def read_records(site: SiteFolder, engine: str, tasks: list[Plain], weigher: Weigher, as_of: Instant) -> dict[str, TaskRecords]:
    """Return the records of each task of an engine, as known at as-of."""
    found = {task["id"]: TaskRecords() for task in tasks}
    mine = [(place(site, one, weigher), one) for one in site.records if one.engine == engine and one.task in found]
    mine = sorted([pair for pair in mine if pair[0] < as_of], key=lambda pair: (pair[0], pair[1].line))
    voids = [one for _, one in mine if one.outcome == "void" and one.ref]
    for at, one in mine:
        if one.outcome == "void" or any(v.task == one.task and v.ref == one.ref and v.line > one.line for v in voids):
            continue
        if one.outcome == "partial":
            found[one.task].partial.append((at, one))
        elif one.outcome == "deferred":
            if one.approved_by and (one.until_h is not None or one.until_date):
                found[one.task].deferred.append((at, one))
        else:
            _complete(found, tasks, at, one)
    return found


def _complete(found: dict[str, TaskRecords], tasks: list[Plain], at: Instant, record: Record) -> None:
    done = completed_by(tasks, record.task)
    new = {name for one in done for name in made_new_by(tasks, one)}
    for name in [*done, *sorted(new - set(done))]:
        if name not in found:
            continue
        before = found[name].done.get(at)
        found[name].done[at] = (before[0] if before else record, name in new or bool(before and before[1]))
