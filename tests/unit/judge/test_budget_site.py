"""Budgets over the whole site: one sum of all its engines, one finding under the site's own id."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals import assess, read_site
from intervals.findings import Finding, Findings
from intervals.problems import ProblemsError
from intervals.questions.explain.explain import explain_finding
from intervals.questions.month.monthly import report_month
from tests.site_maker import judge, moment, reason_for, steady, task

YEARLY = task(every={"calendar": "P10Y"})
TWO: list[dict[str, object]] = [
    {"id": "A", "in_service": "2024-01-01", "meter_at_start_h": 0, "duty": "prime"},
    {"id": "B", "in_service": "2024-03-01", "meter_at_start_h": 0, "duty": "prime"},
]
# A runs 1 h a day from 1 January on, B 2 h a day from 1 March on
ROWS = [*steady("2024-01-01", "2024-12-31", 1, engine="A"), *steady("2024-03-01", "2024-12-31", 2, engine="B")]


def budget(**keys: object) -> dict[str, object]:
    """Return a budget of 120 running hours a calendar year over the whole site, or what it says instead."""
    return {"id": "hours", "title": "Hours", "of": "running_hours", "at_most": 120, "per": "calendar_year", "over": "site", **keys}


def found(folder: Path, as_of: str, rule: Mapping[str, object], rows: Sequence[Mapping[str, object]] = ROWS, **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge a site of two engines."""
    return judge(folder, as_of, [YEARLY], rows, **{"engines": TWO, "rules": {"budgets": [rule]}, **written})


def of_site(findings: Findings) -> Finding:
    """Return the one finding of the budget."""
    (finding,) = [finding for finding in findings.findings if finding.task == "hours"]
    assert finding.engine == findings.site
    return finding


def test_the_hours_of_all_engines_add_up(tmp_path: Path) -> None:
    """60 h of A by the end of February; 3 h a day from then on: 120 h when 21 March begins."""
    at_line = of_site(found(tmp_path / "a", "2024-03-20", budget()))
    assert (at_line.standing, at_line.legs[0].used) == ("upcoming", 120.0)
    past = of_site(found(tmp_path / "b", "2024-03-21", budget()))
    assert (past.standing, past.legs[0].used, past.due_on) == ("overdue", 123.0, "2024-03-21")
    assert past.reasons[0].text == ("overdue: budget exceeded by 3 h; 123 h of running hours in 2024, allowed 120, exceeded on 2024-03-21")


def test_engines_that_came_later_are_named(tmp_path: Path) -> None:
    """B was not there in January, and counts as none until March."""
    finding = of_site(found(tmp_path, "2024-03-05", budget()))
    assert reason_for(finding, "before-in-service").text == "B is in service from 2024-03-01 on: the time before counts as none"


def test_of_many_engines_three_are_named(tmp_path: Path) -> None:
    """Five came after January began, each on a day of its own, and their logs ended a month before the end."""
    engines = [{"id": f"E{day}", "in_service": f"2024-01-0{day}", "meter_at_start_h": 0} for day in range(2, 7)]
    rows = [row for day in range(2, 7) for row in steady(f"2024-01-0{day}", "2024-02-01", 1, engine=f"E{day}")]
    finding = of_site(found(tmp_path, "2024-03-01", budget(at_most=200), rows, engines=engines, gap_h=30))
    text = reason_for(finding, "before-in-service").text
    assert text.startswith("in service are E2 from 2024-01-02 on, E3 from 2024-01-03 on, E4 from 2024-01-04 on, and 2 more: ")
    # 30 + 29 + 28 + 27 + 26 h
    assert (finding.standing, finding.legs[0].used) == ("unknown", 140.0)
    ended = "the log ended on 2024-01-31"
    assert finding.reasons[0].text.startswith(f"unknown: E2: {ended}; E3: {ended}; E4: {ended}; and of 2 more engines; known are 140 h")


def test_an_engine_that_left_keeps_what_it_ran(tmp_path: Path) -> None:
    """A is out of service from 1 March on, with 60 h; B adds 2 h a day."""
    rows = [*steady("2024-01-01", "2024-03-01", 1, engine="A"), *steady("2024-03-01", "2024-12-31", 2, engine="B")]
    engines = [{**TWO[0], "out_of_service": "2024-03-01"}, TWO[1]]
    finding = of_site(found(tmp_path, "2024-03-31", budget(), rows, engines=engines))
    # 60 + 31 x 2
    assert (finding.standing, finding.legs[0].used) == ("overdue", 122.0)
    # B alone passes 60 h on the 31st
    assert finding.due_on == "2024-03-31"


