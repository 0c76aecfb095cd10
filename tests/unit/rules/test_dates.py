"""Dates that an engine states: how a rule set asks for them, which engines they bind, and what is refused."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals.language.conditions import AllOf, Comparison, Condition, describe_condition
from intervals.language.phrases import phrase_of
from intervals.language.written_conditions import parse_condition
from intervals.problems import Problem
from intervals.questions.examples.examples import run_examples
from intervals.rulebook.inference import RuleBase
from intervals.rules.bands import boxes_of, meet_boxes
from intervals.rules.review.lint import warnings_of
from intervals.rules.review.stated_facts import check_stated_facts
from intervals.rules.ruleset import RuleSet
from tests.site_maker import finding_for, judge, reason_for, rule, rules_fired, steady, task, used_of
from tests.small_models import small_rules, small_site

SINCE_2006: dict[str, Any] = {"constructed": {"from": "2006-06-12"}}
BEFORE_2006: dict[str, Any] = {"constructed": {"before": "2006-06-12"}}


@pytest.mark.parametrize(
    ("word", "op", "holds", "told", "phrase"),
    [
        ("before", "<", [True, False, False], "constructed before 2006-06-12", "constructed before 2006-06-12"),
        ("until", "<=", [True, True, False], "constructed until 2006-06-12", "constructed on or before 2006-06-12"),
        ("from", ">=", [False, True, True], "constructed from 2006-06-12", "constructed on or after 2006-06-12"),
        ("after", ">", [False, False, True], "constructed after 2006-06-12", "constructed after 2006-06-12"),
    ],
)
def test_four_words_compare_whole_days(word: str, op: str, holds: list[bool], told: str, phrase: str) -> None:
    """The day before, the day itself and the day after; a date that is not stated is unknown, and so is what is no date."""
    condition = parse_condition({"constructed": {word: "2006-06-12"}}, {})
    assert isinstance(condition, Comparison)
    assert (condition.op, condition.value) == (op, date(2006, 6, 12))
    assert (describe_condition(condition), phrase_of(condition)) == (told, phrase)
    base = RuleBase("dates", {"bound": condition})
    days = ("2006-06-11", "2006-06-12", "2006-06-13")
    assert [bool(base.fire({"constructed": day}).holds) for day in days] == holds
    assert [base.fire({"constructed": value}).unknown for value in (None, "summer", 732_474.0, "2006-06")] == [("bound",)] * 4


def test_a_date_can_be_one_of_several() -> None:
    """Equality beside bounds of the same name: the day of the list holds, others do not."""
    rules: dict[str, Condition] = {
        "listed": parse_condition({"constructed": ["2006-06-12", "2010-01-01"]}, {}),
        "early": parse_condition(BEFORE_2006, {}),
    }
    base = RuleBase("dates", rules)
    assert [base.fire({"constructed": day}).holds for day in ("2010-01-01", "2006-06-11", "2006-06-13")] == [("listed",), ("early",), ()]


@pytest.mark.parametrize(
    ("constructed", "standing"), [("2006-06-11", "overdue"), ("2006-06-12", None), ("2006-06-13", None), (None, "unknown")]
)
def test_a_task_binds_by_the_day_on_which_the_engine_was_built(tmp_path: Path, constructed: str | None, standing: str | None) -> None:
    """600 h of 500: overdue for an engine built before the day, no task of one built on it or later, unknown of one that does not say."""
    tasks = [task(every={"running_hours": 500}, applies_to=BEFORE_2006), task("other", every={"running_hours": 9000})]
    engine: dict[str, object] = {"in_service": "2024-01-01", "meter_at_start_h": 0}
    engine |= {"attributes": {"constructed": constructed}} if constructed else {}
    rules = {"attributes": {"constructed": "day on which it was built"}}
    findings = judge(tmp_path, "2024-01-31", tasks, steady("2024-01-01", "2024-01-31", 20.0), engine=engine, rules=rules)
    assert [finding.standing for finding in findings.findings if finding.task == "oil"] == ([standing] if standing else [])


def test_the_first_day_may_be_asked_for(tmp_path: Path) -> None:
    """in_service counts by the site's clock: 23:30 in UTC on the last of May is the first of June in Berlin."""
    engine = {"in_service": "2024-05-31T23:30+00:00", "meter_at_start_h": 0}
    rules = {"adjustments": [rule("new-kind", {"in_service": {"from": "2024-06-01"}}, interval_times=0.5)]}
    rows = steady("2024-06-02", "2024-06-10", 10.0)
    findings = judge(
        tmp_path, "2024-06-09", [task(every={"running_hours": 100})], rows, engine=engine, rules=rules, time_zone="Europe/Berlin"
    )
    assert rules_fired(finding_for(findings)).count("new-kind") == 1
    assert "in service" in reason_for(finding_for(findings), "new-kind").text
    assert used_of(finding_for(findings)) is not None


