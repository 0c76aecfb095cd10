"""Budgets over calendar months, twelve of them, and means of calendar years: what lies in a period, since when it is too much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals import ProblemsError, assess, read_site
from intervals.findings import Finding, Findings
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.rules.ruleset import find_ruleset, load_ruleset
from tests.site_maker import finding_for, judge, meter, moment, reason_for, rules_fired, steady, task, write_site

YEARLY = task(every={"calendar": "P10Y"})


def budget(**keys: object) -> dict[str, object]:
    """Return a budget of 60 running hours a calendar month, or what it says instead."""
    return {"id": "hours", "title": "Hours", "of": "running_hours", "at_most": 60, "per": "calendar_month", **keys}


def judged(folder: Path, as_of: str, rule: Mapping[str, object], rows: Sequence[Mapping[str, object]], **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge one budget."""
    return finding_for(findings_of(folder, as_of, rule, rows, **written), "hours")


def findings_of(folder: Path, as_of: str, rule: Mapping[str, object], rows: Sequence[Mapping[str, object]], **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge a site whose one engine has one budget."""
    written.setdefault("engine", {"in_service": str(rows[0]["at"])[:10], "meter_at_start_h": 0})
    return judge(folder, as_of, [YEARLY], rows, rules={"budgets": [rule]}, **written)


def met(findings: Findings) -> list[tuple[str, str | None]]:
    """Return how the month's occurrences of the budget were met, and when each was decided."""
    assert findings.compliance is not None
    return [(entry.met, entry.decided_on) for entry in findings.compliance.occurrences if entry.task == "hours"]


@pytest.mark.parametrize(
    ("as_of", "used", "standing", "due_on"),
    [
        # 2 h a day: 60 h when the 31st day begins, past them as it goes on
        ("2024-01-30", 60.0, "upcoming", "2024-01-30"),
        ("2024-01-31", 62.0, "overdue", "2024-01-31"),
        # February of a leap year has 29 days, that of another year 28, and both count from nothing
        ("2024-02-29", 58.0, "upcoming", None),
        ("2025-02-28", 56.0, "upcoming", None),
        ("2024-03-01", 2.0, "in_interval", "2024-03-30"),
        ("2024-04-30", 60.0, "upcoming", "2024-04-30"),
    ],
)
def test_a_calendar_month_counts_its_own_days(tmp_path: Path, as_of: str, used: float, standing: str, due_on: str | None) -> None:
    """2 h a day of 60 h a month: exceeded on the last day of a month of 31 days, kept in each shorter one."""
    finding = judged(tmp_path, as_of, budget(), steady("2024-01-01", "2025-03-02", 2))
    assert (finding.legs[0].used, finding.standing) == (used, standing)
    if due_on is not None:
        assert finding.due_on == due_on


def test_a_month_is_named_in_the_sentence(tmp_path: Path) -> None:
    """The month of 31 days before is named beside the present one."""
    finding = judged(tmp_path, "2024-02-10", budget(), steady("2024-01-01", "2024-03-02", 2))
    assert finding.reasons[0].text == "in interval: 40 h left of the budget; 20 h of running hours in 2024-02, allowed 60"
    assert reason_for(finding, "budget-exceeded-before").text == ("exceeded once before: 62 h in 2024-01, allowed 60, from 2024-01-31 on")


@pytest.mark.parametrize(
    ("month", "expected"),
    [("2024-01", [("late", "2024-01-31")]), ("2024-02", [("on_time", "2024-02-29")]), ("2024-04", [("on_time", "2024-04-30")])],
)
def test_each_month_is_one_occurrence(tmp_path: Path, month: str, expected: list[tuple[str, str]]) -> None:
    """Late on the day on which it was exceeded, on time on its last day."""
    assert met(findings_of(tmp_path, "2025-01-15", budget(), steady("2024-01-01", "2025-01-16", 2), month=month)) == expected


ONE_A_DAY = steady("2023-01-01", "2024-06-02", 1)
TWELVE = budget(per={"calendar_months": 12}, at_most=365)


@pytest.mark.parametrize(
    ("as_of", "used", "standing", "due_on"),
    [
        # February 2023 to January 2024 are 365 days; March 2023 to 28 February 2024 too, and the 29th is one more
        ("2024-01-31", 365.0, "upcoming", "2024-01-31"),
        ("2024-02-28", 365.0, "upcoming", "2024-02-28"),
        ("2024-02-29", 366.0, "overdue", "2024-02-29"),
        # April 2023 to 10 March 2024: 275 days of 2023, 31 + 29 + 10 of 2024
        ("2024-03-10", 345.0, "upcoming", "2024-03-30"),
    ],
)
def test_twelve_calendar_months_are_the_running_one_and_eleven_before(
    tmp_path: Path, as_of: str, used: float, standing: str, due_on: str
) -> None:
    """1 h a day of 365 h: a leap day is one hour too much, and leaves the sum with the month in which it lies."""
    finding = judged(tmp_path, as_of, TWELVE, ONE_A_DAY)
    assert (finding.legs[0].used, finding.standing, finding.due_on) == (used, standing, due_on)


def test_twelve_months_are_named_by_their_first_and_last(tmp_path: Path) -> None:
    """In the standing, and where they were too much before."""
    finding = judged(tmp_path, "2024-03-10", TWELVE, ONE_A_DAY)
    assert "345 h of running hours in the 12 months from 2023-04 to 2024-03, allowed 365" in finding.reasons[0].text
    assert reason_for(finding, "budget-exceeded-before").text == (
        "exceeded once before: 366 h in the 12 months from 2023-03 to 2024-02, allowed 365, from 2024-02-29 on"
    )


def test_twelve_months_are_decided_with_each_month(tmp_path: Path) -> None:
    """January 2024 ended with 365 h, February with 366."""
    assert met(findings_of(tmp_path / "a", "2024-05-31", TWELVE, ONE_A_DAY, month="2024-01")) == [("on_time", "2024-01-31")]
    assert met(findings_of(tmp_path / "b", "2024-05-31", TWELVE, ONE_A_DAY, month="2024-02")) == [("late", "2024-02-29")]


def test_an_excess_that_goes_on_into_the_next_month_began_where_it_began(tmp_path: Path) -> None:
    """90 h in January and 20 h in March are too much of 100 from March on, and in each month after until January leaves the sum."""
    rows = [
        meter("2024-01-01T00:00", 0),
        meter("2024-02-01T00:00", 90),
        meter("2024-03-01T00:00", 90),
        meter("2024-03-21T00:00", 110),
        meter("2025-02-01T00:00", 110),
    ]
    rule = budget(per={"calendar_months": 12}, at_most=100)
    finding = judged(tmp_path / "a", "2024-06-15", rule, rows)
    # 1 h a day from 1 March: 100 h when the 11th begins
    assert (finding.standing, finding.due_on, finding.legs[0].used) == ("overdue", "2024-03-11", 110.0)
    later = judged(tmp_path / "b", "2025-01-10", rule, rows)
    assert (later.standing, later.legs[0].used) == ("in_interval", 20.0)
    # of June it is late from its first day on
    assert met(findings_of(tmp_path / "c", "2024-12-31", rule, rows, month="2024-06")) == [("late", "2024-06-01")]


def test_each_year_is_exceeded_on_its_own_day(tmp_path: Path) -> None:
    """None allowed, and it ran through the turn of the year: the second year is exceeded on its first day, not on one of the first."""
    finding = judged(tmp_path, "2024-01-05", budget(at_most=0, per="calendar_year"), steady("2023-12-20", "2024-01-07", 1))
    assert (finding.standing, finding.due_on, finding.legs[0].used) == ("overdue", "2024-01-01", 5.0)


# 1,000 h in the second half of 2019, 300 h in each of four years, 500 h in the first half of 2024
SIX_YEARS = [
    meter("2019-01-01T00:00", 0),
    meter("2019-07-01T00:00", 0),
    *(meter(f"{year}-01-01T00:00", 1000 + 300 * (year - 2020)) for year in range(2020, 2025)),
    meter("2024-07-01T00:00", 2700),
    meter("2025-01-01T00:00", 2700),
]
MEAN = budget(per={"mean_of_calendar_years": 5}, at_most=500)


@pytest.mark.parametrize(("as_of", "used"), [("2023-12-31", 440.0), ("2024-12-31", 340.0)])
def test_a_mean_of_five_calendar_years(tmp_path: Path, as_of: str, used: float) -> None:
    """2,200 and 1,700 h in five calendar years: 440 and 340 h a year, within 500.

    Source: Directive (EU) 2015/2193 article 6(3), the limit of 500 h a year as a five-year rolling mean; the figures are worked.
    """
    finding = judged(tmp_path, as_of, MEAN, SIX_YEARS)
    assert (finding.standing, finding.legs[0].used, finding.legs[0].unit) == ("in_interval", used, "h a year")


def test_any_five_years_may_hold_more_than_the_mean_allows(tmp_path: Path) -> None:
    """From 1 July 2019 to 30 June 2024 the same engine ran 2,700 h, beyond 5 x 500 h, if any five years counted."""
    finding = judged(tmp_path, "2024-06-30", budget(per="P5Y", at_most=2500), SIX_YEARS)
    assert (finding.standing, finding.legs[0].used) == ("overdue", 2700.0)


def test_a_mean_says_what_the_running_year_may_still_add(tmp_path: Path) -> None:
    """160 h a year are left of 500, in one year five times as much."""
    finding = judged(tmp_path, "2024-12-31", MEAN, SIX_YEARS)
    assert finding.reasons[0].text == (
        "in interval: 160 h a year left of the budget, 800 h more in 2024; "
        "340 h a year of running hours as the mean of 2020 to 2024, allowed 500"
    )


def test_a_mean_is_exceeded_on_the_day_on_which_its_sum_is(tmp_path: Path) -> None:
    """120 h in 2023 and 2 h a day in 2024: 200 h in two years when the 41st day begins."""
    rows = [meter("2023-01-01T00:00", 0), *steady("2024-01-01", "2024-03-01", 2, start_h=120)]
    rule = budget(per={"mean_of_calendar_years": 2}, at_most=100)
    assert judged(tmp_path / "a", "2024-02-09", rule, rows).legs[0].remaining == 0.0
    finding = judged(tmp_path / "b", "2024-02-10", rule, rows)
    assert (finding.standing, finding.due_on, finding.legs[0].used) == ("overdue", "2024-02-10", 101.0)
    assert finding.past_by is not None
    assert (finding.past_by.value, finding.past_by.unit) == (1.0, "h a year")


def test_years_before_service_count_as_none_and_that_is_said(tmp_path: Path) -> None:
    """600 h in the first year are 120 h a year of five."""
    rows = [meter("2024-03-01T00:00", 0), meter("2024-12-01T00:00", 600), meter("2025-01-01T00:00", 600)]
    finding = judged(tmp_path, "2024-12-31", MEAN, rows)
    assert (finding.standing, finding.legs[0].used) == ("in_interval", 120.0)
    assert reason_for(finding, "before-in-service").text.startswith("G1 is in service from 2024-03-01 on: the time before counts as none")


def test_unknown_years_leave_a_mean_unknown_unless_it_is_exceeded(tmp_path: Path) -> None:
    """The log begins in 2024 and nothing says what ran before: 400 h known, of five years of which four are not known."""
    rows = [meter("2024-01-01T00:00", 5000), meter("2024-12-01T00:00", 5400), meter("2025-01-01T00:00", 5400)]
    finding = judged(tmp_path / "a", "2024-12-31", MEAN, rows, engine={})
    assert (finding.standing, finding.legs[0].used) == ("unknown", 80.0)
    over = judged(tmp_path / "b", "2024-12-31", budget(per={"mean_of_calendar_years": 5}, at_most=79), rows, engine={})
    assert over.standing == "overdue"


def test_hours_between_two_readings_count_in_a_period_that_holds_both(tmp_path: Path) -> None:
    """400 h from 1 July 2022 to 1 June 2024 are of no one year, and wholly of the five years 2020 to 2024; then 2 h a day, 60 h in June."""
    engine = {"in_service": "2022-07-01", "meter_at_start_h": 0}
    rows = steady("2024-06-01", "2024-07-02", 2, start_h=400)
    whole = judged(tmp_path / "a", "2024-06-30", MEAN, rows, engine=engine, gap_h=36)
    assert (whole.standing, whole.legs[0].used, whole.unknown_hours_h) == ("in_interval", 92.0, 0.0)
    # of 2023 and 2024 alone it may be any part of them
    part = judged(tmp_path / "b", "2024-06-30", budget(per={"mean_of_calendar_years": 2}, at_most=200), rows, engine=engine, gap_h=36)
    assert (part.standing, part.legs[0].used, part.unknown_hours_h) == ("unknown", 30.0, 400.0)


def test_a_limit_that_changes_holds_from_its_day(tmp_path: Path) -> None:
    """50 h of 60 are kept in June, and too much of the 40 h that hold from July on."""
    rule = budget(at_most=[{"at_most": 60}, {"in_force_from": "2024-07-01", "at_most": 40, "source": "the new permit"}])
    rows = [meter("2024-06-01T00:00", 0), meter("2024-07-01T00:00", 50), meter("2024-08-01T00:00", 100)]
    assert judged(tmp_path / "a", "2024-06-30", rule, rows).standing == "in_interval"
    finding = judged(tmp_path / "b", "2024-07-31", rule, rows)
    assert (finding.standing, finding.legs[0].allowed, finding.reasons[0].source) == ("overdue", 40.0, "the new permit")


def test_the_sum_of_a_mean_can_be_done_again(tmp_path: Path) -> None:
    """Each year with its hours, and the division."""
    judged(tmp_path, "2023-12-31", MEAN, SIX_YEARS)
    explanation = explain_finding(read_site(tmp_path), "G1", "hours", moment("2023-12-31"))
    sums = {step.label: step.sum for step in explanation.steps}
    assert [sums[year] for year in ("2019", "2020", "2023")] == ["1,000 h", "300 h", "300 h"]
    assert sums["mean"] == "2,200 / 5 = 440 h a year"
    assert sums["left"] == "500 - 440 = 60 h a year"


def test_starts_are_called_starts(tmp_path: Path) -> None:
    """A budget of starts has the unit that a leg of starts has."""
    rows = [meter("2024-01-01T00:00", 0, starts=0), meter("2024-01-10T00:00", 20, starts=12)]
    finding = judged(tmp_path, "2024-01-09", budget(of="starts", at_most=10), rows)
    assert (finding.legs[0].unit, finding.past_by and finding.past_by.unit) == ("starts", "starts")
    assert finding.reasons[0].text.startswith("overdue: budget exceeded by 2 starts; 12 starts in 2024-01, allowed 10")


@pytest.mark.parametrize(
    ("per", "code", "words"),
    [
        ({"calendar_months": 1}, "RUL016", "from 2 to 120"),
        ({"calendar_months": 2.5}, "RUL012", "whole number"),
        ({"mean_of_calendar_years": 21}, "RUL016", "from 2 to 20"),
        ({"calendar_years": 5}, "RUL014", "mean_of_calendar_years"),
        ("month", "RUL014", "calendar_month"),
    ],
)
def test_what_is_no_period_is_refused(tmp_path: Path, per: object, code: str, words: str) -> None:
    """With its place and what to write."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, "2024-01-01", budget(per=per), [meter("2024-01-01T00:00", 0)])
    (problem,) = [each for each in caught.value.problems if each.code == code]
    assert words in f"{problem.text} {problem.fix}"
    assert (problem.path or "").startswith("$.budgets[0].per")


def test_what_the_log_shows_is_unchanged_by_who_asks(tmp_path: Path) -> None:
    """Asked for alone it reads the same as beside the task."""
    findings = findings_of(tmp_path, "2024-02-29", TWELVE, ONE_A_DAY)
    alone = assess(read_site(tmp_path), moment("2024-02-29"), tasks=["hours"])
    assert alone.findings == (finding_for(findings, "hours"),)
    assert rules_fired(alone.findings[0])[0] == "budget-exceeded"


@pytest.mark.parametrize(
    ("rule", "since_last", "expect"),
    [
        (MEAN, {"running_hours": 600, "days": 200}, {"used": 120, "allowed": 500, "standing": "in_interval"}),
        # what is lacking of a minimum is what remains; the last day is judged to its end, so that the hours lie in 125 days
        (
            {"id": "hours", "title": "Hours", "of": "running_hours", "at_least": 20, "per": "P1M"},
            {"running_hours": 62.5, "days": 124},
            {"used": 15.5, "remaining": 4.5, "standing": "overdue"},
        ),
    ],
)
def test_worked_examples_may_show_them(
    tmp_path: Path, rule: Mapping[str, object], since_last: Mapping[str, object], expect: Mapping[str, object]
) -> None:
    """600 h in a new engine's first year are 120 h a year of five; half an hour a day is 15.5 h in a month of 31 days."""
    shown = {"name": "A figure by hand", "as_of": "2024-10-31", "since_last": since_last, "task": "hours", "expect": expect}
    site = write_site(tmp_path, [YEARLY], [meter("2024-01-01T00:00", 0)], rules={"budgets": [rule], "examples": [shown]})
    (result,) = run_examples(load_ruleset(find_ruleset(site.rulesets[0], tmp_path)))
    assert (result.passed, result.text) == (True, "")