def test_only_engines_that_it_is_for_count(tmp_path: Path) -> None:
    """A standby engine beside two at prime duty adds nothing."""
    engines = [*TWO, {"id": "C", "in_service": "2024-01-01", "meter_at_start_h": 0, "duty": "standby"}]
    rows = [*ROWS, *steady("2024-01-01", "2024-12-31", 5, engine="C")]
    finding = of_site(found(tmp_path, "2024-03-05", budget(applies_to={"duty": "prime"}), rows, engines=engines))
    assert finding.legs[0].used == 75.0


def test_an_engine_that_does_not_say_leaves_the_sum_unknown(tmp_path: Path) -> None:
    """Unless what is certain is too much without it."""
    engines = [TWO[0], {key: value for key, value in TWO[1].items() if key != "duty"}]
    rule = budget(applies_to={"duty": "prime"})
    finding = of_site(found(tmp_path / "a", "2024-03-05", rule, engines=engines))
    assert finding.standing == "unknown"
    assert finding.reasons[0].text.startswith("unknown: the budget asks for duty, which B does not state")
    # A alone: 121 h by 30 April
    assert of_site(found(tmp_path / "b", "2024-04-30", rule, engines=engines)).standing == "overdue"


def test_a_log_that_ended_is_named_by_its_engine(tmp_path: Path) -> None:
    """What B ran since 10 March may be too much."""
    rows = [*steady("2024-01-01", "2024-12-31", 1, engine="A"), *steady("2024-03-01", "2024-03-10", 2, engine="B")]
    finding = of_site(found(tmp_path, "2024-03-31", budget(), rows, gap_h=30))
    assert finding.standing == "unknown"
    assert finding.reasons[0].text.startswith("unknown: B: the log ended on 2024-03-09")


def test_a_minimum_of_the_site_may_be_reached_by_any_engine(tmp_path: Path) -> None:
    """100 h at least in a month: March has 31 x 3 h, and lacks seven."""
    rule = {key: value for key, value in budget(per="calendar_month", at_least=100).items() if key != "at_most"}
    finding = of_site(found(tmp_path, "2024-03-31", rule))
    assert (finding.standing, finding.legs[0].used, finding.legs[0].remaining) == ("overdue", 93.0, 7.0)


def test_processes_find_the_same(tmp_path: Path) -> None:
    """What two processes counted adds up to what one does."""
    findings = found(tmp_path, "2024-03-21", budget())
    site = read_site(tmp_path)
    assert assess(site, moment("2024-03-21"), jobs=2).model_dump() == findings.model_dump()


def test_a_month_decides_it_once(tmp_path: Path) -> None:
    """Late in March, on the day on which the site exceeded it, and no occurrence of either engine; the month's page has it too."""
    findings = found(tmp_path, "2024-04-30", budget(), month="2024-03")
    assert findings.compliance is not None
    shown = [(entry.engine, entry.met, entry.decided_on) for entry in findings.compliance.occurrences if entry.task == "hours"]
    assert shown == [("quay", "late", "2024-03-21")]
    report = report_month(read_site(tmp_path), moment("2024-03-31"), "2024-03")
    assert report.findings.compliance == findings.compliance
    assert [figure.late for figure in report.history][-1] == 1


def test_some_engines_alone_are_not_the_site(tmp_path: Path) -> None:
    """Asked of one engine it is left out, and asked for by name it says how to ask."""
    found(tmp_path, "2024-03-21", budget())
    site = read_site(tmp_path)
    assert [finding.task for finding in assess(site, moment("2024-03-21"), engines=["A"]).findings] == ["oil"]
    with pytest.raises(ProblemsError) as caught:
        assess(site, moment("2024-03-21"), engines=["A"], tasks=["hours"])
    assert "leave out --engine" in (caught.value.problems[0].fix or "")


def test_the_sum_names_each_engine(tmp_path: Path) -> None:
    """Explained for either engine, it is the site's."""
    found(tmp_path, "2024-03-21", budget())
    for engine in ("A", "B"):
        explanation = explain_finding(read_site(tmp_path), engine, "hours", moment("2024-03-21"))
        sums = {step.label: step.sum for step in explanation.steps}
        assert (explanation.finding.engine, sums["A"], sums["B"], sums["left"]) == ("quay", "81 h", "42 h", "120 - 123 = -3 h")
