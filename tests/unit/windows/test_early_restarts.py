"""A survey that was done before its window moves the anniversary: to its own date and so much more, never past the one it met."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Findings
from intervals.questions.explain.explain import explain_finding
from intervals.reports.rules.rule_page import rule_set_markdown
from tests.site_maker import done, finding_for, judge, skipped_of, steady, task
from tests.small_models import small_rules

SURVEY: dict[str, Any] = {
    "every": {"calendar": "P1Y"},
    "window": {"before": "P3M", "after": "P3M"},
    "restarts_from": "due_unless_early",
    "early_restarts_after": "P3M",
}
ENGINE = {"in_service": "2021-05-10", "meter_at_start_h": 0}
ROWS = steady("2021-05-10", "2025-12-31", 2)


def judged(folder: Path, as_of: str, done_on: Sequence[str], **keys: object) -> Findings:
    """Judge a yearly survey with its anniversary on 10 May, to be done from 10 February to 10 August."""
    services = [done("survey", day) for day in done_on]
    return judge(folder, as_of, [task("survey", **{**SURVEY, **keys})], ROWS, engine=ENGINE, services=services)


@pytest.mark.parametrize(
    ("done_on", "due_on"),
    [
        # in its window, on its first and on its last day: the anniversary stays
        ("2022-02-10", "2023-05-10"),
        ("2022-08-10", "2023-05-10"),
        # past it: late, and the anniversary stays
        ("2022-09-01", "2023-05-10"),
        # a day before it: 9 February and three months are 9 May
        ("2022-02-09", "2023-05-09"),
        # three weeks before it: 20 January and three months are 20 April
        ("2022-01-20", "2023-04-20"),
        # the 30th of November and three months is the last of February
        ("2021-11-30", "2023-02-28"),
    ],
)
def test_an_early_survey_moves_the_anniversary(tmp_path: Path, done_on: str, due_on: str) -> None:
    """Due on 10 May 2022; the next one a year after the anniversary, which only a survey before its window moves."""
    assert finding_for(judged(tmp_path, "2022-12-01", [done_on]), "survey").due_on == due_on


def test_the_anniversary_stays_moved(tmp_path: Path) -> None:
    """Done on 20 January 2022 it is 20 April: done in its window a year later, the next one is 20 April 2024, from 20 January on."""
    findings = judged(tmp_path, "2024-01-19", ["2022-01-20", "2023-07-20"])
    assert (finding_for(findings, "survey").standing, finding_for(findings, "survey").due_on) == ("in_interval", "2024-04-20")
    assert [entry.kind for entry in skipped_of(findings, "survey")] == ["too_early"]
    later = judged(tmp_path / "b", "2024-01-20", ["2022-01-20", "2023-07-20"])
    assert finding_for(later, "survey").standing == "upcoming"


def test_it_never_moves_past_the_due_date_that_it_met(tmp_path: Path) -> None:
    """A window of one month before: done on 1 April, three months after it is 1 July, and the anniversary stays on 10 May."""
    window = {"before": "P1M", "after": "P1M"}
    assert finding_for(judged(tmp_path, "2022-12-01", ["2022-04-01"], window=window), "survey").due_on == "2023-05-10"
    (entry,) = skipped_of(judged(tmp_path / "b", "2022-12-01", ["2022-04-01"], window=window), "survey")
    assert entry.kind == "too_early"


def test_without_it_the_next_one_counts_from_the_completion(tmp_path: Path) -> None:
    """As before: a year after 20 January."""
    assert finding_for(judged(tmp_path, "2022-12-01", ["2022-01-20"], early_restarts_after=None), "survey").due_on == "2023-01-20"


def test_a_tolerance_may_say_what_is_early(tmp_path: Path) -> None:
    """Without a window: a tolerance of 10 d, so that 29 April is early and 30 April is not; three months on would be past 10 May."""
    keys = {"window": None, "tolerance": {"calendar": "P10D"}, "early_restarts_after": "P5D"}
    assert finding_for(judged(tmp_path / "a", "2022-12-01", ["2022-04-29"], **keys), "survey").due_on == "2023-05-04"
    assert finding_for(judged(tmp_path / "b", "2022-12-01", ["2022-04-30"], **keys), "survey").due_on == "2023-05-10"


def test_explain_and_pages_tell_it(tmp_path: Path) -> None:
    """The sum says from which day the anniversary counts."""
    judged(tmp_path, "2022-12-01", ["2022-01-20"])
    explanation = explain_finding(read_site(tmp_path), "G1", "survey", date(2022, 12, 1))
    sums = {step.label: step.sum for step in explanation.steps}
    assert sums["calendar due"].startswith(
        "2022-01-20 + P1Y, counted from 2022-04-20 = 2023-04-20, to be done from 2023-01-20 to 2023-07-20"
    )
    assert "done too early, from 3 months after it, at the latest from its due date" in rule_set_markdown(
        small_rules(tasks=[task("survey", **SURVEY)])
    )
