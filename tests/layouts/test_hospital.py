"""An invented hospital with three standby sets under two rule sets, judged through the command line; every figure was worked out by hand.

Minutes on the meters from Monday, 3 November 2025, 7:30, to the last reading of the book on 26 October 2026 (51 Tuesdays are 510):
EG1 510 + 12 exercises of 35 + outage 300 + 8 of 23 April = 1,238 min = 20.63 h, on 1,204.32 h: shown 1,204.3 h and 1,224.9 h;
EG2 510 + (11 + 13) exercises of 40 + four times 1,440 + outage 300 = 7,530 min = 125.5 h, on 870.4 h: shown 870 h and 995 h;
EG3 510 + 11 exercises of 30 + outage 60 + load bank 90 = 990 min, on 31,247 min: 32,237 min = 537.283 h.
Days are counted by calendar; due dates of the law are a year and 30 days after the last time. `told` is the site with its words told.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.layouts.hospital_site import AS_OF, HOSPITAL, LAW, described_site, document, finding, leg_of


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the site with its words told."""
    return described_site(tmp_path_factory.mktemp("told") / "hospital")


@pytest.fixture(scope="module")
def found(told: Path) -> dict[str, Any]:
    """Return the findings at the end of October 2026."""
    return document("check", told, *AS_OF)


@pytest.fixture(scope="module")
def duty(told: Path) -> dict[str, dict[str, Any]]:
    """Return the duty of each set from 4 November 2025, after the first reading, to the day before the last one."""
    options = ("--since", "2025-11-04", "--until", "2026-10-25")
    return {engine["engine"]: engine for engine in document("duty", told, *options)["engines"]}


@pytest.mark.parametrize(
    ("engine", "ruleset", "task", "standing", "used_d", "allowed_d", "due_on"),
    [
        # Mondays: 26 October to the 31st
        ("EG1", HOSPITAL, "weekly-inspection", "in_interval", 5, 7, "2026-11-02"),
        # the exercises of 7, 14 and 28 October; the next is due in November, to its last day: 24 + 30, 17 + 30, 3 + 30
        ("EG1", HOSPITAL, "monthly-exercise", "in_interval", 24, 54, "2026-11-07"),
        ("EG2", HOSPITAL, "monthly-exercise", "in_interval", 17, 47, "2026-11-14"),
        ("EG3", HOSPITAL, "monthly-exercise", "in_interval", 3, 33, "2026-11-28"),
        # tested on 7 October: November, to its last day
        ("EG1", HOSPITAL, "monthly-test", "in_interval", 24, 54, "2026-11-07"),
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
        # 995 - 971 h as they are shown, 1,450 min by the rows; 35 starts of 10 min of 1,450 are light, 24 %
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
    """The meter's hours since a task was last done, and what is allowed at such duty; one of whole hours is followed to less than one."""
    used, allowed = leg_of(finding(found, engine, task, ruleset), "running_hours")
    assert used == pytest.approx(used_h, abs=0.999 if engine == "EG2" else 1e-5)
    assert allowed == allowed_h


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
