"""The made-up plant "Brackwater": four gas engines of a nursery, logged hour by hour for eighteen months.

In: a folder. Out: `readings/YYYY-MM.csv`, `gas/hydrogen-sulphide.csv` and `services.csv` below it. Five blemishes are
put into the log on purpose, each in its own function and named in `site.yaml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from makers.course import Course
from makers.jobs import Job, read_job_book, write_services

JOB_BOOK = Path(__file__).parent / "brackwater_book.txt"
ZONE = ZoneInfo("Europe/Amsterdam")
START = datetime(2025, 5, 1, tzinfo=UTC)
END = datetime(2026, 10, 31, 23, tzinfo=UTC)  # midnight at the plant
HOUR = timedelta(hours=1)
HEADER = "Time (UTC);Unit;P (kW);Hours;Starts;E (kWh);Top-up (L)"

Row = tuple[datetime, str, str, str, str, str, str]


@dataclass(frozen=True)
class Engine:
    """One engine's figures at the start of the log, and what its sump takes.

    Attributes:
        id: engine id.
        rated_kw: rated power.
        first_day: first local day in the log.
        meter_h: hour meter on that day.
        starts: start counter on that day.
        energy_kwh: energy counter on that day.
        top_up_h: running hours between two top-ups of `TOP_UP_L` litres.
    """

    id: str
    rated_kw: float
    first_day: date
    meter_h: float
    starts: int
    energy_kwh: int
    top_up_h: float


TOP_UP_L = 20
ENGINES = (
    Engine("G1", 1200, date(2025, 5, 1), 38214.6, 2207, 40_871_300, 118),
    Engine("G2", 1200, date(2025, 5, 1), 34102.3, 2482, 31_006_450, 131),
    Engine("G3", 800, date(2025, 6, 2), 0.0, 0, 0, 260),
    Engine("G4", 600, date(2025, 5, 1), 31870.2, 641, 14_902_880, 152),
)
METER_CHANGE_AT = datetime(2026, 2, 10, 9, 30, tzinfo=ZONE)
METER_CHANGE_OLD_H = 37820.1
"""What the old meter of G2 showed; it must be the course's own figure, which `make_brackwater` checks."""


def make_brackwater(folder: Path) -> None:
    """Write the plant's log, gas readings and service records below a folder.

    Args:
        folder: `sample_logs/brackwater`; its `site.yaml` is kept by hand.

    Raises:
        ValueError: if the course has moved and the meter change in `site.yaml` no longer fits it.
    """
    jobs = read_job_book(JOB_BOOK, ZONE)
    courses = {engine.id: _course_of(engine, jobs) for engine in ENGINES}
    old_read_h = 34102.3 + courses["G2"].hours_at(METER_CHANGE_AT)
    if round(old_read_h, 1) != METER_CHANGE_OLD_H:
        message = f"the old meter of G2 reads {old_read_h:.1f} h at its change; put that into METER_CHANGE_OLD_H and site.yaml"
        raise ValueError(message)
    rows = sorted(row for engine in ENGINES for row in _log_of(engine, courses[engine.id]))
    _write_months(folder / "readings", _with_blemishes(rows))
    _write_gas(folder / "gas" / "hydrogen-sulphide.csv")
    engines = {engine.id: engine for engine in ENGINES}
    write_services(folder / "services.csv", jobs, lambda job: meter_shown(engines[job.engine], courses[job.engine], job.at))


def meter_shown(engine: Engine, course: Course, at: datetime) -> float:
    """Return what an engine's hour meter shows at a moment, in h; a row stamped at the change is still the old meter's."""
    shown_h = engine.meter_h + course.hours_at(at)
    if engine.id == "G2" and at > METER_CHANGE_AT:
        shown_h -= METER_CHANGE_OLD_H
    return round(shown_h, 1)


def _course_of(engine: Engine, jobs: list[Job]) -> Course:
    """Return when an engine ran: its daily plan, less the hours that its jobs took."""
    course = Course(START, END)
    random = Random(f"brackwater {engine.id}")
    day = engine.first_day
    while datetime(day.year, day.month, day.day, tzinfo=ZONE) < END:
        midnight = datetime(day.year, day.month, day.day, tzinfo=ZONE).astimezone(UTC)
        for begin_h, finish_h in _daily_plan(engine.id, day, random):
            course.run(midnight + begin_h * HOUR, midnight + finish_h * HOUR)
        day += timedelta(days=1)
    for job in jobs:
        if job.engine == engine.id:
            course.stand(job.at - job.stands_h * HOUR, job.at)
    if engine.id == "G2":
        course.stand(METER_CHANGE_AT - HOUR, METER_CHANGE_AT + HOUR)
    course.settle()
    return course


def _is_winter(day: date) -> bool:
    """Return whether the glasshouses are heated and lit on a day."""
    return (day.month, day.day) >= (10, 1) or (day.month, day.day) < (4, 15)


