"""An invented hospital with three standby sets under two rule sets, judged through the command line; every figure was worked out by hand.

Minutes on the meters from Monday, 3 November 2025, 7:30, to the last reading of the book on 26 October 2026 (51 Tuesdays are 510):
EG1 510 + 12 exercises of 35 + outage 300 + 8 of 23 April = 1,238 min = 20.63 h, on 1,204.32 h: shown 1,204.3 h and 1,224.9 h;
EG2 510 + (11 + 13) exercises of 40 + four times 1,440 + outage 300 = 7,530 min = 125.5 h, on 870.4 h: shown 870 h and 995 h;
EG3 510 + 11 exercises of 30 + outage 60 + load bank 90 = 990 min, on 31,247 min: 32,237 min = 537.283 h.
Days are counted by calendar; due dates of the law are a year and 30 days after the last time. `told` is the site with its words told.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from openpyxl import load_workbook
from typer.testing import CliRunner, Result

from intervals.cli.main import app

SITE = Path(__file__).parent / "hospital"
AS_OF = ("--as-of", "2026-10-31")
HOSPITAL, LAW = "standby-hospital", "us-area-source"
NAMES = "  task_names:\n    yearly service: [oil-change, fuel-filter, air-filter, hoses-belts]\n"


def run(*words: str | Path) -> Result:
    """Return the result of a command."""
    return CliRunner().invoke(app, [str(word) for word in words])


def document(*words: str | Path) -> dict[str, Any]:
    """Return the document that a command prints."""
    found: dict[str, Any] = json.loads(run(*words, "--format", "json").stdout)
    return found


def lines_to_paste() -> list[str]:
    """Return the lines that `log` offers for words that are not known."""
    lines = run("log", SITE, *AS_OF).stdout.splitlines()
    return lines[lines.index("services:") + 2 :]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the site once the lines that the program offers are pasted, the one without an answer completed by hand."""
    folder = tmp_path_factory.mktemp("told") / "hospital"
    shutil.copytree(SITE, folder)
    pasted = "\n".join(line for line in lines_to_paste() if line.strip()).replace('"battery chk": ...', '"battery chk": batteries')
    path = folder / "site.yaml"
    before = path.read_text("utf-8")
    path.write_text(before.replace(NAMES, f"{NAMES}{pasted}\n"), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def found(told: Path) -> dict[str, Any]:
    """Return the findings at the end of October 2026."""
    return document("check", told, *AS_OF)


@pytest.fixture(scope="module")
def untold() -> dict[str, Any]:
    """Return the findings while some words are not known."""
    return document("check", SITE, *AS_OF)


@pytest.fixture(scope="module")
def duty(told: Path) -> dict[str, dict[str, Any]]:
    """Return the duty of each set from 4 November 2025, after the first reading, to the day before the last one."""
    options = ("--since", "2025-11-04", "--until", "2026-10-25")
    return {engine["engine"]: engine for engine in document("duty", told, *options)["engines"]}


def finding(found: dict[str, Any], engine: str, task: str, ruleset: str = HOSPITAL) -> dict[str, Any]:
    """Return the finding of a task."""
    (one,) = (each for each in found["findings"] if (each["engine"], each["ruleset"], each["task"]) == (engine, ruleset, task))
    return dict(one)


def leg_of(one: dict[str, Any], name: str) -> tuple[float, float]:
    """Return what is used and allowed of a leg."""
    (leg,) = (leg for leg in one["legs"] if leg["leg"] == name)
    return leg["used"], leg["allowed"]


@pytest.mark.parametrize(
    ("engine", "ruleset", "task", "standing", "used_d", "allowed_d", "due_on"),
    [
        # Mondays: 26 October to the 31st
        ("EG1", HOSPITAL, "weekly-inspection", "in_interval", 5, 7, "2026-11-02"),
        # the exercises of 7, 14 and 28 October, a month each
        ("EG1", HOSPITAL, "monthly-exercise", "in_interval", 24, 31, "2026-11-07"),
        ("EG2", HOSPITAL, "monthly-exercise", "in_interval", 17, 31, "2026-11-14"),
        ("EG3", HOSPITAL, "monthly-exercise", "in_interval", 3, 31, "2026-11-28"),
        # 7 October + 30 d, and 10 more; from the 20th day on it may be held
        ("EG1", HOSPITAL, "monthly-test", "upcoming", 24, 40, "2026-11-06"),
        ("EG1", HOSPITAL, "batteries", "in_interval", 17, 31, "2026-11-14"),
        # 31 July + 3 months is 31 October, to 10 November: 31 + 30 + 31 + 10
        ("EG1", HOSPITAL, "quarterly-test", "upcoming", 92, 102, "2026-10-31"),
        # 20 April + 6 months, to 9 November; EG2 in part, so from 6 October 2025, to 26 April 2026; EG3 put off
        ("EG1", HOSPITAL, "coolant", "upcoming", 194, 203, "2026-10-20"),
        ("EG2", HOSPITAL, "coolant", "overdue", 390, 202, "2026-04-06"),
        ("EG3", HOSPITAL, "coolant", "upcoming", 390, 202, "2026-12-31"),
        # six months from 11 May, 23 February and 8 June; the law a year and 30 days
        ("EG1", HOSPITAL, "oil-change", "upcoming", 173, 184, "2026-11-11"),
        ("EG2", HOSPITAL, "oil-change", "overdue", 250, 181, "2026-08-23"),
        ("EG3", HOSPITAL, "oil-change", "in_interval", 145, 183, "2026-12-08"),
        ("EG1", LAW, "oil-change-emergency-ci", "in_interval", 173, 395, "2027-06-10"),
        ("EG2", LAW, "oil-change-emergency-ci", "in_interval", 250, 395, "2027-03-25"),
        ("EG3", LAW, "oil-filter-emergency-ci", "in_interval", 145, 395, "2027-07-08"),
        # the yearly service of 6 October 2025
        ("EG1", HOSPITAL, "fuel-filter", "overdue", 390, 365, "2026-10-06"),
        ("EG1", HOSPITAL, "air-filter", "overdue", 390, 365, "2026-10-06"),
        ("EG1", LAW, "air-cleaner-emergency-ci", "upcoming", 390, 395, "2026-11-05"),
        ("EG3", LAW, "air-cleaner-emergency-ci", "in_interval", 26, 395, "2027-11-04"),
        ("EG2", HOSPITAL, "fuel-filter", "in_interval", 243, 365, "2027-03-02"),
        ("EG1", LAW, "hoses-belts-emergency-ci", "in_interval", 33, 395, "2027-10-28"),
        # the outage ended on 8 March 2026; EG3's last four hours were on 10 February 2024
        ("EG1", HOSPITAL, "four-hour-run", "in_interval", 237, 1096, "2029-03-08"),
        ("EG2", HOSPITAL, "four-hour-run", "in_interval", 237, 1096, "2029-03-08"),
        ("EG3", HOSPITAL, "four-hour-run", "in_interval", 994, 1096, "2027-02-10"),
        # 15 September + a year + 30 d; 20 October + a year + 30 d
        ("EG3", HOSPITAL, "load-bank", "in_interval", 46, 395, "2027-09-15"),
        ("EG2", HOSPITAL, "fuel-test", "in_interval", 11, 395, "2027-10-20"),
        ("EG2", HOSPITAL, "battery-renewal", "in_interval", 929, 1095, "2027-04-15"),
    ],
)
def test_days_used_and_due(
    found: dict[str, Any], engine: str, ruleset: str, task: str, standing: str, used_d: int, allowed_d: int, due_on: str
) -> None:
    """Each task's days since it was last done, what is allowed, and the day it falls due."""
    one = finding(found, engine, task, ruleset)
    assert (one["standing"], *leg_of(one, "calendar"), one["due_on"]) == (standing, used_d, allowed_d, due_on)


@pytest.mark.parametrize(
    ("engine", "ruleset", "task", "used_h", "allowed_h"),
    [
        # 1,224.9 - 1,218.0; 24 starts of 10 min of 24 x 10 + 5 x 35 = 415 min are light, 58 %: the hours are halved
        ("EG1", HOSPITAL, "oil-change", 6.9, 150),
        ("EG1", LAW, "oil-change-emergency-ci", 6.9, 500),
        # 995 - 971; 35 starts of 10 min of 1,450 are light, 24 %
        ("EG2", HOSPITAL, "oil-change", 24, 300),
        ("EG2", HOSPITAL, "fuel-filter", 24, 100),
        # 31,857 to 32,237 min: 380; 20 starts and 3 exercises at 20 % are 290 of them, 76 %
        ("EG3", HOSPITAL, "oil-change", 380 / 60, 150),
        ("EG1", HOSPITAL, "fuel-filter", 21.4, 100),
        # a card with its digits the wrong way counts for nothing: 1,224.9 - 1,223.7 h on 28 September
        ("EG1", HOSPITAL, "hoses-belts", 1.2, 500),
        ("EG3", HOSPITAL, "nozzles-and-heads", 32_237 / 60, 2000),
        # from 1 January: 1,224.9 - 1,206.9 h, and 32,237 - 31,397 min
        ("EG1", HOSPITAL, "emergency-standby-hours", 18, 200),
        ("EG3", HOSPITAL, "emergency-standby-hours", 14, 200),
    ],
)
def test_hours_used(found: dict[str, Any], engine: str, ruleset: str, task: str, used_h: float, allowed_h: float) -> None:
    """The meter's hours since a task was last done, and how many are allowed at such duty."""
    assert leg_of(finding(found, engine, task, ruleset), "running_hours") == pytest.approx((used_h, allowed_h), abs=1e-5)


@pytest.mark.parametrize(
    ("engine", "task", "used_h", "allowed_h", "standing", "due_on"),
    [
        # 0.7 + 0.7 + 96 = 97.4 by February, then 0.7 a month: 99.5 in May, 100.2 on 3 June; in all 97.4 + 7 x 0.7 + 9.1
        ("EG2", "tests-and-other-hours", 111.4, 100, "overdue", "2026-06-03"),
        ("EG2", "non-emergency-hours", 9.1, 50, "in_interval", None),
        ("EG1", "tests-and-other-hours", 6.0, 100, "in_interval", None),
        # ten exercises of half an hour, and the load bank
        ("EG3", "tests-and-other-hours", 6.5, 100, "in_interval", None),
    ],
)
def test_budgets(found: dict[str, Any], engine: str, task: str, used_h: float, allowed_h: float, standing: str, due_on: str | None) -> None:
    """Hours of tests by the records of 2026."""
    one = finding(found, engine, task, LAW)
    assert (one["legs"][0]["used"], one["legs"][0]["allowed"]) == (pytest.approx(used_h), allowed_h)
    assert (one["standing"], one["due_on"]) == (standing, due_on)


def test_runs_of_the_logger_are_the_completions(found: dict[str, Any]) -> None:
    """The outage ended at 3:00 winter time, 4:00 of the clock put forward; the last exercise came after the last reading of the book."""
    assert finding(found, "EG1", "four-hour-run")["last_done"]["at"] == "2026-03-08T04:00:00-05:00"
    exercise = finding(found, "EG3", "monthly-exercise")["last_done"]
    assert (exercise["at"], exercise["record"]) == ("2026-10-28T13:30:00-05:00", "logger/2026-10.csv:38")
    assert finding(found, "EG3", "load-bank")["last_done"]["at"] == "2026-09-15T14:30:00-05:00"


@pytest.mark.parametrize(
    ("engine", "light_min", "known_min"),
    [
        # 510 min of starts, EG3's exercises at 20 % but the one of January, and its hour at 25 %; 60 + 30 of the load bank are not
        ("EG3", 510 + 300 + 60, 960),
        # starts and the exercise at 25 %, and eight minutes at 20 %; tenths of an hour are within a twentieth of it
        ("EG1", 510 + 35 + 8, 1238),
    ],
)
def test_light_load(duty: dict[str, dict[str, Any]], engine: str, light_min: int, known_min: int) -> None:
    """Below 30 % of rated, of the hours whose load is known."""
    assert duty[engine]["load"]["light_share_pct"] == pytest.approx(100 * light_min / known_min, rel=0.06 if engine == "EG1" else 1e-5)


def test_duty_of_placed_hours(duty: dict[str, dict[str, Any]]) -> None:
    """EG3: all minutes lie in its runs but the 30 of January. EG1: 300 min at 60 %. EG2: 960 min at 35 %, 300 at 40 %."""
    assert duty["EG3"]["load"]["unknown_h"] == pytest.approx(0.5)
    assert duty["EG3"]["running_hours_h"] == pytest.approx(16.5)
    by_class = {(engine, each["above_pct"]): each["hours_h"] for engine in duty for each in duty[engine]["load"]["classes"]}
    assert by_class["EG3", 0.0] == pytest.approx(8.5)
    assert by_class["EG3", 10.0] == pytest.approx(5.0)
    assert by_class["EG3", 70.0] == pytest.approx(1.0)
    assert by_class["EG1", 50.0] == pytest.approx(5.0)
    # the class up to and with 40 %: 16 h and 5 h, within the hour that its meter shows
    assert by_class["EG2", 30.0] == pytest.approx(21.0, abs=1.0)
    longest = duty["EG3"]["longest_light_load"]
    assert (longest["from_at"], longest["hours_h"]) == ("2026-03-07T22:00:00-06:00", pytest.approx(1.0))


@pytest.mark.parametrize(
    ("month", "on_time", "late", "missed", "still_open", "early"),
    [
        # four rounds of three sets, the first of them after nothing; exercises, tests and batteries of three
        ("2025-11", 4 * 3 - 3 + 9, 0, 0, 0, 0),
        # no round on 29 December; that of 5 January is on the day of the next one. Which year before the log had how many hours is not told
        ("2025-12", 4 * 3 + 3 + 3 + 3, 3, 0, 3, 0),
        ("2026-01", 4 * 3 + 3 + 3 + 3 + 3, 0, 0, 0, 0),
        # + a four-hour run and EG2's oil; late its fuel filter; early 4 exercises, 3 four-hour runs, oil and filter of the law
        ("2026-02", 4 * 3 + 3 + 3 + 3 + 1 + 1, 1, 0, 1, 9),
        # EG2's exercises of the 4th and 8th and its four hours are early, EG1's and EG3's of the 8th and 7th
        ("2026-03", 5 * 3 + 2 + 3 + 3 + 1, 0, 0, 0, 5),
        # two rounds missed by three sets, three quarterly tests a day late
        ("2026-07", 2 * 3 + 3 + 3, 6 + 3, 6, 0, 0),
        # thirteen runs are one exercise; late EG2's oil
        ("2026-08", 5 * 3 + 3 + 3 + 3, 1, 0, 1, 12),
        # + three fuel tests, EG3's air filter twice; late two fuel filters, an air filter, a coolant (open), an exercise of EG3
        ("2026-10", 4 * 3 + 2 + 3 + 3 + 3 + 2, 5, 0, 4, 0),
    ],
)
def test_the_months_figure(told: Path, month: str, on_time: int, late: int, missed: int, still_open: int, early: int) -> None:
    """Each due point once, in the month in which it is decided."""
    met = document("check", told, "--month", month)["compliance"]
    assert [met[key] for key in ("on_time", "late", "missed", "open", "early")] == [on_time, late, missed, still_open, early]
    assert met["figure"] == pytest.approx(on_time / (on_time + late), abs=1e-6)


def test_the_figure_by_weight(told: Path) -> None:
    """October: the law has the air cleaner of EG3 alone; of the engine's five jobs four are late; safety is 23 of 24."""
    by_weight = document("check", told, "--month", "2026-10")["compliance"]["by_weight"]
    assert {name: (each["on_time"], each["late"]) for name, each in by_weight.items()} == {
        "law": (1, 0),
        "safety": (23, 1),
        "engine": (1, 4),
    }


def test_an_exercise_that_fell_short_is_told_and_a_weekly_start_is_none(found: dict[str, Any]) -> None:
    """EG1: 35 min at 25 % on 3 June, and two hours at 20 % on 23 April; none of 52 weekly starts, nor of EG2's."""
    short = [(each["engine"], each["at"]) for each in found["skipped"] if each["kind"] == "run_fell_short" and each["engine"] != "EG3"]
    assert short == [("EG1", "2026-04-23"), ("EG1", "2026-06-03")]


def test_meter_and_logger_that_contradict_each_other_are_told_with_both_figures(found: dict[str, Any]) -> None:
    """Two hours of rows against 0.3 h of the book in the week to 27 April, a card 100 h off, and a record typed twice."""
    faults = {fault["kind"]: fault for fault in found["faults"]}
    assert faults["load_beyond_meter"]["file"] == "book.csv"
    assert "rows with load show 2.00 h of running, the meter 0.30 h" in faults["load_beyond_meter"]["text"]
    assert "1,322.6 h" in faults["service_meter_disagrees"]["text"]
    assert sum(fault["kind"] == "load_beyond_meter" for fault in found["faults"]) == 1
    assert faults["duplicate_record"]["engine"] == "EG2"
    # the exercise that EG3's logger missed, and no hours of the years before the log
    coarse = [(fault["engine"], fault["text"]) for fault in found["faults"] if fault["kind"] == "runs_not_told"]
    assert [(engine, text.split(" in rows")[0]) for engine, text in coarse] == [("EG3", "0.5 h")]
    assert found["rows"] == {"read": 1330, "accepted": 1330, "set_aside": 0}


def test_unknown_words_are_told_once_each_with_lines_to_paste() -> None:
    """Thirteen tests, letter case aside, and twelve batteries; a record of three sets counts once."""
    lines = [line.split("  #")[0].strip() for line in lines_to_paste() if line.strip()]
    assert lines == ['"Monatstest": monthly-test', '"battery chk": ...']
    counted = "\n".join(lines_to_paste())
    assert all(text in counted for text in ("# 13 records", "# 12 records"))
    told = run("log", SITE, *AS_OF).stdout
    assert "unknown_task  25  " in told
    assert "\n  services.csv:14  no task " in told


def test_unknown_words_leave_their_tasks_unknown(untold: dict[str, Any]) -> None:
    """No test is known; the batteries count from their renewal on 15 April 2024: 929 d of 30."""
    assert finding(untold, "EG1", "monthly-test")["standing"] == "unknown"
    assert leg_of(finding(untold, "EG1", "batteries"), "calendar") == (929, 30)


def test_a_column_misspelt_in_all_files_is_one_problem(tmp_path: Path) -> None:
    """Twelve monthly files call the column otherwise than site.yaml does."""
    folder = tmp_path / "hospital"
    shutil.copytree(SITE, folder)
    for path in folder.glob("logger/*.csv"):
        path.write_text(path.read_text("utf-8").replace("Power kW", "Powr kW", 1), encoding="utf-8")
    result = run("check", folder, *AS_OF)
    assert result.exit_code == 2
    assert 'no column "Power kW" in any of 12 files' in result.stderr
    assert result.stderr.splitlines()[-1] == "1 problem"


def test_processes_give_the_same_bytes(told: Path) -> None:
    """Two processes, the same document."""
    words = ("check", told, "--month", "2026-10", "--format", "json")
    assert run(*words).stdout == run(*words, "--jobs", "2").stdout


def test_calendar_and_workbook_say_the_same_days(told: Path, tmp_path: Path, found: dict[str, Any]) -> None:
    """Overdue jobs stand on the day of judging; every other one within two years on its due day."""
    run("check", told, *AS_OF, "--ics", tmp_path / "due.ics", "--xlsx", tmp_path / "due.xlsx", "--html", tmp_path / "page.html")
    events: list[Any] = [event for event in Calendar.from_ical((tmp_path / "due.ics").read_bytes()).walk("VEVENT")]
    days = {str(event["SUMMARY"]): str(event["DTSTART"].dt) for event in events}
    oil = [(name, day) for name, day in days.items() if "Change lube oil" in name]
    assert sorted(day for _, day in oil) == ["2026-10-31", "2026-11-11", "2026-12-08"]
    assert any(name.startswith("Overdue for 69 days: EG2") for name, _ in oil)
    # the window of its coolant ended on 26 April: 4 + 31 + 30 + 31 + 31 + 30 + 31 days
    assert any(name.startswith("Overdue for 188 days: EG2, Check the coolant") for name in days)
    assert any("deferred until 2026-12-31" in name and day == "2026-12-31" for name, day in days.items())
    cells = {str(cell.value)[:10] for sheet in load_workbook(tmp_path / "due.xlsx") for row in sheet.iter_rows() for cell in row}
    assert {one["due_on"] for one in found["findings"] if one["due_on"]} <= cells
    assert "2026-11-11" in (tmp_path / "page.html").read_text("utf-8")


def test_a_month_is_stated_for_each_rule_set(told: Path, tmp_path: Path) -> None:
    """Two chains; both hold when the book was read again on the Monday after."""
    folder = tmp_path / "hospital"
    shutil.copytree(told, folder)
    assert run("statement", folder, "--month", "2026-10").exit_code == 0
    assert sorted(path.relative_to(folder).as_posix() for path in folder.glob("statements/**/*.json")) == [
        "statements/2026-10.json",
        "statements/us-area-source/2026-10.json",
    ]
    with (folder / "book.csv").open("a", encoding="utf-8") as book:
        book.write("2026-11-02 07:30,1225.1,996,32277,KL\n")
    again = run("statement", folder, "--month", "2026-10", "--verify")
    assert (again.exit_code, again.stdout.count("2026-10  holds")) == (0, 2), again.stdout
