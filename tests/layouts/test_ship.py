"""An invented ship, judged through the command line; every expected figure was worked out by hand, its arithmetic beside it.

The noon reports are made here from a few lines: AE1 runs 12 h a day, AE2 18, AE3 and its exchange unit AE3B 6. Noon is 12:00 UTC up
to 30 June 2026 and 10:00 UTC after it. At noon of day n after 1 January 2025 the meters read AE1 15,000 + 12 n, AE2 95,000 + 18 n,
AE3 8,000 + 6 n. All stand from midnight of 1 May to midnight of 21 May 2026, AE1 at 15,000 + 12 x 484.5 = 20,814, AE2 at
95,000 + 18 x 484.5 = 103,721 (shown 3,721). At noon of day k after 21 May they read AE1 20,820 + 12 k, AE2 3,730 + 18 k,
AE3B 3 + 6 k. The moment of judging, the end of 30 September (k = 132), is 14 h of 24 after that day's noon:
AE1 22,404 + 7 = 22,411, AE2 6,106 + 10.5 = 6,116.5, AE3B 795 + 3.5 = 798.5.
"""

from __future__ import annotations

import csv
import json
import shutil
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from openpyxl import Workbook, load_workbook
from typer.testing import CliRunner

from intervals.cli.main import app
from tests.layouts.due_days import holds_day

SITE = Path(__file__).parent / "ship"
FIRST_NOON, DOCKED, BACK, LAST_NOON = date(2025, 1, 1), date(2026, 5, 1), date(2026, 5, 21), date(2026, 10, 5)
CLOCK_AHEAD = date(2026, 7, 1)
"""From here on the ship's clock is two hours ahead of UTC."""
METERS = {"AE1": (15_000, 12), "AE2": (95_000, 18), "AE3": (8_000, 6), "AE3B": (0, 6)}
"""What each meter showed at the first noon, and hours a day."""
AS_OF = ("--as-of", "2026-09-30")


def meter_at_noon(engine: str, day: date) -> int | str:
    """Return what the noon report says of a meter of five digits, blank where the engine is not aboard."""
    at_first, a_day = METERS[engine]
    if (engine == "AE3" and day >= date(2026, 5, 10)) or (engine == "AE3B" and day < date(2026, 5, 20)):
        return ""
    before = 0.0 if engine == "AE3B" else min((day - FIRST_NOON).days, (DOCKED - FIRST_NOON).days - 0.5)
    return int(at_first + a_day * (before + max(0.0, (day - BACK).days + 0.5))) % 100_000


def write_noon_reports(folder: Path) -> None:
    """Write one row a day and one file a year; the exchange unit has its columns from 2026 on."""
    for year, engines in ((2025, ["AE1", "AE2", "AE3"]), (2026, list(METERS))):
        with (folder / f"noon-{year}.csv").open("w", newline="", encoding="utf-8") as file:
            rows = csv.writer(file)
            rows.writerow(["Noon", *(f"{engine} {what}" for engine in engines for what in ("Hours", "kW"))])
            day = date(year, 1, 1)
            while day <= min(LAST_NOON, date(year, 12, 31)):
                shown = {engine: meter_at_noon(engine, day) for engine in engines}
                load = 0 if DOCKED < day < BACK else 400
                cells = [cell for engine in engines for cell in (shown[engine], "" if shown[engine] == "" else load)]
                rows.writerow([f"{day}T12:00{'+02:00' if day >= CLOCK_AHEAD else '+00:00'}", *cells])
                day += timedelta(days=1)


