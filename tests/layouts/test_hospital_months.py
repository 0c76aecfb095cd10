"""The months of the invented hospital, its untidy records and files, and what it hands out; figures worked out by hand.

Rounds, batteries and tests are of three sets each. `told` is the site with its words told; what ran is in the head of its site.yaml.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from openpyxl import load_workbook

from tests.layouts.hospital_site import AS_OF, SITE, described_site, document, finding, leg_of, lines_to_paste, run


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the site with its words told."""
    return described_site(tmp_path_factory.mktemp("told") / "hospital")


@pytest.fixture(scope="module")
def found(told: Path) -> dict[str, Any]:
    """Return the findings at the end of October 2026."""
    return document("check", told, *AS_OF)


@pytest.fixture(scope="module")
def untold() -> dict[str, Any]:
    """Return the findings while some words are not known."""
    return document("check", SITE, *AS_OF)


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
        # EG2's exercise of the 4th is that of March; early its second one of the 8th and its four hours, EG1's and EG3's of the 8th and 7th
        ("2026-03", 5 * 3 + 3 + 3 + 3 + 1, 0, 0, 0, 4),
        # two rounds missed by three sets, three quarterly tests a day late; missed EG1's exercise of June, which fell short
        ("2026-07", 2 * 3 + 3 + 3, 6 + 3 + 1, 6 + 1, 0, 0),
        # thirteen runs are one exercise; late EG2's oil
        ("2026-08", 5 * 3 + 3 + 3 + 3, 1, 0, 1, 12),
        # + three fuel tests, EG3's air filter twice; late two fuel filters, an air filter, a coolant (open)
        ("2026-10", 4 * 3 + 3 + 3 + 3 + 3 + 2, 4, 0, 4, 0),
    ],
)
def test_the_months_figure(told: Path, month: str, on_time: int, late: int, missed: int, still_open: int, early: int) -> None:
    """Each due point once, in the month in which it is decided."""
    met = document("check", told, "--month", month)["compliance"]
    assert [met[key] for key in ("on_time", "late", "missed", "open", "early")] == [on_time, late, missed, still_open, early]
    assert met["figure"] == pytest.approx(on_time / (on_time + late), abs=1e-6)


def test_the_figure_by_weight(told: Path) -> None:
    """October: the law has the air cleaner of EG3 alone; of the engine's five jobs four are late; of safety all 24 are on time."""
    by_weight = document("check", told, "--month", "2026-10")["compliance"]["by_weight"]
    assert {name: (each["on_time"], each["late"]) for name, each in by_weight.items()} == {
        "law": (1, 0),
        "safety": (24, 0),
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
    """Thirteen tests, letter case aside, and twelve batteries; a record of three sets counts once; no word is near enough."""
    lines = [line.split("  #")[0].strip() for line in lines_to_paste() if line.strip()]
    assert lines == ['"Monatstest": ...', '"battery chk": ...']
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
    """Overdue jobs stand on the day of judging; every other one within a year on its due day."""
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
        "statements/chains.json",
        "statements/us-area-source/2026-10.json",
    ]
    with (folder / "book.csv").open("a", encoding="utf-8") as book:
        book.write("2026-11-02 07:30,1225.1,996,32277,KL\n")
    again = run("statement", folder, "--month", "2026-10", "--verify")
    assert (again.exit_code, again.stdout.count("2026-10  holds")) == (0, 2), again.stdout
