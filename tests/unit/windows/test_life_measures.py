"""Age, hours of the engine's life and the month of the year: what they are, and how an interval follows them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals import read_site
from intervals.findings import Finding
from intervals.history.window_measures import Life, Measurer, Spans
from intervals.local_days import LocalDays
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.rules.review.lint import warnings_of
from intervals.site.model import Site
from intervals.usage.ledger import Ledger
from tests.properties.bounded import bounded
from tests.site_maker import done, finding_for, judge, leg_of, meter, reason_for, rule, rules_fired, skipped_of, steady, task, used_of
from tests.small_models import small_rules, small_site

OIL = task(every={"running_hours": 500})


def measured(name: str, life: Life, start_us: int = 0, end: date = date(2024, 6, 1)) -> float:
    """Return one measure of a window that ends on a day."""
    none = np.zeros(2)
    ledger = Ledger(np.array([0, 1]), (), (), np.zeros((1, 0)), {}, none[:1], none[:1], none[:1], {})
    ones = np.zeros(1, dtype=np.int64)
    spans = Spans(ones, ones + 1, ones + start_us, ones + 1, ones, ones + end.toordinal())
    return float(Measurer(ledger, (), 0.9, 0.5, life=life).measure(name, spans)[0])


@pytest.mark.parametrize(
    ("first", "last", "years"),
    [
        (date(2004, 5, 10), date(2024, 5, 9), 19 + 365 / 365.25),
        (date(2004, 5, 10), date(2024, 5, 10), 20.0),
        # 22 days after the twentieth birthday
        (date(2004, 5, 10), date(2024, 6, 1), 20 + 22 / 365.25),
        # a 29 February has its birthday on the 28th of other years
        (date(2004, 2, 29), date(2023, 2, 27), 18 + 364 / 365.25),
        (date(2004, 2, 29), date(2023, 2, 28), 19.0),
        (date(2004, 2, 29), date(2024, 2, 28), 19 + 365 / 365.25),
        (date(2004, 2, 29), date(2024, 2, 29), 20.0),
        (date(2024, 6, 1), date(2024, 6, 1), 0.0),
    ],
)
def test_age_is_whole_years_and_days_since_the_birthday(first: date, last: date, years: float) -> None:
    """Days are counted by 365.25 to the year, birthdays fall on their own date."""
    assert measured("age_years", Life(first), end=last) == years


@bounded(200)
@given(st.dates(date(1960, 1, 1), date(2020, 12, 31)), st.integers(0, 40_000))
def test_age_agrees_with_another_library(first: date, days: int) -> None:
    """Whole years as dateutil counts them, and what is left in days."""
    last = first + timedelta(days=days)
    whole = relativedelta(last, first).years
    birthday = first + relativedelta(years=whole)
    assert measured("age_years", Life(first), end=last) == whole + (last - birthday).days / 365.25


def test_an_engine_that_does_not_state_its_first_day_has_no_age() -> None:
    """Unknown, and so is what it ran in its life where no meter shows it."""
    assert np.isnan(measured("age_years", Life()))
    assert np.isnan(measured("total_hours_h", Life()))


@pytest.mark.parametrize(("end", "month"), [(date(2024, 1, 31), 1), (date(2024, 2, 1), 2), (date(2024, 12, 31), 12)])
def test_a_window_has_the_month_of_its_last_day(end: date, month: int) -> None:
    """1 to 12."""
    assert measured("month", Life(), end=end) == month


def judged(
    folder: Path,
    as_of: str,
    when: dict[str, object],
    *,
    engine: dict[str, object],
    rows: Sequence[dict[str, object]],
    effect: dict[str, object] | None = None,
    done_on: Sequence[str] = (),
    **site: Any,  # noqa: ANN401 - what `write_site` takes
) -> Finding:
    """Return the finding of an oil change every 500 h that is halved by a rule."""
    rules = {"adjustments": [rule("life", when, **(effect or {"interval_times": 0.5}))]}
    services = [done("oil", f"{day}T00:00") for day in done_on]
    return finding_for(judge(folder, as_of, [OIL], rows, engine=engine, rules=rules, services=services, **site))


@pytest.mark.parametrize(("as_of", "allowed"), [("2024-05-09", 500), ("2024-05-10", 250)])
def test_an_interval_is_shorter_from_a_birthday_on(tmp_path: Path, as_of: str, allowed: float) -> None:
    """In service since 10 May 2004, judged on the day before its twentieth birthday and on it."""
    engine: dict[str, object] = {"in_service": "2004-05-10", "records_from": "2024-01-01"}
    rows = steady("2024-04-01", "2024-06-01", 4)
    finding = judged(tmp_path, as_of, {"age_years": {"at_least": 20}}, engine=engine, rows=rows, done_on=["2024-04-01"])
    assert leg_of(finding).allowed == allowed
    if allowed == 250:
        assert reason_for(finding, "life").facts["age_years"] == 20.0


@pytest.mark.parametrize(
    ("start_h", "done_on", "allowed"),
    [
        # 10 h a day: 29,990 h when the window begins, and 30,000 h the day after
        (29_990, "2024-01-01", 500),
        (29_990, "2024-01-02", 250),
        (30_000, "2024-01-01", 250),
    ],
)
def test_hours_of_its_life_are_those_where_the_window_begins(tmp_path: Path, start_h: float, done_on: str, allowed: float) -> None:
    """A bound of 30,000 h: the window keeps what it began with, however long it runs."""
    rows = steady("2024-01-01", "2024-02-10", 10, start_h=start_h)
    when: dict[str, object] = {"total_hours_h": {"at_least": 30_000}}
    assert leg_of(judged(tmp_path, "2024-01-20", when, engine={}, rows=rows, done_on=[done_on])).allowed == allowed


@pytest.mark.parametrize(("old_read_h", "allowed"), [(29_999, 500), (30_000, 250)])
def test_a_meter_that_was_changed_does_not_make_an_engine_younger(tmp_path: Path, old_read_h: float, allowed: float) -> None:
    """The old meter's last reading and what the new one shows: changed on 5 January, done at once, before that it ran on."""
    engine: dict[str, object] = {"meter_changes": [{"at": "2024-01-05", "old_read_h": old_read_h, "new_read_h": 0}]}
    rows = [
        *steady("2024-01-01", "2024-01-05", 10, start_h=old_read_h - 40),
        *steady("2024-01-06", "2024-02-10", 10, start_h=0),
    ]
    when: dict[str, object] = {"total_hours_h": {"at_least": 30_000}}
    assert leg_of(judged(tmp_path, "2024-01-20", when, engine=engine, rows=rows, done_on=["2024-01-06"])).allowed == allowed


