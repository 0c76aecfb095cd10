"""The made-up clinic "Harbour": two standby diesel sets, read once a week into a workbook.

In: a folder. Out: `readings/weekly.xlsx`, one row a week with both sets side by side, and `services.csv` with the
clinic's own headings and words. Records carry a date and no time, as a paper sheet does.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from io import StringIO
from pathlib import Path

import xlsxwriter
from makers.jobs import read_lines

JOB_BOOK = Path(__file__).parent / "harbour_clinic_book.txt"
RUNS = Path(__file__).parent / "harbour_clinic_runs.txt"
FIRST_MONDAY = date(2025, 9, 1)
LAST_MONDAY = date(2026, 10, 26)
LAID_UP_FROM = {"S2": date(2026, 9, 14)}
SET_NAMES = {"S1": "Main set", "S2": "Annexe set"}
INSPECTIONS_MOVED: dict[tuple[str, date], date | None] = {
    ("S1", date(2025, 12, 29)): None,
    ("S1", date(2026, 1, 5)): date(2026, 1, 6),
    ("S2", date(2026, 4, 6)): date(2026, 4, 7),
}
"""The day on which a Monday's look round was made instead, or None where it was left out."""
HEADINGS = ("Date", "Set", "Job", "Hours", "Result", "By", "Remark", "Card")


@dataclass(frozen=True)
class StandbySet:
    """One set's meter and start counter as the first row finds them."""

    id: str
    meter_h: float
    starts: int


SETS = (StandbySet("S1", 412.6, 655), StandbySet("S2", 1038.2, 1204))


@dataclass(frozen=True)
class Run:
    """One run of a set: the day, hours run, mean load in kW, starts."""

    set_id: str
    day: date
    hours_h: float
    load_kw: float
    starts: int = 1


def make_harbour_clinic(folder: Path) -> None:
    """Write the clinic's workbook and service records below a folder; its `site.yaml` is kept by hand."""
    runs = _read_runs(RUNS)
    (folder / "readings").mkdir(parents=True, exist_ok=True)
    _write_workbook(folder / "readings" / "weekly.xlsx", runs)
    (folder / "services.csv").write_text(_services(runs), encoding="utf-8", newline="")


def _read_runs(path: Path) -> list[Run]:
    """Return the runs of a text file of lines `day set hours kW [starts]`."""
    runs = []
    for line in read_lines(path):
        day, set_id, hours_h, load_kw, *starts = line.split()
        runs.append(Run(set_id, date.fromisoformat(day), float(hours_h), float(load_kw), int(starts[0]) if starts else 1))
    return runs


def _meter_h(standby: StandbySet, runs: list[Run], until: date) -> float:
    """Return what a set's hour meter shows on the morning of a day."""
    ran_h = sum(run.hours_h for run in runs if run.set_id == standby.id and FIRST_MONDAY <= run.day < until)
    return round(standby.meter_h + ran_h, 1)


def _write_workbook(path: Path, runs: list[Run]) -> None:
    """Write one row a Monday at eight: meter and starts as read, and the mean kW of the week's runs."""
    book = xlsxwriter.Workbook(str(path))
    book.set_properties({"title": "Weekly readings (made up)", "created": datetime(2026, 10, 26)})  # noqa: DTZ001 - a fixed date keeps the bytes
    sheet, stamp = book.add_worksheet("Log"), book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    sheet.set_column(0, 0, 17)
    sheet.freeze_panes(1, 1)
    sheet.write_row(0, 0, ["Read at", *(f"{standby.id} {what}" for standby in SETS for what in ("hours", "starts", "kW"))])
    monday, row = FIRST_MONDAY, 1
    while monday <= LAST_MONDAY:
        sheet.write_datetime(row, 0, datetime(monday.year, monday.month, monday.day, 8), stamp)  # noqa: DTZ001 - a cell has no zone
        for place, standby in enumerate(SETS):
            if monday < LAID_UP_FROM.get(standby.id, LAST_MONDAY + timedelta(days=1)):
                _write_set(sheet, row, 1 + 3 * place, standby, runs, monday)
        monday, row = monday + timedelta(days=7), row + 1
    book.add_worksheet("About").write(0, 0, "Invented readings of an invented clinic, made by sample_logs/make_samples.py.")
    book.close()


def _write_set(  # noqa: PLR0913 - where in the sheet, and whose week
    sheet: xlsxwriter.worksheet.Worksheet, row: int, column: int, standby: StandbySet, runs: list[Run], monday: date
) -> None:
    """Write one set's three cells of a week; a week without a run has no kW."""
    mine = [run for run in runs if run.set_id == standby.id and FIRST_MONDAY <= run.day < monday]
    week = [run for run in mine if run.day >= monday - timedelta(days=7)]
    sheet.write_number(row, column, _meter_h(standby, runs, monday))
    sheet.write_number(row, column + 1, standby.starts + sum(run.starts for run in mine))
    week_h = sum(run.hours_h for run in week)
    if week_h > 0:
        sheet.write_number(row, column + 2, round(sum(run.load_kw * run.hours_h for run in week) / week_h, 1))


def _services(runs: list[Run]) -> str:
    """Return the service records: the job book, and the look round every Monday."""
    rows = [record for line in read_lines(JOB_BOOK) for record in _records(line, runs)]
    for standby in SETS:
        monday = FIRST_MONDAY - timedelta(days=7)
        while monday <= LAST_MONDAY:
            day = INSPECTIONS_MOVED.get((standby.id, monday), monday)
            if day and day < LAID_UP_FROM.get(standby.id, LAST_MONDAY + timedelta(days=1)):
                rows.append((day.isoformat(), SET_NAMES[standby.id], "Weekly look-round", "", "done", "caretaker", "", ""))
            monday += timedelta(days=7)
    rows.sort(key=lambda row: (row[0], row[1]))
    out = StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADINGS)
    writer.writerows((*row[:7], row[7] or f"HC-{number:03d}") for number, row in enumerate(rows, start=1))
    return out.getvalue()


def _records(line: str, runs: list[Run]) -> Iterator[tuple[str, ...]]:
    """Yield the records of one line of the job book, `day or days | set | job | by | remark | meter`.

    The meter is a figure, `log` for what the log says that evening, or missing where nobody wrote it down.
    """
    fields = [field.strip() for field in line.split("|")]
    days, set_id, job, by, remark, meter = fields + [""] * (6 - len(fields))
    standby = next(standby for standby in SETS if standby.id == set_id)
    for day in days.split():
        shown = f"{_meter_h(standby, runs, date.fromisoformat(day) + timedelta(days=1)):.1f}" if meter == "log" else meter
        yield (day, SET_NAMES[set_id], job, shown, "done", by, remark, "")