def write_spreadsheet(folder: Path) -> None:
    """Turn services.csv into the spreadsheet that it is aboard: dates are dates, counters are numbers."""
    book = Workbook()
    sheet = book.worksheets[0]
    with (folder / "services.csv").open(encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    sheet.append(header)
    for row in rows:
        kept: list[object] = [cell or None for cell in row]
        for place, name in enumerate(header):
            if row[place] and name in ("Date", "Postponed to"):
                kept[place] = datetime.fromisoformat(row[place])
            elif row[place] and name in ("Counter", "Postponed to h"):
                kept[place] = float(row[place])
        sheet.append(kept)
    book.save(folder / "services.xlsx")


def said(*words: str | Path) -> str:
    """Run the command line and return what it prints; 1 says that something is overdue."""
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code in (0, 1), result.output
    return result.stdout


@pytest.fixture(scope="module")
def ship(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the ship's folder with its noon reports and its spreadsheet."""
    folder = tmp_path_factory.mktemp("layouts") / "ship"
    shutil.copytree(SITE, folder)
    write_noon_reports(folder / "readings")
    write_spreadsheet(folder)
    return folder


@pytest.fixture(scope="module")
def judged(ship: Path) -> dict[str, Any]:
    """Return the findings of 30 September, with page, workbook and calendar beside them."""
    files = ("--html", ship / "p.html", "--xlsx", ship / "w.xlsx", "--ics", ship / "c.ics")
    document: dict[str, Any] = json.loads(said("check", ship, *AS_OF, "--format", "json", *files))
    return document


def finding(document: dict[str, Any], engine: str, task: str) -> dict[str, Any]:
    """Return one finding."""
    (found,) = (each for each in document["findings"] if (each["engine"], each["task"]) == (engine, task))
    return dict(found)


def leg(document: dict[str, Any], engine: str, task: str, name: str) -> tuple[float, float]:
    """Return used and allowed of one leg."""
    (found,) = (each for each in finding(document, engine, task)["legs"] if each["leg"] == name)
    return found["used"], found["allowed"]


HOURS = [
    # overhauled in dock at 20,814: 22,411 - 20,814 = 1,597 since, and so for all that it renews; 250 h to the first valve clearance
    ("AE1", "overhaul", 1597, 24_000), ("AE1", "oil-change", 1597, 1500), ("AE1", "injectors", 1597, 2000),
    ("AE1", "cylinder-heads", 1597, 12_000), ("AE1", "turbocharger", 1597, 12_000), ("AE1", "charge-air-cooler", 1597, 4000),
    ("AE1", "crankcase-inspection", 1597, 2000), ("AE1", "valve-clearance", 1597, 250),
    # 22,411 - 21,312 = 1,099; 22,411 - 22,284 = 127; the sample at 486 h of 500 keeps its grid: 22,411 - (20,814 + 500) = 1,097
    ("AE1", "oil-filter", 1099, 500), ("AE1", "fuel-filter", 127, 500), ("AE1", "oil-sample", 1097, 500),
    # over the roll-over: 106,116.5 - 99,374 = 6,742.5; after it 6,116.5 - 2,128 = 3,988.5; - 6,016 = 100.5; - 4,810 = 1,306.5
    ("AE2", "injectors", 6742.5, 2000), ("AE2", "oil-change", 3988.5, 1500), ("AE2", "oil-filter", 100.5, 500),
    ("AE2", "fuel-filter", 1306.5, 500),
    # the exchange unit burns residual fuel: half of 500, half of 2,000, 0.8 x 12,000; nothing of AE3 is left
    ("AE3B", "fuel-filter", 798.5, 250), ("AE3B", "injectors", 798.5, 1000), ("AE3B", "turbocharger", 798.5, 9600),
    # oil proved good by the sample of 15 June (k = 25, noon: 4,180): 6,116.5 - 4,180
    ("AE2", "oil-charge", 1936.5, 3000),
    # on AE1 20,814 - 16,920 = 3,894, on AE2 since 18 May 6,116.5 - 3,721 = 2,395.5; the other one to the shelf: 33,721 - 25,162 = 8,559
    ("TC-A", "tc-overhaul", 6289.5, 12_000), ("TC-B", "tc-overhaul", 8559, 12_000),
    # 10 March, area entered 05:00 UTC, fuel changed 10:00: 5 h of 24 at 12 and 18 h a day; 15 and 16 July 0.62 %: two days
    ("AE1", "sulphur-control-area", 2.5, 0), ("AE2", "sulphur-control-area", 3.75, 0), ("AE3B", "sulphur-control-area", 0, 0),
    ("AE1", "sulphur-open-sea", 24, 0), ("AE2", "sulphur-open-sea", 36, 0), ("AE3B", "sulphur-open-sea", 12, 0),
]  # fmt: skip


@pytest.mark.parametrize(("engine", "task", "used", "allowed"), HOURS)
def test_hours(judged: dict[str, Any], engine: str, task: str, used: float, allowed: float) -> None:
    """Hours since the last completion, over roll-over, dock, exchange and from engine to engine."""
    assert leg(judged, engine, task, "running_hours") == pytest.approx((used, allowed), abs=1e-6)


DAYS = [
    # an overhaul moves no survey: 15 October 2021 to 30 September 2026 is 1,811 of 1,826 d; AE2's 10 September 2021 is 20 d past
    ("AE1", "machinery-survey", 1811, 1826, "upcoming", "2026-10-15"), ("AE2", "machinery-survey", 1846, 1826, "overdue", "2026-09-10"),
    # the renewal of 2 March, within three months before 15 March: next from the old expiry, 5 years on; it is the yearly survey too
    ("AE1", "renewal-survey", 212, 1839, "in_interval", "2031-03-15"), ("AE1", "annual-survey", 212, 470, "in_interval", "2027-03-15"),
    # held 10 March 2025, anniversary 15 March 2026, to be held up to 15 June: 365 + 97 = 462 d; 30 September is 107 d later
    ("AE2", "annual-survey", 569, 462, "overdue", "2026-03-15"), ("AE2", "renewal-survey", 2025, 1826, "overdue", "2026-03-15"),
    # "all units" of 2025 is not a survey of a unit that came in 2026: one year after 20 May 2026, three months more to hold it in
    ("AE3B", "annual-survey", 133, 457, "in_interval", "2027-05-20"),
    # nor trips and alarms: 20 June and three months
    ("AE1", "safety-devices", 102, 92, "overdue", "2026-09-20"), ("AE3B", "safety-devices", 102, 92, "overdue", "2026-09-20"),
    ("AE3B", "coolant-test", 5, 7, "in_interval", "2026-10-02"),
    # on the shelf the calendar runs: two years after 10 January 2025; after 10 June 2025
    ("TC-B", "tc-overhaul", 628, 730, "in_interval", "2027-01-10"), ("TC-A", "tc-overhaul", 477, 730, "in_interval", "2027-06-10"),
]  # fmt: skip


@pytest.mark.parametrize(("engine", "task", "used", "allowed", "standing", "due_on"), DAYS)
def test_surveys_and_other_days(
    judged: dict[str, Any], engine: str, task: str, used: float, allowed: float, standing: str, due_on: str
) -> None:
    """Anniversaries, windows and months."""
    found = finding(judged, engine, task)
    assert leg(judged, engine, task, "calendar") == (used, allowed)
    assert (found["standing"], found["due_on"]) == (standing, due_on)


DUE = [
    # 22,314 = 20,820 + 12 x 124.5: 22 September; within 10 % up to 1,650
    ("AE1", "oil-change", "overdue", "2026-09-22"),
    # 250 h at 21,064: k = 20.33, 10 June; AE3B's 3 + 6 k = 250: k = 41.17, 1 July
    ("AE1", "valve-clearance", "overdue", "2026-06-10"), ("AE3B", "valve-clearance", "overdue", "2026-07-01"),
    # put off until the dial shows 4,500: k = 42.78, from noon of 2 July 18 h 40 min: 3 July; the filter until 10 October ends
    ("AE2", "oil-change", "overdue", "2026-07-03"), ("AE2", "fuel-filter", "upcoming", "2026-10-10"),
    # ahead: 403 h / 12 = 33.6 d, 373 / 12 = 31.1, 399.5 / 18 = 22.2, 701.5 / 6 = 116.9, 2,403 / 12 = 200.25 d after 30 September
    ("AE1", "injectors", "in_interval", "2026-11-03"), ("AE1", "fuel-filter", "in_interval", "2026-11-01"),
    ("AE2", "oil-filter", "in_interval", "2026-10-23"), ("AE3B", "oil-change", "in_interval", "2027-01-25"),
    ("AE1", "charge-air-cooler", "in_interval", "2027-04-19"),
    # base number 5.8, result Wednesday 23 September, two business days
    ("AE2", "oil-charge", "overdue", "2026-09-25"),
    ("AE1", "sulphur-control-area", "overdue", "2026-03-10"), ("AE3B", "sulphur-open-sea", "overdue", "2026-07-15"),
]  # fmt: skip


@pytest.mark.parametrize(("engine", "task", "standing", "due_on"), DUE)
def test_due_days_agree_everywhere(judged: dict[str, Any], ship: Path, engine: str, task: str, standing: str, due_on: str) -> None:
    """Document, workbook and calendar give one due date; what is overdue stands on the day of judging in the calendar."""
    found = finding(judged, engine, task)
    assert found["standing"] == standing
    assert holds_day(found, due_on)
    due_on = found["due_on"]
    header, *rows = load_workbook(ship / "w.xlsx")["findings"].iter_rows(values_only=True)
    (row,) = (
        each for each in (dict(zip(header, cells, strict=True)) for cells in rows) if (each["engine"], each["task"]) == (engine, task)
    )
    due = row["due on"]
    assert isinstance(due, datetime)
    assert due.date().isoformat() == due_on
    title = f"{engine}, {found['title']}"
    (event,) = (each for each in Calendar.from_ical((ship / "c.ics").read_bytes()).walk("VEVENT") if title in str(each["SUMMARY"]))
    start: Any = event["DTSTART"]
    assert start.dt == (date(2026, 9, 30) if standing == "overdue" else date.fromisoformat(due_on))


def test_age_and_deferral_in_titles(judged: dict[str, Any], ship: Path) -> None:
    """A survey is late from its window's end on, 15 June: 107 d; a deferral that has run out is told as that, 3 July: 89 d."""
    assert judged["as_of"] == "2026-10-01T00:00:00+00:00"
    titles = [str(event["SUMMARY"]) for event in Calendar.from_ical((ship / "c.ics").read_bytes()).walk("VEVENT")]
    assert any(title.startswith("Overdue for 107 days: AE2, Yearly survey") for title in titles)
    assert any(title.startswith("Overdue for 89 days, deferral until 4,500 h on the meter has run out: AE2") for title in titles)


def test_nothing_is_wrong_with_the_log(judged: dict[str, Any]) -> None:
    """365 + 278 noons and 9 lines of lists; nothing set aside, no silence in dock, no fault of a list that all engines share."""
    assert judged["rows"] == {"read": 652, "accepted": 652, "set_aside": 0}
    assert {fault["kind"] for fault in judged["faults"]} == {"no_completion_known"}
    assert "warnings" not in judged
    assert "AE3" not in {each["engine"] for each in judged["findings"]}


def test_the_day_of_a_budget(ship: Path) -> None:
    """Too much sulphur burned on 10 March is told as of 10 March, not of the midnight before."""
    text = said("explain", ship, "AE1", "sulphur-control-area", *AS_OF)
    assert "2026-03-09" not in text
    assert "renewed by oil-analysis" in said("explain", ship, "AE2", "oil-lab.oil-charge", *AS_OF)
    assert "2026-06-15T12" not in said("explain", ship, "AE2", "oil-lab.oil-charge", *AS_OF).split("reading at the start")[0]


@pytest.mark.parametrize("as_of", ["2026-05-15", "2026-05-20", "2026-05-21", "2026-06-15", "2026-09-30"])
def test_weeks_in_dock_slow_no_pace(ship: Path, as_of: str) -> None:
    """24,000 h at 12 h a day are 2,000 days from the end of the lay-up on: 21 May 2026 and 2,000 d end on 10 November 2031."""
    document = json.loads(said("check", ship, "--as-of", as_of, "--engine", "AE1", "--task", "overhaul", "--format", "json"))
    assert holds_day(finding(document, "AE1", "overhaul"), "2031-11-10")


def test_a_signal_is_a_share_of_the_hours(ship: Path) -> None:
    """March 2026: in the control area from 05:00 on 10 March to the end, 523 of the month's 744 h at an even pace, 70.3 %."""
    text = said("duty", ship, "--since", "2026-03-01", "--until", "2026-03-31", "--engine", "AE1")
    assert "AE1: in control area: 70.3 % of the hours\n" in text


def test_the_month(ship: Path) -> None:
    """AE1 in September: 4 on time, 5 late, 1 pending.

    On time are the cooling water on 1, 8 and 15 and the fuel filter on 20. Late are the cooling water due on 22, the second due points of
    sample (22,364 h, 27 September), oil filter (22,362 h, 26 September) and valves (1,350 h, 10 September), and the trips due on 20.
    Pending is the oil. By weight: the trips alone are safety.
    """
    month = json.loads(said("check", ship, "--month", "2026-09", "--engine", "AE1", "--format", "json"))["compliance"]
    assert (month["on_time"], month["late"], month["open"], month["missed"], month["pending"]) == (4, 5, 4, 0, 1)
    weights = {weight: (each["on_time"], each["late"]) for weight, each in month["by_weight"].items()}
    assert weights == {"engine": (4, 4), "safety": (0, 1)}


def test_the_month_of_the_ship(ship: Path) -> None:
    """AE2 and AE3B add three tests of the cooling water on time each, six and four late ones.

    AE2: cooling water, trips, class survey, condemned oil, and the seventh due points of sample and oil filter (5,628 h, tolerated up to
    5,678, 6 September); its fuel filter is deferred, its oil was late before. AE3B: cooling water, trips, and the third due points of
    both filters (775 h, 27 September).
    """
    month = json.loads(said("check", ship, "--month", "2026-09", "--format", "json"))["compliance"]
    assert (month["on_time"], month["late"]) == (4 + 3 + 3, 5 + 6 + 4)


def test_what_falls_due_within_a_month(ship: Path) -> None:
    """By 30 October: AE2's oil filter on 23 October is shown, AE1's fuel filter on 1 November is not."""
    text = said("check", ship, *AS_OF, "--due", "P30D")
    assert "2026-10-23" in text
    assert "2026-11-01" not in text


def test_the_first_try(ship: Path, tmp_path: Path) -> None:
    """Without a word of what the spreadsheet's words mean all 46 records are set aside, told first, and nothing wrong is offered."""
    folder = tmp_path / "first"
    shutil.copytree(ship, folder)
    text = (folder / "site.yaml").read_text("utf-8")
    start, end = text.index("  engine_names: {Unit I:"), text.index("\nlab:")
    (folder / "site.yaml").write_text(text[:start] + text[end:], encoding="utf-8")
    shown = said("check", folder, *AS_OF)
    assert shown.startswith("! 46 of 46 service records could not be used")
    block = shown[shown.index("Words that are not known") :]
    for word in ("Unit I", "Unit II", "Unit 3", "all units"):
        assert f'"{word}": ...' in block
    assert "AE3B, TC-A, TC-B, all" in block
    # the words of tasks and outcomes are told with them, though no engine is known yet; a fuel filter is no oil filter
    for word in ("completed", "postponed", "CW test", "FO filter", "Major overhaul"):
        assert f'"{word}": ...' in block
    assert '"completed": ...  # 44 records' in block