def test_a_meter_changed_before_the_log_counts_too(tmp_path: Path) -> None:
    """Changed in 2020 at 29,000 h; the log begins at 1,000 h of the new one, which is 30,000 h."""
    engine: dict[str, object] = {"meter_changes": [{"at": "2020-01-05", "old_read_h": 29_000, "new_read_h": 0}]}
    rows = steady("2024-01-01", "2024-02-10", 10, start_h=1000)
    when: dict[str, object] = {"total_hours_h": {"at_least": 30_000}}
    assert leg_of(judged(tmp_path, "2024-01-20", when, engine=engine, rows=rows, done_on=["2024-01-01"])).allowed == 250


def test_without_a_meter_hours_count_from_the_first_day(tmp_path: Path) -> None:
    """A load above 5 kW is running: 24 h a day since the first day, 240 h when the window begins; unknown without a first day."""
    rows = [meter(f"2024-01-{day:02d}T00:00", None, load_kw=50) for day in range(1, 32)]
    rows = [{name: value for name, value in row.items() if name != "hour_meter_h"} for row in rows]
    for stated, fired in (({"in_service": "2024-01-01"}, ["life"]), ({}, [])):
        engine: dict[str, object] = {"running_when": {"load_kw": {"above": 5}}, **stated}
        when: dict[str, object] = {"total_hours_h": {"at_least": 240}}
        finding = judged(tmp_path / str(len(fired)), "2024-01-20", when, engine=engine, rows=rows, done_on=["2024-01-11"])
        assert [name for name in rules_fired(finding) if name == "life"] == fired


@pytest.mark.parametrize(("as_of", "allowed"), [("2024-05-31", 500), ("2024-06-01", 250), ("2024-08-31", 250), ("2024-09-01", 500)])
def test_an_interval_may_be_shorter_in_summer(tmp_path: Path, as_of: str, allowed: float) -> None:
    """June to August, by the window's last day."""
    rows = steady("2024-05-01", "2024-09-30", 2)
    finding = judged(tmp_path, as_of, {"month": [6, 7, 8]}, engine={}, rows=rows, done_on=["2024-05-01"])
    assert leg_of(finding).allowed == allowed


