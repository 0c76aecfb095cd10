"""A window of a calendar month: any day of the month in which a task falls due is in time, its last day is the line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from intervals import read_site
from intervals.findings import Findings
from intervals.language.durations import CalendarStep
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.reports.rules.rule_page import rule_set_markdown
from intervals.rules.timing import DueWindow
from tests.properties.bounded import bounded
from tests.site_maker import done, finding_for, judge, leg_of, skipped_of, steady, task
from tests.small_models import small_rules

MONTH = {"calendar_month": True}
ENGINE = {"in_service": "2023-01-01", "meter_at_start_h": 0}
ROWS = [*steady("2023-01-01", "2025-12-31", 2)]


def judged(
    folder: Path,
    as_of: str,
    done_on: Sequence[str],
    every: str,
    *,
    month: str | None = None,
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Findings:
    """Judge a task with a window of the calendar month."""
    made = task(every={"calendar": every}, window=dict(MONTH), **keys)
    return judge(folder, as_of, [made], ROWS, engine=ENGINE, services=[done("oil", day) for day in done_on], month=month)


@pytest.mark.parametrize(
    ("as_of", "standing"),
    [("2024-02-29", "in_interval"), ("2024-03-01", "upcoming"), ("2024-03-31", "upcoming"), ("2024-04-01", "overdue")],
)
def test_a_yearly_task_is_good_to_the_end_of_its_month(tmp_path: Path, as_of: str, standing: str) -> None:
    """Done on 2023-03-10: due on 2024-03-10, in time from the first to the last of March 2024.

    From 2023-03-10 to 2024-03-31 are 366 d to 2024-03-10 (29 February 2024 lies between) and 21 more, 387 d.
    """
    finding = finding_for(judged(tmp_path, as_of, ["2023-03-10"], "P1Y"))
    assert (finding.standing, finding.due_on, leg_of(finding, "calendar").allowed) == (standing, "2024-03-10", 387.0)
    if standing == "overdue":
        assert finding.crossed_at == "2024-04-01T00:00:00+00:00"
    assert "may be done from 2024-03-01 to 2024-03-31" in finding.reasons[0].text


@pytest.mark.parametrize(
    ("done_on", "as_of", "standing", "due_on"),
    [
        # the 31st of January is clipped to the last of February, of a leap year the 29th
        ("2024-01-31", "2024-02-29", "upcoming", "2024-02-29"),
        ("2024-01-31", "2024-03-01", "overdue", "2024-02-29"),
        ("2023-01-31", "2023-02-28", "upcoming", "2023-02-28"),
        # done on the first or on the last of a month: the next one is the next month
        ("2024-03-01", "2024-03-31", "in_interval", "2024-04-01"),
        ("2024-03-01", "2024-04-30", "upcoming", "2024-04-01"),
        ("2024-03-31", "2024-04-01", "upcoming", "2024-04-30"),
        ("2024-12-31", "2025-01-31", "upcoming", "2025-01-31"),
        ("2024-12-31", "2025-02-01", "overdue", "2025-01-31"),
    ],
)
def test_a_monthly_task_is_done_once_in_each_calendar_month(tmp_path: Path, done_on: str, as_of: str, standing: str, due_on: str) -> None:
    """Whatever the day, the month after it is the one in which it is done."""
    finding = finding_for(judged(tmp_path, as_of, [done_on], "P1M"))
    assert (finding.standing, finding.due_on) == (standing, due_on)


@pytest.mark.parametrize("restarts_from", ["done", "due", "due_if_on_time", "due_unless_early"])
def test_the_days_within_the_month_do_not_matter(tmp_path: Path, restarts_from: str) -> None:
    """Monthly on the 2nd, the 29th and the 11th: nothing is late, nothing too early, and April is the next."""
    findings = judged(tmp_path, "2024-03-31", ["2024-01-02", "2024-02-29", "2024-03-11"], "P1M", restarts_from=restarts_from)
    finding = finding_for(findings)
    assert finding.standing == "in_interval"
    assert str(finding.due_on)[:7] == "2024-04"
    assert [entry for entry in skipped_of(findings) if entry.at >= "2024-01-02"] == []


def test_a_month_that_passes_is_missed_when_the_next_begins(tmp_path: Path) -> None:
    """Done in January, then on the 5th of April: February passed when March began, March when April did.

    The grid counts from the engine's first day, the first of January 2023.
    """
    findings = judged(tmp_path, "2024-04-30", ["2023-12-20", "2024-01-10", "2024-04-05"], "P1M", restarts_from="due")
    missed = [(entry.kind, entry.at) for entry in skipped_of(findings) if entry.at > "2024-01-10"]
    assert missed == [("missed", "2024-03-01"), ("missed", "2024-04-01")]
    texts = [entry.text for entry in skipped_of(findings) if entry.at > "2024-01-10"]
    assert "fell due on 2024-02-01 (to be done from 2024-02-01 to 2024-02-29)" in texts[0]


def test_done_in_the_month_before_is_too_early(tmp_path: Path) -> None:
    """Yearly in March: done on 29 February it counts, and it is told; the next one is due in February."""
    findings = judged(tmp_path, "2024-03-05", ["2023-03-10", "2024-02-29"], "P1Y")
    assert finding_for(findings).due_on == "2025-02-28"
    (entry,) = [each for each in skipped_of(findings) if each.kind == "too_early" and each.at > "2024"]
    assert "1 d before its window opened: due on 2024-03-10, to be done from 2024-03-01 to 2024-03-31" in entry.text


@pytest.mark.parametrize(
    ("done_on", "month", "counts"),
    [
        (("2023-03-10", "2024-03-31"), "2024-03", (1, 0)),
        (("2023-03-10", "2024-04-01"), "2024-04", (0, 1)),
        (("2023-03-10",), "2024-04", (0, 1)),
        (("2023-03-10",), "2024-03", (0, 0)),
    ],
)
def test_a_month_of_compliance_counts_it_on_time_through_its_last_day(
    tmp_path: Path, done_on: tuple[str, ...], month: str, counts: tuple[int, int]
) -> None:
    """Through 31 March it is on time; on 1 April it is late."""
    compliance = judged(tmp_path, "2024-04-30", done_on, "P1Y", month=month).compliance
    assert compliance is not None
    assert (compliance.on_time, compliance.late) == counts


def test_a_tolerance_begins_after_the_month(tmp_path: Path) -> None:
    """Ten days after 31 March: 10 April is within, the 11th is not."""
    keys: dict[str, Any] = {"tolerance": {"calendar": "P10D"}}
    assert finding_for(judged(tmp_path / "a", "2024-04-10", ["2023-03-10"], "P1Y", **keys)).within_tolerance
    assert not finding_for(judged(tmp_path / "b", "2024-04-11", ["2023-03-10"], "P1Y", **keys)).within_tolerance


def test_explain_and_pages_tell_it(tmp_path: Path) -> None:
    """The sum shows the first and the last day; a rule page says it in words."""
    judged(tmp_path, "2024-03-05", ["2023-03-10"], "P1Y")
    explanation = explain_finding(read_site(tmp_path), "G1", "oil", date(2024, 3, 5))
    sums = {step.label: step.sum for step in explanation.steps}
    assert sums["calendar due"] == "2023-03-10 + P1Y = 2024-03-10, to be done from 2024-03-01 to 2024-03-31; 387 d allowed"
    rules = small_rules(tasks=[task(every={"calendar": "P1Y"}, window=dict(MONTH))])
    assert "on any day of the calendar month of its due date" in rule_set_markdown(rules)


def test_an_example_is_judged_by_the_month() -> None:
    """387 d after 10 March 2023 are 31 March 2024, the line; a day later it is overdue."""
    examples = [
        {
            "name": as_of,
            "task": "oil",
            "since_last": {"days": days},
            "as_of": as_of,
            "expect": {"used": days, "allowed": 387, "standing": standing},
        }
        for as_of, days, standing in (("2024-03-31", 387, "upcoming"), ("2024-04-01", 388, "overdue"))
    ]
    rules = small_rules(tasks=[task(every={"calendar": "P1Y"}, window=dict(MONTH))], examples=examples)
    assert [(result.passed, result.text) for result in run_examples(rules)] == [(True, "")] * 2


@bounded(300)
@given(st.dates(date(1996, 1, 1), date(2040, 12, 31)), st.integers(1, 40))
def test_ends_are_those_of_another_library(done_on: date, months: int) -> None:
    """The due date, the first and the last day of its month, held against dateutil."""
    window, due = DueWindow(calendar_month=True), CalendarStep(f"P{months}M", months=months).after(done_on)
    assert due == done_on + relativedelta(months=months)
    assert window.first_day(due) == done_on + relativedelta(months=months, day=1)
    assert window.last_day(due) == done_on + relativedelta(months=months, day=31)