def _daily_plan(engine_id: str, day: date, random: Random) -> list[tuple[float, float]]:
    """Return the spans in which an engine runs on a day, in hours from local midnight."""
    early, late, fate = random.random(), random.random(), random.random()
    winter, sunday = _is_winter(day), day.isoweekday() == 7  # noqa: PLR2004 - ISO's Sunday
    if engine_id == "G1":  # first in line for heat
        spans = [(4.5 + early, 24.0)] if winter else [(5.5 + early, 21.0 + late)]
        return [] if fate < (0.02 if winter else 0.06) else spans
    if engine_id == "G2":
        spans = [(5.0 + early, 22.5 + late)] if winter else [(6.5 + early, 18.5 + 2 * late)]
        return [] if fate < (0.03 if winter else 0.10) or (sunday and not winter) else spans
    if engine_id == "G3":  # sells into the two peaks of the day
        spans = [(6.0 + early, 9.0 + late), (16.5 + early, 19.5 + 2 * late)]
        return spans[1:] if sunday or fate < 0.2 else spans  # noqa: PLR2004 - one morning in five the price is too low
    trip_h = 24 * late  # G4 takes the digester's gas day and night, and stops now and then for want of it
    return [(0.0, trip_h), (trip_h + 1.0 + 8 * early, 24.0)] if fate < 0.25 else [(0.0, 24.0)]  # noqa: PLR2004 - one day in four


def _load_pct(engine_id: str, at: datetime, random: Random) -> float:
    """Return the load of an engine in the hour before a moment, in per cent of rated power."""
    local = at.astimezone(ZONE)
    peak = 6 <= local.hour <= 10 or 16 <= local.hour <= 21  # noqa: PLR2004 - the hours of high price
    noise = random.random()
    if engine_id == "G1":
        high = peak and (_is_winter(local.date()) or noise < 0.55)  # noqa: PLR2004 - in summer only part of the peaks
        return 91.5 + 8 * noise if high else 74 + 14 * noise
    if engine_id == "G2":
        return (76 if peak else 62) + 13 * noise
    if engine_id == "G3":
        return 78 + 11 * noise
    return 70 + 17 * noise


def _log_of(engine: Engine, course: Course) -> list[Row]:
    """Return an engine's hourly rows, each stamped at the end of its hour."""
    random = Random(f"brackwater load {engine.id}")
    energy_kwh, since_top_up_h, rows = float(engine.energy_kwh), 0.0, []
    first = datetime(engine.first_day.year, engine.first_day.month, engine.first_day.day, tzinfo=ZONE).astimezone(UTC)
    at = max(START, first)
    while at <= END:
        ran_h = course.hours_at(at) - course.hours_at(at - HOUR)
        load_kw = round(engine.rated_kw * _load_pct(engine.id, at, random) / 100, 1) if ran_h > 0 else 0.0
        energy_kwh += load_kw * ran_h
        since_top_up_h += ran_h
        top_up = ""
        if since_top_up_h >= engine.top_up_h:
            since_top_up_h, top_up = 0.0, str(TOP_UP_L)
        hours = meter_shown(engine, course, at)
        counters = (_comma(hours), str(engine.starts + course.starts_at(at)), str(round(energy_kwh)))
        rows.append((at, engine.id, _comma(load_kw), *counters, top_up))
        at += HOUR
    return rows


def _comma(value: float) -> str:
    """Return a figure with one decimal, written with a comma."""
    return f"{value:.1f}".replace(".", ",")


def _with_blemishes(rows: list[Row]) -> list[Row]:
    """Return the log as the plant has it: with a gap, a typing error, a text cell and a row written twice."""
    gap_from, gap_to = datetime(2025, 12, 12, 14, tzinfo=UTC), datetime(2025, 12, 17, 8, tzinfo=UTC)
    typed_at = datetime(2026, 5, 19, 9, tzinfo=UTC)
    text_at = datetime(2025, 9, 3, 7, tzinfo=UTC)
    twice_at = datetime(2026, 7, 8, 12, tzinfo=UTC)
    kept: list[Row] = []
    for row in rows:
        at, unit, load, hours, *rest = row
        if unit == "G1" and gap_from < at < gap_to:  # the logger's card was full
            continue
        if unit == "G4" and at == typed_at:  # typed in from the paper sheet, a digit short
            kept.append((at, unit, load, hours[:1] + hours[2:], rest[0], rest[1], rest[2]))
        elif unit == "G2" and at == text_at:  # the power transducer was off
            kept.append((at, unit, "n/a", hours, rest[0], rest[1], rest[2]))
        else:
            kept.append(row)
        if unit == "G3" and at == twice_at:  # sent again after a lost line
            kept.append(row)
    return kept


def _write_months(folder: Path, rows: list[Row]) -> None:
    """Write one file a month as the plant's logger does: byte order mark, semicolons, decimal commas, CR LF."""
    folder.mkdir(parents=True, exist_ok=True)
    for month, of_month in groupby(rows, key=lambda row: f"{row[0]:%Y-%m}"):
        lines = [HEADER, *(f"{row[0]:%Y-%m-%d %H:%M};" + ";".join(row[1:]) for row in of_month)]
        (folder / f"{month}.csv").write_bytes("".join(f"{line}\r\n" for line in lines).encode("utf-8-sig"))


def _write_gas(path: Path) -> None:
    """Write the weekly hand readings of hydrogen sulphide in the biogas; in winter 2026 the carbon filter was used up."""
    path.parent.mkdir(parents=True, exist_ok=True)
    random = Random("brackwater gas")
    lines = ["Taken at;H2S (ppm)"]
    at = datetime(2025, 5, 1, 8, 30)  # noqa: DTZ001 - written as local time, like the reading itself
    while at.date() <= date(2026, 10, 30):
        ppm = 70 + 80 * random.random()
        if date(2026, 1, 25) <= at.date() <= date(2026, 3, 20):
            ppm = 290 + 170 * random.random()
        if date(2026, 2, 15) <= at.date() <= date(2026, 3, 7):
            ppm = 560 + 120 * random.random()
        lines.append(f"{at:%Y-%m-%d %H:%M};{round(ppm)}")
        at += timedelta(days=7)
    path.write_bytes("".join(f"{line}\r\n" for line in lines).encode())
