"""Whole site folders for tests: a few rows, records and rules go in as plain values, a folder that can be judged comes out.

Every file is written as a person would write it (site.yaml, readings/*.csv, services.csv, rules.yaml), so that a test judges what
a user would. Times are UTC and the log counts as unbroken (`gap_h` is long) unless a test says otherwise.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import yaml

from intervals import assess, read_site
from intervals.findings import Finding, Findings, Leg, Reason, Skipped
from intervals.quantities import QUANTITIES
from intervals.site.model import Site

Row = Mapping[str, object]
NEVER_SILENT_H = 1_000_000
RECORD_COLUMNS = (
    "at",
    "engine",
    "task",
    "hour_meter_h",
    "outcome",
    "done_by",
    "note",
    "ref",
    "until_h",
    "until_date",
    "approved_by",
    "hours_h",
)


def task(task_id: str = "oil", **keys: Any) -> dict[str, object]:  # noqa: ANN401 - any key of a task
    """Return a task as a rule set writes it: `task("oil", every={"running_hours": 100})`."""
    return {"id": task_id, "title": task_id.replace("-", " ").capitalize(), **keys}


def rule(rule_id: str, when: Mapping[str, object], **keys: object) -> dict[str, object]:
    """Return an adjustment as a rule set writes it, for all tasks unless it says which."""
    return {"id": rule_id, "tasks": "all", "when": dict(when), "because": "a test asks for it", "source": "none", **keys}


def done(task_id: str, at: str, meter_h: float | None = None, **keys: Any) -> dict[str, object]:  # noqa: ANN401 - any column of a record
    """Return a service record with outcome done."""
    return {"at": at, "engine": "G1", "task": task_id, "hour_meter_h": "" if meter_h is None else meter_h, "outcome": "done", **keys}


def meter(at: str, hour_meter_h: float | None, **values: object) -> dict[str, object]:
    """Return a row of G1 with its hour meter."""
    return {"at": at, "engine": "G1", "hour_meter_h": "" if hour_meter_h is None else hour_meter_h, **values}


def steady(
    first: str, last: str, hours_per_day: float, *, start_h: float = 0.0, engine: str = "G1", **values: object
) -> list[dict[str, object]]:
    """Return a row at every midnight from `first` to `last` (dates), the meter rising evenly from `start_h` at `first`."""
    day, end = date.fromisoformat(first), date.fromisoformat(last)
    rows: list[dict[str, object]] = []
    while day <= end:
        shown = start_h + hours_per_day * (day - date.fromisoformat(first)).days
        rows.append({"at": f"{day.isoformat()}T00:00", "engine": engine, "hour_meter_h": round(shown, 6), **values})
        day += timedelta(days=1)
    return rows


def write_site(
    folder: Path,
    tasks: Sequence[Mapping[str, object]],
    rows: Sequence[Row] | Mapping[str, Sequence[Row]],
    *,
    services: Iterable[Row] = (),
    engine: Mapping[str, object] | None = None,
    engines: Sequence[Mapping[str, object]] | None = None,
    rules: Mapping[str, object] | None = None,
    readings: Mapping[str, object] | Sequence[Mapping[str, object]] | None = None,
    quantities: Mapping[str, Mapping[str, object]] | None = None,
    gap_h: float = NEVER_SILENT_H,
    covers: str = "before",
    **site: object,
) -> Site:
    """Write a site folder and return its site.

    Args:
        folder: where to write; made if it is not there.
        tasks: the rule set's tasks.
        rows: rows of the log, all in one file, or by file name. The column of a quantity is called as the quantity.
        services: service records.
        engine: what the engine G1 states beside its id.
        engines: all engines, in place of `engine`.
        rules: other keys of the rule set (adjustments, limits, conditions).
        readings: whole blocks of `readings`, in place of the one written from the rows.
        quantities: more about a quantity's column, by quantity.
        gap_h: the log's rhythm.
        covers: whether levels and amounts describe the step before or after the stamp.
        site: other keys of the site.
    """
    files = rows if isinstance(rows, Mapping) else {"log.csv": rows}
    (folder / "readings").mkdir(parents=True, exist_ok=True)
    names = list(dict.fromkeys(name for part in files.values() for row in part for name in row if name not in ("at", "engine")))
    for name, part in files.items():
        _write_csv(folder / "readings" / name, ("at", "engine", *names), part)
    records = list(services)
    _write_csv(folder / "services.csv", RECORD_COLUMNS, records)
    block: dict[str, object] = {
        "files": ["readings/*.csv"],
        "timestamp": {"column": "at", "covers": covers},
        "engine": {"column": "engine"},
        "gap_h": gap_h,
        "quantities": {name: {"column": name, **(quantities or {}).get(name, {})} for name in names},
    }
    described = {
        "site": "quay",
        "time_zone": "UTC",
        "ruleset": "./rules.yaml",
        "engines": [dict(entry) for entry in engines] if engines is not None else [{"id": "G1", **(engine or {})}],
        "readings": block if readings is None else readings,
        **site,
    }
    _write_yaml(folder / "site.yaml", described)
    _write_yaml(
        folder / "rules.yaml", {"ruleset": "written", "title": "Written for a test", "version": "1", "tasks": list(tasks), **(rules or {})}
    )
    return read_site(folder)


def judge(
    folder: Path,
    as_of: str,
    tasks: Sequence[Mapping[str, object]],
    rows: Sequence[Row] | Mapping[str, Sequence[Row]],
    *,
    month: str | None = None,
    **written: Any,  # noqa: ANN401 - what `write_site` takes
) -> Findings:
    """Write a site folder and judge it at a date (`2024-01-31`) or a time (`2024-01-31T12:00`)."""
    return assess(write_site(folder, tasks, rows, **written), moment(as_of), month=month)


def moment(text: str) -> date | datetime:
    """Return a date or a naive time."""
    return datetime.fromisoformat(text) if "T" in text else date.fromisoformat(text)


def finding_for(findings: Findings, task_id: str = "oil", engine: str = "G1") -> Finding:
    """Return the one finding of a task."""
    (found,) = (finding for finding in findings.findings if (finding.engine, finding.task) == (engine, task_id))
    return found


def leg_of(finding: Finding, name: str = "running_hours") -> Leg:
    """Return one leg of a finding."""
    (found,) = (leg for leg in finding.legs if leg.leg == name)
    return found


def used_of(finding: Finding, name: str = "running_hours") -> float | None:
    """Return what a leg has used."""
    return leg_of(finding, name).used


def rules_fired(finding: Finding) -> list[str]:
    """Return the ids of a finding's reasons."""
    return [reason.rule for reason in finding.reasons]


def reason_for(finding: Finding, rule_id: str) -> Reason:
    """Return the one reason of a rule."""
    (found,) = (reason for reason in finding.reasons if reason.rule == rule_id)
    return found


def fault_kinds(findings: Findings, engine: str | None = "G1") -> list[str]:
    """Return the kinds of one engine's faults in order."""
    return [fault.kind for fault in findings.faults if fault.engine == engine]


def skipped_of(findings: Findings, task_id: str = "oil") -> list[Skipped]:
    """Return what was skipped of a task."""
    return [entry for entry in findings.skipped if entry.task == task_id]


def numeric_quantities(row: Row) -> list[str]:
    """Return the canonical quantities of a row."""
    return [name for name in row if name in QUANTITIES]


def _write_csv(path: Path, columns: Sequence[str], rows: Iterable[Row]) -> None:
    """Write rows under a header; a missing cell is blank."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=columns, restval="")
        writer.writeheader()
        writer.writerows([{"engine": "G1", **row} for row in rows])


def _write_yaml(path: Path, data: Mapping[str, object]) -> None:
    """Write plain data as a person would: block style, keys in order."""
    path.write_text(yaml.safe_dump(data, sort_keys=False, allow_unicode=True), encoding="utf-8")
