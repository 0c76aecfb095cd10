"""Hours that ran before the log began: the meter tells them, no row tells of their load, and no share is spoilt by them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals.questions.duty.duty import measure_duty
from intervals.questions.log.logbook import summarise_log
from tests.site_maker import finding_for, judge, leg_of, meter, reason_for, rule, rules_fired, steady, task, used_of, write_site

# new in January; the log begins on 1 March at 1,200 h and tells of 10 h a day at 80 %
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}
ROWS = steady("2024-03-01", "2024-03-31", 10, start_h=1200, load_kw=800)
OIL = task("oil", every={"running_hours": 5000})


def test_a_mean_is_of_the_hours_that_the_log_covers(tmp_path: Path) -> None:
    """Known are 300 of 1,500 h in all, and 300 of the 300 h of the log: a mean of 80 %, and half of 5,000 h."""
    rules = {"adjustments": [rule("heavy", {"mean_load_pct": {"above": 75}}, interval_times=0.5)]}
    finding = finding_for(judge(tmp_path, "2024-03-30", [OIL], ROWS, engine=ENGINE, rules=rules, gap_h=36))
    assert (used_of(finding), leg_of(finding).allowed) == (1500.0, 2500.0)
    assert "heavy" in rules_fired(finding)


def test_what_is_unknown_inside_the_log_still_counts_against_a_mean(tmp_path: Path) -> None:
    """Of the log's 300 h 100 are known, less than half: the mean is not."""
    rules = {"adjustments": [rule("heavy", {"mean_load_pct": {"above": 75}}, interval_times=0.5)]}
    rows = [{**row, "load_kw": 800 if number <= 10 else ""} for number, row in enumerate(ROWS)]
    finding = finding_for(judge(tmp_path, "2024-03-30", [OIL], rows, engine=ENGINE, rules=rules, gap_h=36))
    assert leg_of(finding).allowed == 5000.0
    assert "unknown-heavy" in rules_fired(finding)


def test_hours_before_the_log_are_named_apart(tmp_path: Path) -> None:
    """All 1,200 h could not be judged by load, each counts once, and they ran before the log began."""
    rules = {"adjustments": [rule("high", {"load_pct": {"above": 90}}, counts_as=2)]}
    finding = finding_for(judge(tmp_path, "2024-03-30", [OIL], ROWS, engine=ENGINE, rules=rules, gap_h=36))
    assert (used_of(finding), finding.unknown_hours_h) == (1500.0, 1200.0)
    told = reason_for(finding, "unknown-high")
    assert told.text.endswith("each hour counts once; 1,200 h of them ran before the log began")
    assert told.facts == {"hours_h": 1200.0, "before_log_h": 1200.0}


def test_the_summary_of_the_log_names_them_apart(tmp_path: Path) -> None:
    """The load is known for all hours of the log; 1,200 h came before it."""
    site = write_site(tmp_path, [OIL], ROWS, engine=ENGINE, gap_h=36)
    (engine,) = summarise_log(site, date(2024, 3, 30)).engines
    assert (engine.known_share_pct["load_pct"], engine.before_log_h, engine.running_hours_h) == (100.0, 1200.0, 1500.0)


def test_starts_are_held_against_the_hours_in_which_they_are_counted(tmp_path: Path) -> None:
    """Thirty starts in the 300 h of the log are ten in 100 h, not two."""
    rules = {"adjustments": [rule("often", {"starts_per_100h": {"above": 9}}, interval_times=0.5)]}
    rows = [{**row, "starts": 500 + number} for number, row in enumerate(ROWS)]
    finding = finding_for(judge(tmp_path, "2024-03-30", [OIL], rows, engine=ENGINE, rules=rules, gap_h=36))
    assert reason_for(finding, "often").facts["starts_per_100h"] == pytest.approx(10.0)


def test_a_level_of_the_duty_is_known_for_all_hours_of_the_log(tmp_path: Path) -> None:
    """Oil temperature in every row of the log: known for 100 % of its hours, though 1,200 h came before."""
    rows = [{**row, "oil_temp_c": 85} for row in ROWS]
    site = write_site(tmp_path, [OIL], rows, engine=ENGINE, gap_h=36)
    (engine,) = measure_duty(site, date(2024, 3, 30), since=date(2024, 1, 1)).engines
    (level,) = (each for each in engine.levels if each.level == "oil_temp_c")
    assert level.known_share_pct == 100.0


def test_a_first_row_after_no_silence_covers_the_time_since_the_first_day(tmp_path: Path) -> None:
    """The first row comes 24 h after the first day, and tells of them: nothing ran before the log."""
    rows = [meter("2024-01-02T00:00", 20, load_kw=800)]
    site = write_site(tmp_path, [OIL], rows, engine=ENGINE, gap_h=36)
    (engine,) = summarise_log(site, date(2024, 1, 1)).engines
    assert (engine.known_share_pct["load_pct"], engine.before_log_h) == (100.0, 0.0)
