"""The made-up island "Skerry": three diesel sets that carry a small grid, logged every six hours for a year.

In: a folder. Out: one Parquet file a quarter below `readings/`, and `services.csv`. From 10 June to 12 August 2026 the
island burns fuel of 0.8 % sulphur.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

import pyarrow as pa
import pyarrow.parquet as pq
from makers.course import Course
from makers.jobs import Job, read_job_book, write_services

JOB_BOOK = Path(__file__).parent / "skerry_island_book.txt"
ZONE = ZoneInfo("Atlantic/Faroe")
START = datetime(2025, 11, 1, tzinfo=UTC)
END = datetime(2026, 11, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
ROW_H = 6
HIGH_SULPHUR = (datetime(2026, 6, 10, 6, tzinfo=UTC), datetime(2026, 8, 12, 18, tzinfo=UTC))
LITRES_PER_KWH = 0.26


@dataclass(frozen=True)
class PrimeSet:
    """One set's figures at the start of the log."""

    id: str
    rated_kw: float
    meter_h: float
    starts: int


SETS = (PrimeSet("D1", 250, 21764.2, 1893), PrimeSet("D2", 250, 7028.7, 604), PrimeSet("D3", 160, 9411.5, 2960))


def make_skerry_island(folder: Path) -> None:
    """Write the island's log and service records below a folder; its `site.yaml` is kept by hand."""
    jobs = read_job_book(JOB_BOOK, ZONE)
    courses = {prime.id: _course_of(prime, jobs) for prime in SETS}
    rows = [row for prime in SETS for row in _log_of(prime, courses[prime.id])]
    rows.sort(key=lambda row: (row["time"], row["set"]))
    _write_quarters(folder / "readings", rows)
    sets = {prime.id: prime for prime in SETS}
    write_services(folder / "services.csv", jobs, lambda job: sets[job.engine].meter_h + courses[job.engine].hours_at(job.at))


def _is_summer(day: date) -> bool:
    """Return whether the nights are light and the load low."""
    return (4, 16) <= (day.month, day.day) <= (9, 30)


def _course_of(prime: PrimeSet, jobs: list[Job]) -> Course:
    """Return when a set ran: week about, one big set carries the base and the other the peaks; D3 has the summer nights."""
    course = Course(START, END)
    random = Random(f"skerry {prime.id}")
    day = START.date()
    while day < END.date():
        midnight = datetime(day.year, day.month, day.day, tzinfo=ZONE).astimezone(UTC)
        for begin_h, finish_h in _daily_plan(prime.id, day, random):
            course.run(midnight + begin_h * HOUR, midnight + finish_h * HOUR)
        day += timedelta(days=1)
    for job in jobs:
        if job.engine == prime.id:
            course.stand(job.at - job.stands_h * HOUR, job.at)
    course.settle()
    return course


def _daily_plan(set_id: str, day: date, random: Random) -> list[tuple[float, float]]:
    """Return the spans in which a set runs on a day, in hours from local midnight."""
    early, late = random.random(), random.random()
    if set_id == "D3":
        if _is_summer(day):
            return [(0.0, 6.0 + early), (22.0 + late, 24.0)]
        return [(16.5 + early, 19.0 + late)] if day.isoweekday() <= 5 else []  # noqa: PLR2004 - workdays
    carries_base = (day.isocalendar().week % 2 == 0) == (set_id == "D1")
    if carries_base:
        return [(5.8, 22.5)] if _is_summer(day) else [(0.0, 24.0)]
    return [(7.0 + early, 12.0 + late), (16.0 + early, 20.5 + late)]


def _load_pct(set_id: str, at: datetime, random: Random) -> float:
    """Return a set's load while it runs in the hour before a moment, in per cent of rated power."""
    local = (at - HOUR / 2).astimezone(ZONE)
    night = local.hour < 6 or local.hour >= 22  # noqa: PLR2004 - the island sleeps
    noise = random.random()
    if set_id == "D3":
        return 15 + 12 * noise if night and _is_summer(local.date()) else 48 + 20 * noise
    return (38 if night else 56) + 16 * noise


def _log_of(prime: PrimeSet, course: Course) -> list[dict[str, object]]:
    """Return a set's six-hourly rows; the mean power of a row includes the hours at standstill."""
    random = Random(f"skerry load {prime.id}")
    rows: list[dict[str, object]] = []
    at, since_top_up_h = START, 0.0
    while at <= END:
        energy_kwh = 0.0
        for back in reversed(range(ROW_H)):
            until = at - back * HOUR
            load_kw = prime.rated_kw * _load_pct(prime.id, until, random) / 100
            energy_kwh += load_kw * (course.hours_at(until) - course.hours_at(until - HOUR))
        since_top_up_h += course.hours_at(at) - course.hours_at(at - ROW_H * HOUR)
        topped_up = since_top_up_h >= 100  # noqa: PLR2004 - ten litres every hundred hours or so
        sulphur_ppm = (7900 if HIGH_SULPHUR[0] < at <= HIGH_SULPHUR[1] else 900) + 10 * random.randrange(0, 21)
        rows.append(
            {
                "time": at,
                "set": prime.id,
                "hour_meter": round(prime.meter_h + course.hours_at(at), 1),
                "starts": prime.starts + course.starts_at(at),
                "mean_kw": round(energy_kwh / ROW_H, 1),
                "fuel_l": round(energy_kwh * LITRES_PER_KWH, 1),
                "sulphur_ppm": sulphur_ppm,
                "oil_l": 10.0 if topped_up else None,
            }
        )
        since_top_up_h = 0.0 if topped_up else since_top_up_h
        at += ROW_H * HOUR
    return rows


def _write_quarters(folder: Path, rows: list[dict[str, object]]) -> None:
    """Write one Parquet file a quarter."""
    folder.mkdir(parents=True, exist_ok=True)
    schema = pa.schema(
        [
            ("time", pa.timestamp("us", tz="UTC")),
            ("set", pa.string()),
            ("hour_meter", pa.float64()),
            ("starts", pa.int32()),
            ("mean_kw", pa.float64()),
            ("fuel_l", pa.float64()),
            ("sulphur_ppm", pa.int32()),
            ("oil_l", pa.float64()),
        ]
    )
    table = pa.Table.from_pylist(rows, schema=schema)
    begins = [START, *(datetime(2026, month, 1, tzinfo=UTC) for month in (1, 4, 7, 10)), END + HOUR]
    times = [row["time"] for row in rows]
    for begin, end in pairwise(begins):
        first, last = times.index(begin), sum(at < end for at in times)  # type: ignore[operator]
        name = f"{begin.year}-q{(begin.month + 2) // 3}.parquet"
        pq.write_table(table.slice(first, last - first), folder / name, compression="zstd")
