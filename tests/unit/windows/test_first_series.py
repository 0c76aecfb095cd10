"""The first intervals of a new engine one after the other: 50 h, 250 h, then every 500 h."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Findings
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.reports.rules.rule_page import rule_set_markdown
from intervals.rules.review.lint import warnings_of
from tests.site_maker import done, finding_for, judge, leg_of, skipped_of, steady, task
from tests.small_models import small_rules

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}
# 10 h a day from 0 h on 1 January 2024
ROWS = steady("2024-01-01", "2025-06-30", 10)
SERIES = [{"running_hours": 50}, {"running_hours": 250}]


def day_at(hours: float) -> str:
    """Return the day that begins with so many hours on the meter."""
    return (date(2024, 1, 1) + timedelta(days=hours / 10)).isoformat()


def judged(
    folder: Path,
    at_h: float,
    done_at_h: Sequence[float] = (),
    *,
    month: str | None = None,
    tasks: Sequence[dict[str, object]] = (),
    services: Sequence[dict[str, object]] = (),
    **keys: Any,  # noqa: ANN401 - what a task takes
) -> Findings:
    """Judge an oil change by its series when the meter shows so many hours."""
    made = {"every": {"running_hours": 500}, "first": SERIES, **keys}
    records = [*(done("oil", f"{day_at(hours)}T00:00") for hours in done_at_h), *services]
    return judge(folder, f"{day_at(at_h)}T00:00", [task(**made), *tasks], ROWS, engine=ENGINE, services=records, month=month)


@pytest.mark.parametrize(
    ("done_at_h", "at_h", "used", "allowed", "standing"),
    [
        ((), 50, 50, 50, "upcoming"),
        ((), 60, 60, 50, "overdue"),
        # the second counts from the first completion, wherever that was
        ((50,), 300, 250, 250, "upcoming"),
        ((50,), 310, 260, 250, "overdue"),
        ((40,), 290, 250, 250, "upcoming"),
        ((40,), 300, 260, 250, "overdue"),
        # from the third on every 500 h
        ((50, 300), 800, 500, 500, "upcoming"),
        ((50, 300), 810, 510, 500, "overdue"),
        ((50, 300, 800), 1310, 510, 500, "overdue"),
    ],
)
def test_each_occurrence_takes_its_own_interval(
    tmp_path: Path, done_at_h: Sequence[float], at_h: float, used: float, allowed: float, standing: str
) -> None:
    """50 h, then 250 h from the first completion, then 500 h from each."""
    finding = finding_for(judged(tmp_path, at_h, done_at_h))
    leg = leg_of(finding)
    assert (leg.used, leg.allowed, finding.standing) == (used, allowed, standing)


def test_a_closed_window_of_the_series_is_not_passed_over(tmp_path: Path) -> None:
    """Done at 50 h and at 560 h: 510 h of 250 are past the line, and the due point at 800 was not reached; at 810 it was.

    From 50 h the due points are 300 h and 800 h.
    """
    assert [entry.kind for entry in skipped_of(judged(tmp_path / "a", 1000, (50, 790)))] == []
    (entry,) = skipped_of(judged(tmp_path / "b", 1000, (50, 810)))
    assert (entry.kind, entry.at, entry.open) == ("missed", day_at(800), False)
    assert entry.text == f"Oil fell due on {day_at(300)} and was not done before the next due point on {day_at(800)} (500 h later)"


def test_due_points_that_pass_undone_follow_the_series(tmp_path: Path) -> None:
    """Never done: due at 50 h, 300 h, 800 h; at 810 h the first two are missed, each when the next one was reached."""
    findings = judged(tmp_path, 810)
    assert [(entry.kind, entry.at) for entry in skipped_of(findings)] == [("missed", day_at(300)), ("missed", day_at(800))]
    assert ["(250 h later)" in entry.text for entry in skipped_of(findings)] == [True, False]


@pytest.mark.parametrize(
    ("done_at_h", "month", "counts"),
    [
        # 50 h on 6 January, 300 h on 31 January, 800 h on 21 March; without a tolerance it is late as soon as its line is crossed
        ((50, 300), "2024-01", (2, 0)),
        ((50, 300, 800), "2024-03", (1, 0)),
        # done at 310 h, ten past the line
        ((50, 310), "2024-01", (1, 1)),
        ((50, 310), "2024-02", (0, 0)),
        # never done: the first was missed when the second was reached, and that was late on the same day
        ((), "2024-01", (0, 2)),
        ((), "2024-03", (0, 1)),
    ],
)
def test_compliance_counts_each_due_point_of_the_series(
    tmp_path: Path, done_at_h: Sequence[float], month: str, counts: tuple[int, int]
) -> None:
    """Each is on time or late in the month in which it is decided."""
    compliance = judged(tmp_path, 1200, done_at_h, month=month).compliance
    assert compliance is not None
    assert (compliance.on_time, compliance.late) == counts


def test_an_overhaul_begins_the_series_again(tmp_path: Path) -> None:
    """An overhaul at 1,000 h: due 50 h later, and 250 h after that is done."""
    overhaul = task("overhaul", every={"running_hours": 20_000}, makes_new="all")
    keys: dict[str, Any] = {"tasks": [overhaul], "services": [done("overhaul", f"{day_at(1000)}T00:00")]}
    assert leg_of(finding_for(judged(tmp_path / "a", 1040, (50, 300, 800), **keys))).allowed == 50
    assert leg_of(finding_for(judged(tmp_path / "b", 1100, (50, 300, 800, 1050), **keys))).allowed == 250
    assert leg_of(finding_for(judged(tmp_path / "c", 1500, (50, 300, 800, 1050, 1300), **keys))).allowed == 500


def test_without_records_from_the_first_day_the_whole_interval_counts(tmp_path: Path) -> None:
    """Records begin in February: nothing says which occurrence the one of 400 h was."""
    made = [task(every={"running_hours": 500}, first=SERIES)]
    engine = {**ENGINE, "records_from": "2024-02-01"}
    findings = judge(tmp_path, "2024-03-01", made, ROWS, engine=engine, services=[done("oil", f"{day_at(400)}T00:00")])
    assert leg_of(finding_for(findings)).allowed == 500


@pytest.mark.parametrize(
    ("done_at_h", "at_h", "used", "allowed"),
    [
        # the grid is 50, 300, 800, 1,300 h; done at 60 h, ten are carried over
        ((60,), 100, 50, 250),
        ((60, 310), 400, 100, 500),
        # done at 320 h, past two points of it: 20 of the 500 up to 800 h
        ((320,), 400, 100, 500),
        ((820,), 900, 100, 500),
        ((1320,), 1400, 100, 500),
        # ten hours early: ten are taken off
        ((40,), 100, 50, 250),
    ],
)
def test_a_grid_of_hours_goes_on_by_the_series(
    tmp_path: Path, done_at_h: Sequence[float], at_h: float, used: float, allowed: float
) -> None:
    """Kept where a task restarts from its due point."""
    leg = leg_of(finding_for(judged(tmp_path, at_h, done_at_h, restarts_from="due")))
    assert (leg.used, leg.allowed) == (used, allowed)


@pytest.mark.parametrize(
    ("done_on", "as_of", "due_on"),
    [
        ((), "2024-01-15", "2024-02-01"),
        # due on 1 February, 1 May, then every half year: 1 November, 1 May
        (("2024-02-03",), "2024-03-01", "2024-05-01"),
        (("2024-02-03", "2024-04-28"), "2024-05-10", "2024-11-01"),
        (("2024-02-03", "2024-04-28", "2024-11-05"), "2024-12-01", "2025-05-01"),
        # past two points of it
        (("2024-05-20",), "2024-06-01", "2024-11-01"),
        (("2024-11-20",), "2024-12-01", "2025-05-01"),
    ],
)
def test_a_calendar_grid_goes_on_by_the_series(tmp_path: Path, done_on: Sequence[str], as_of: str, due_on: str) -> None:
    """A month, three months, then every six, on the grid from the first day."""
    keys: dict[str, Any] = {"every": {"calendar": "P6M"}, "first": [{"calendar": "P1M"}, {"calendar": "P3M"}], "restarts_from": "due"}
    services = [done("oil", day) for day in done_on]
    findings = judge(tmp_path, as_of, [task(**keys)], ROWS, engine=ENGINE, services=services)
    assert finding_for(findings).due_on == due_on


def test_a_calendar_series_counts_from_each_completion(tmp_path: Path) -> None:
    """Restarting where it was done: 3 February and three months are 3 May; never done, 1 February, 1 May and 1 November pass."""
    keys: dict[str, Any] = {"every": {"calendar": "P6M"}, "first": [{"calendar": "P1M"}, {"calendar": "P3M"}]}
    findings = judge(tmp_path / "a", "2024-03-01", [task(**keys)], ROWS, engine=ENGINE, services=[done("oil", "2024-02-03")])
    assert finding_for(findings).due_on == "2024-05-03"
    findings = judge(tmp_path / "b", "2024-11-02", [task(**keys)], ROWS, engine=ENGINE)
    assert [(entry.kind, entry.at) for entry in skipped_of(findings)] == [("missed", "2024-05-01"), ("missed", "2024-11-01")]


def test_a_window_rule_shortens_every_interval_of_the_series(tmp_path: Path) -> None:
    """Half of 50, of 250, of 500; what stands in the place of an interval replaces longer ones only."""
    for number, (done_at_h, at_h, half, becomes) in enumerate([((), 20, 25, 50), ((50,), 100, 125, 200), ((50, 300), 400, 250, 200)]):
        made = [task(every={"running_hours": 500}, first=SERIES)]
        services = [done("oil", f"{day_at(hours)}T00:00") for hours in done_at_h]
        for effect, allowed in (({"interval_times": 0.5}, half), ({"interval_becomes": {"running_hours": 200}}, becomes)):
            rules = {"adjustments": [{"id": "x", "tasks": "all", "when": {"dusty": True}, **effect}]}
            folder = tmp_path / f"{number}-{allowed}"
            engine = {**ENGINE, "attributes": {"dusty": True}}
            findings = judge(folder, f"{day_at(at_h)}T00:00", made, ROWS, engine=engine, services=services, rules=rules)
            assert leg_of(finding_for(findings)).allowed == allowed


def test_forecast_and_lead_are_of_the_interval_that_is_open(tmp_path: Path) -> None:
    """At 100 h, done at 50: 200 h left at 10 h a day are 20 days after 11 January, the midnight that ends the 30th.

    The lead is a tenth of 250 h, 25 h: upcoming from 17.5 d after that midnight, on the 28th.
    """
    finding = finding_for(judged(tmp_path, 100, (50,)))
    assert finding.forecast is not None
    assert (finding.forecast.on, finding.upcoming_from) == ("2024-01-30", "2024-01-28")


def test_explain_pages_and_examples_tell_the_series(tmp_path: Path) -> None:
    """The sum says which of the series it is; a page names them one after the other; an example of a new engine takes the first."""
    judged(tmp_path, 100, (50,))
    explanation = explain_finding(read_site(tmp_path), "G1", "oil", date(2024, 1, 10))
    sums = {step.label: step.sum for step in explanation.steps}
    assert sums["running_hours allowed"] == "first, 2 of 2, 250 = 250 h"
    example = {"task": "oil", "since_last": {"running_hours": 51, "days": 9}, "expect": {"used": 51, "allowed": 50, "standing": "overdue"}}
    rules = small_rules(
        tasks=[task(every={"running_hours": 500}, first=SERIES)], examples=[{"name": "new", "first": True, **example}], attributes={}
    )
    assert "50 h, then 250 h" in rule_set_markdown(rules)
    assert [result.passed for result in run_examples(rules)] == [True]
    assert not [warning for warning in warnings_of(rules) if "first" in warning.text]


def test_an_example_shows_a_later_one_of_the_series() -> None:
    """A new engine that ran 310 h in all, and whose oil was changed 260 h ago: the second interval of 250 h is past."""
    example = {
        "name": "the second",
        "task": "oil",
        "first": True,
        "since_last": {"running_hours": 310, "days": 31},
        "done_since": {"oil": {"running_hours": 260, "days": 26}},
        "expect": {"used": 260, "allowed": 250, "standing": "overdue"},
    }
    rules = small_rules(tasks=[task(every={"running_hours": 500}, first=SERIES)], examples=[example])
    assert [(result.passed, result.text) for result in run_examples(rules)] == [(True, "")]


def test_one_interval_may_stand_in_a_list() -> None:
    """A list of one is that one."""
    both = [
        small_rules(tasks=[task(every={"running_hours": 500}, first=first)]) for first in ({"running_hours": 50}, [{"running_hours": 50}])
    ]
    assert both[0].tasks[0].first == both[1].tasks[0].first == ({"running_hours": 50.0},)