def test_due_points_are_those_of_the_day_that_shows_them(tmp_path: Path) -> None:
    """10 h a day since 1 May: 310 h when June begins, at once past half of 500 h, which is 250; the line was crossed on 1 June.

    Done on 15 June, 140 h later and before the next due point: late in June.
    """
    rules = {"adjustments": [rule("summer", {"month": [6, 7, 8]}, interval_times=0.5)]}
    services = [done("oil", "2024-05-01T00:00"), done("oil", "2024-06-15T00:00")]
    rows = steady("2024-05-01", "2024-07-31", 10)
    findings = judge(tmp_path, "2024-06-30", [OIL], rows, rules=rules, services=services, month="2024-06")
    assert findings.compliance is not None
    assert (findings.compliance.on_time, findings.compliance.late) == (0, 1)
    (occurrence,) = findings.compliance.occurrences
    assert (occurrence.line_on, occurrence.decided_on) == ("2024-05-31", "2024-06-01")
    assert skipped_of(findings) == []


def test_closed_windows_are_measured_each_by_its_own_month(tmp_path: Path) -> None:
    """10 h a day of 100 h, in June of 50 h: what a closed window is allowed is that of the day on which it ended.

    100 h to 11 May: done at its line. 210 h to 1 June, in June: due at 50, 100, 150 and 200 h, three of them missed. 100 h to 11 June: one
    missed. 60 h to 17 June: past its line, and none missed.
    """
    oil = task(every={"running_hours": 100})
    rules = {"adjustments": [rule("summer", {"month": [6]}, interval_times=0.5)]}
    services = [
        done("oil", day) for day in ("2024-05-01T00:00", "2024-05-11T00:00", "2024-06-01T00:00", "2024-06-11T00:00", "2024-06-17T00:00")
    ]
    findings = judge(tmp_path, "2024-06-20", [oil], steady("2024-05-01", "2024-07-31", 10), rules=rules, services=services)
    missed = [entry.at for entry in skipped_of(findings) if entry.kind == "missed"]
    assert missed == ["2024-05-21", "2024-05-26", "2024-05-31", "2024-06-11"]


def test_hours_count_by_their_own_month(tmp_path: Path) -> None:
    """4 h a day from 1 May to the end of 30 June: 31 x 4 = 124 h in May once, 30 x 4 = 120 h in June twice, 364 h."""
    rows = steady("2024-05-01", "2024-07-31", 4)
    finding = judged(tmp_path, "2024-06-30", {"month": [6, 7, 8]}, engine={}, rows=rows, effect={"counts_as": 2}, done_on=["2024-05-01"])
    assert used_of(finding) == 364.0
    assert "120 h in June or July or August count 2 times" in reason_for(finding, "life").text
    site = read_site(tmp_path)
    cells = {cell.levels["month"]: cell.hours_h for cell in explain_finding(site, "G1", "oil", date(2024, 6, 30)).cells}
    assert cells == {"below 6": 124.0, "exactly 6": 120.0}


def test_a_month_begins_at_the_site_s_midnight(tmp_path: Path) -> None:
    """One row an hour around the first of June in Tokyo, 15:00 in UTC on the last of May; each hour counts by its local month."""
    rows = [meter(f"2024-05-31T{hour:02d}:00", float(hour)) for hour in range(24)]
    when: dict[str, object] = {"month": {"at_least": 6}}
    engine: dict[str, object] = {"in_service": "2024-05-31T00:00+00:00", "meter_at_start_h": 0}
    site = {"time_zone": "Asia/Tokyo"}
    block = {
        "files": ["readings/*.csv"],
        "timestamp": {"column": "at", "time_zone": "UTC"},
        "engine": {"column": "engine"},
        "gap_h": 1_000_000,
        "quantities": {"hour_meter_h": {"column": "hour_meter_h"}},
    }
    finding = judged(tmp_path, "2024-06-02", when, engine=engine, rows=rows, effect={"counts_as": 2}, readings=block, **site)
    # 23 h in all, of which 15 h before midnight and 8 h after it
    assert used_of(finding) == 15 + 2 * 8


