"""The samples' job books: what was done when, kept as plain text, and the `services.csv` made from them.

In: the lines of a job book. Out: `Job` values, and service records whose meter readings come from the engines' courses.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from io import StringIO
from pathlib import Path
from zoneinfo import ZoneInfo

COLUMNS = ("at", "engine", "task", "hour_meter_h", "outcome", "done_by", "note", "ref", "until_h", "until_date", "approved_by")


@dataclass(frozen=True)
class Job:
    """One line of a job book.

    Attributes:
        at: when the job was finished.
        engine: engine id.
        stands_h: how long the engine stood for it before that, in h.
        tasks: task ids.
        done_by: who did it, by role.
        note: free text.
        extra: other columns of the record, by name; `hour_meter_h` here is what was typed.
    """

    at: datetime
    engine: str
    stands_h: float
    tasks: tuple[str, ...]
    done_by: str
    note: str
    extra: dict[str, str]


def read_job_book(path: Path, zone: ZoneInfo) -> list[Job]:
    """Return the jobs of a job book in order of time.

    Args:
        path: a text file, one job a line: `at | engine | hours stood | tasks | done by | note | column=value, ...`. The last
            two may be missing, and lines that are empty or begin with # are passed over.
        zone: the zone that the times are local to.

    Returns:
        The jobs, sorted by time and engine.
    """
    jobs = []
    for line in read_lines(path):
        fields = [field.strip() for field in line.split("|")]
        at, engine, stands_h, tasks, done_by, note, extra = fields + [""] * (7 - len(fields))
        pairs = dict(pair.strip().split("=", 1) for pair in extra.split(",") if pair.strip())
        when = datetime.fromisoformat(at).replace(tzinfo=zone)
        jobs.append(Job(when, engine, float(stands_h), tuple(task.strip() for task in tasks.split(",")), done_by, note, pairs))
    return sorted(jobs, key=lambda job: (job.at, job.engine))


def read_lines(path: Path) -> list[str]:
    """Return the lines of a text file that say something: neither empty nor a # comment."""
    return [line for line in path.read_text(encoding="utf-8").splitlines() if line.strip() and not line.startswith("#")]


def write_services(path: Path, jobs: list[Job], meter_of: Callable[[Job], float]) -> None:
    """Write a site's service records, one row a task.

    Args:
        path: the `services.csv` to write.
        jobs: the jobs in order of time; each gets the next job card number as its ref unless it brings its own.
        meter_of: what the engine's hour meter shows when a job is finished, in h.
    """
    out = StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n", restval="")
    writer.writeheader()
    for number, job in enumerate(jobs, start=1):
        for task in job.tasks:
            row = {"at": f"{job.at:%Y-%m-%d %H:%M}", "engine": job.engine, "task": task, "outcome": "done", "done_by": job.done_by}
            row |= {"note": job.note, "ref": f"JC-{number:03d}"} | job.extra
            if "hour_meter_h" not in row:
                row["hour_meter_h"] = f"{meter_of(job):.1f}"
            writer.writerow(row)
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