def dated_rules(*whens: dict[str, Any]) -> RuleSet:
    """Return a rule set that asks for these conditions, on adjustments of a window."""
    adjustments = [{"id": f"a{number}", "tasks": "all", "when": when, "interval_times": 0.5} for number, when in enumerate(whens)]
    return small_rules(adjustments=adjustments, attributes={"constructed": "day on which it was built"})


def problems_of(rules: RuleSet, **attributes: object) -> list[Problem]:
    """Return what is wrong with what one engine states."""
    return check_stated_facts(small_site(engines=[{"id": "G1", "attributes": attributes}]), lambda _: [rules]).problems


@pytest.mark.parametrize("value", ["summer of 2006", 2006, True, "2006-06", "12.06.2006", "2006-06-31"])
def test_a_site_that_states_no_date_is_refused(value: object) -> None:
    """A word, a year and a date of another custom are no dates: the place, what was found, how it is written."""
    (problem,) = problems_of(dated_rules(SINCE_2006), constructed=value)
    assert (problem.code, problem.path) == ("SIT046", "$.engines[0].attributes.constructed")
    assert "which no rule can compare" in problem.text
    assert problem.fix == "write a date, year, month, day: YYYY-MM-DD"


def test_a_site_that_states_a_date_is_accepted() -> None:
    """Any day will do, whether rules name it or not."""
    assert problems_of(dated_rules(SINCE_2006), constructed="1987-03-01") == []


def boxes(condition: dict[str, Any]) -> Any:  # noqa: ANN401 - the one box
    """Return what a condition covers."""
    covered = boxes_of(parse_condition(condition, {}))
    assert covered is not None
    return covered[0]


def test_bands_of_days_meet_without_a_gap() -> None:
    """`until` a day and `from` the next one leave nothing between them and share nothing; with the same day they share it."""
    until, after = boxes({"constructed": {"until": "2006-06-11"}}), boxes(SINCE_2006)
    assert meet_boxes(until, after) is None
    both = meet_boxes(boxes({"constructed": {"until": "2006-06-12"}}), after)
    assert both is not None
    assert str(both["constructed"]) == "from 2006-06-12, before 2006-06-13"
    assert not [each for each in warnings_of(dated_rules({"constructed": {"until": "2006-06-11"}}, SINCE_2006)) if "bands" in each.text]


def test_lint_sees_days_that_overlap_or_are_left_out() -> None:
    """Two bands that share a day; two bands that leave one out."""
    texts = [each.text for each in warnings_of(dated_rules({"constructed": {"until": "2006-06-12"}}, SINCE_2006))]
    assert any("overlap" in text and "constructed from 2006-06-12, before 2006-06-13" in text for text in texts)
    texts = [each.text for each in warnings_of(dated_rules(BEFORE_2006, {"constructed": {"after": "2006-06-12"}}))]
    assert any("a gap between the bands" in text and "2006-06-12 itself" in text for text in texts)


def test_examples_state_dates() -> None:
    """An example's engine is built and put to service on days of its own; the hours count from where the example begins."""
    example = {"task": "oil", "since_last": {"running_hours": 260, "days": 20}, "engine": {"constructed": "2006-06-12"}}
    rules = small_rules(
        tasks=[task(every={"running_hours": 500})],
        adjustments=[rule("old", {**SINCE_2006, "in_service": {"before": "2008-01-01"}}, interval_times=0.5)],
        examples=[
            {
                "name": "old",
                **example,
                "engine": {"constructed": "2006-06-12", "in_service": "2007-12-31"},
                "expect": {"used": 260, "allowed": 250},
            },
            {"name": "newer", **example, "engine": {"constructed": "2006-06-12", "in_service": "2008-01-01"}, "expect": {"allowed": 500}},
        ],
    )
    assert [(result.name, result.passed, result.text) for result in run_examples(rules)] == [("old", True, ""), ("newer", True, "")]


def test_two_dates_make_a_span() -> None:
    """A lower and an upper bound of one date are both held."""
    condition = parse_condition({"constructed": {"from": "2004-01-01", "before": "2006-06-12"}}, {})
    assert isinstance(condition, AllOf)
    base = RuleBase("dates", {"bound": condition})
    assert [bool(base.fire({"constructed": day}).holds) for day in ("2003-12-31", "2004-01-01", "2006-06-11", "2006-06-12")] == [
        False,
        True,
        True,
        False,
    ]