def test_a_month_and_a_level_are_judged_together(tmp_path: Path) -> None:
    """Twice only above 80 % load in June: 30 days of 2 h at 90 %, and what lies in May counts once."""
    rows = steady("2024-05-01", "2024-07-31", 2, load_pct=90)
    when: dict[str, object] = {"month": 6, "load_pct": {"above": 80}}
    finding = judged(tmp_path, "2024-06-30", when, engine={}, rows=rows, effect={"counts_as": 2}, done_on=["2024-05-01"])
    assert used_of(finding) == 31 * 2 + 2 * 30 * 2


def test_a_share_of_hours_may_be_that_of_some_months(tmp_path: Path) -> None:
    """120 h in June of 244 h since the first of May are 49.2 %: above 49, and not above 50."""
    rows = steady("2024-05-01", "2024-07-31", 4)
    for above, allowed in ((49, 250), (50, 500)):
        rules = {
            "conditions": {"summer": {"month": [6, 7, 8]}},
            "adjustments": [rule("much", {"hours_share_pct": {"summer": {"above": above}}}, interval_times=0.5)],
        }
        services = [done("oil", "2024-05-01T00:00")]
        findings = judge(tmp_path / str(above), "2024-06-30", [OIL], rows, rules=rules, services=services)
        assert leg_of(finding_for(findings)).allowed == allowed


def test_a_budget_may_count_the_hours_of_a_month(tmp_path: Path) -> None:
    """Not more than 50 h in summer: 30 days of 2 h in June are 60."""
    budget = {
        "id": "summer", "title": "Summer", "of": "running_hours", "at_most": 50, "per": "calendar_year", "when": {"month": [6, 7, 8]},
        "because": "a test",
    }  # fmt: skip
    rows = steady("2024-05-01", "2024-07-31", 2)
    findings = judge(
        tmp_path, "2024-06-30", [OIL], rows, rules={"budgets": [budget]}, engine={"in_service": "2024-05-01", "meter_at_start_h": 0}
    )
    assert used_of(finding_for(findings, "summer")) == 60.0


def test_months_of_instants_are_those_of_local_days() -> None:
    """Also of instants that lie outside the days that were made ready."""
    site: Site = small_site(time_zone="Europe/Berlin")
    at = [site.instant_us(day) for day in (date(2024, 3, 31), date(2024, 4, 1), date(1990, 12, 31), date(2031, 2, 1))]
    days = LocalDays(site.zone, at[0], at[1])
    instants = np.array([at[0], at[1] - 1, at[1], at[2], at[3] - 1, at[3]], dtype=np.int64)
    assert days.months_of(instants).tolist() == [3, 3, 4, 12, 1, 2]


def test_examples_state_age_and_hours_of_a_life() -> None:
    """As of 30 June 2026: in service since 30 June 2006, twenty years; a meter of 30,000 h where the example begins."""
    cases: tuple[tuple[dict[str, object], float, list[str]], ...] = (
        ({"in_service": "2006-06-30"}, 250, ["old"]),
        ({"in_service": "2006-07-01"}, 500, []),
        ({"meter_at_start_h": 30_000}, 400, ["worn"]),
        ({"meter_at_start_h": 29_999}, 500, []),
        ({"meter_at_start_h": 30_000, "in_service": "2006-06-30"}, 200, ["old", "worn"]),
    )
    examples = [
        {
            "name": str(number),
            "task": "oil",
            "engine": engine,
            "since_last": {"running_hours": 100, "days": 10},
            "expect": {"used": 100, "allowed": allowed, "fired": fired},
        }
        for number, (engine, allowed, fired) in enumerate(cases)
    ]
    adjustments = [
        rule("old", {"age_years": {"at_least": 20}}, interval_times=0.5),
        rule("worn", {"total_hours_h": {"at_least": 30_000}}, interval_times=0.8),
    ]
    results = run_examples(small_rules(tasks=[OIL], adjustments=adjustments, examples=examples))
    assert [(each.passed, each.text) for each in results] == [(True, "")] * len(cases)


def test_lint_knows_what_months_there_are() -> None:
    """A thirteenth month can never come."""
    warnings = warnings_of(small_rules(adjustments=[rule("never", {"month": {"at_least": 13}}, counts_as=2)]))
    assert any('"never" can never hold' in warning.text and "outside what is possible" in warning.text for warning in warnings)
