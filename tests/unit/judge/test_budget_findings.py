"""Budgets: what counts, since when it is too much, and what cannot be known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals import ProblemsError, assess, read_site
from intervals.findings import Finding
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.rules.review.lint import lint_ruleset
from intervals.rules.ruleset import find_ruleset, load_ruleset
from tests.site_maker import fault_kinds, finding_for, judge, meter, moment, reason_for, rules_fired, steady, task, write_site

YEARLY = task(every={"calendar": "P10Y"})
ENGINE: dict[str, object] = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}


def budget(**keys: object) -> dict[str, object]:
    """Return a budget of 100 running hours a calendar year, or what it says instead."""
    return {"id": "hours", "title": "Hours a year", "of": "running_hours", "at_most": 100, "per": "calendar_year", **keys}


def judged(folder: Path, as_of: str, rule: Mapping[str, object], rows: Sequence[Mapping[str, object]], **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge one budget."""
    written.setdefault("engine", ENGINE)
    return finding_for(judge(folder, as_of, [YEARLY], rows, rules={"budgets": [rule]}, **written), "hours")


def test_running_hours_of_a_calendar_year(tmp_path: Path) -> None:
    """4 h a day from 1 January: 100 h at the end of day 25, past them the moment day 26 goes on."""
    rows = steady("2024-01-01", "2024-02-10", 4)
    at_line = judged(tmp_path / "a", "2024-01-25", budget(), rows)
    assert (at_line.standing, at_line.legs[0].used, at_line.legs[0].remaining) == ("upcoming", 100.0, 0.0)
    past = judged(tmp_path / "b", "2024-01-26", budget(), rows)
    assert (past.standing, past.past_by and past.past_by.value, past.due_on) == ("overdue", 4.0, "2024-01-26")
    assert past.crossed_at == "2024-01-26T00:00:00+00:00"
    assert past.reasons[0].text == ("overdue: budget exceeded by 4 h; 104 h of running hours in 2024, allowed 100, exceeded on 2024-01-26")


@pytest.mark.parametrize(("hours", "standing"), [(89.9, "in_interval"), (90, "upcoming"), (100, "upcoming"), (100.1, "overdue")])
def test_upcoming_from_nine_tenths_on(tmp_path: Path, hours: float, standing: str) -> None:
    """A tenth of 100 h before the limit; at the limit it is still kept."""
    rows = [meter("2024-02-01T00:00", hours)]
    assert judged(tmp_path, "2024-01-31", budget(), rows).standing == standing


def test_the_lead_may_be_stated(tmp_path: Path) -> None:
    """lead_pct 50: upcoming from 50 h on."""
    assert judged(tmp_path, "2024-01-31", budget(lead_pct=50), [meter("2024-02-01T00:00", 50)]).standing == "upcoming"


def test_only_hours_under_the_condition_count(tmp_path: Path) -> None:
    """30 h above 90 % of 50 h."""
    rows = [meter("2024-01-03T00:00", 30, load_kw=950), meter("2024-01-04T00:00", 50, load_kw=900)]
    finding = judged(tmp_path, "2024-01-03", budget(when={"load_pct": {"above": 90}}, at_most=29), rows)
    assert (finding.standing, finding.legs[0].used) == ("overdue", 30.0)


def test_a_fuel_may_be_limited_under_a_condition(tmp_path: Path) -> None:
    """40 L burnt above 0.5 % sulphur of 100 L, in hours that no meter counted for running too."""
    rows = [
        meter("2024-01-02T00:00", 10, fuel_l=60, fuel_sulphur_pct=0.5),
        meter("2024-01-03T00:00", 20, fuel_l=30, fuel_sulphur_pct=0.6),
        meter("2024-01-04T00:00", 20, fuel_l=10, fuel_sulphur_pct=0.6),
    ]
    rule = budget(of="fuel_l", when={"fuel_sulphur_pct": {"above": 0.5}}, at_most=50)
    finding = judged(tmp_path, "2024-01-03", rule, rows)
    assert (finding.standing, finding.legs[0].used, finding.legs[0].unit) == ("in_interval", 40.0, "L")


def test_running_hours_and_a_column_add_up(tmp_path: Path) -> None:
    """20 h on the meter and 5 h of another kind."""
    rows = [meter("2024-01-02T00:00", 20, barred_h=5)]
    rule = budget(of=["running_hours", "barred_h"])
    finding = judged(tmp_path, "2024-01-01", rule, rows, quantities={"barred_h": {"unit": "h", "kind": "amount"}})
    assert (finding.legs[0].used, finding.legs[0].leg) == (25.0, "running_hours + barred_h")


def test_any_twelve_months_end_on_every_day(tmp_path: Path) -> None:
    """90 h on 1 March 2024 and 20 h on 28 February 2025 share a year, and no longer on 1 March 2025."""
    rows = [
        meter("2024-03-01T00:00", 0),
        meter("2024-03-05T00:00", 90),
        meter("2025-02-28T00:00", 90),
        meter("2025-03-01T00:00", 110),
        meter("2025-03-08T00:00", 110),
    ]
    # 90 h run evenly on the four days from 1 to 4 March 2024: 22.5 h a day
    rolling = budget(per="P12M")
    inside = judged(tmp_path / "a", "2025-02-28", rolling, rows)
    assert (inside.standing, inside.legs[0].used) == ("overdue", 110.0)
    later = judged(tmp_path / "b", "2025-03-01", rolling, rows)
    # from 2024-03-02 on: 67.5 + 20
    assert (later.standing, later.legs[0].used) == ("in_interval", 87.5)
    before = reason_for(later, "budget-exceeded-before")
    assert before.text == "exceeded once before: from 2025-02-28 to 2025-02-28, up to 110 h, allowed 100"


def test_a_month_from_any_day(tmp_path: Path) -> None:
    """A week of 12 h a day: 84 h in any seven days, 60 h in five."""
    rows = steady("2024-01-01", "2024-01-20", 12)
    assert judged(tmp_path / "a", "2024-01-10", budget(per="P1W", at_most=84), rows).legs[0].used == 84.0
    assert judged(tmp_path / "b", "2024-01-10", budget(per="P5D", at_most=59), rows).standing == "overdue"


def test_a_limit_that_changes_counts_from_its_day(tmp_path: Path) -> None:
    """60 h are within 100 h until 30 June, and beyond the 50 h of July."""
    rule = budget(at_most=[{"at_most": 100}, {"in_force_from": "2024-07-01", "at_most": 50, "source": "the new one"}])
    rows = [meter("2024-02-01T00:00", 60), meter("2024-07-03T00:00", 60)]
    assert judged(tmp_path / "a", "2024-06-30", rule, rows).standing == "in_interval"
    finding = judged(tmp_path / "b", "2024-07-01", rule, rows)
    assert (finding.standing, finding.legs[0].allowed, finding.reasons[0].source) == ("overdue", 50.0, "the new one")


@pytest.mark.parametrize(("word", "standing", "used"), [("holds", "overdue", 20.0), ("fails", "in_interval", 0.0)])
def test_what_is_unknown_may_be_said_to_count(tmp_path: Path, word: str, standing: str, used: float) -> None:
    """20 h without a load, of 10 allowed."""
    rule = budget(when={"load_pct": {"above": 90}}, at_most=10, when_unknown=word)
    finding = judged(tmp_path, "2024-01-01", rule, [meter("2024-01-02T00:00", 20, load_kw="")])
    assert (finding.standing, finding.legs[0].used) == (standing, used)


def test_unknown_hours_that_could_not_exceed_the_rest_change_nothing(tmp_path: Path) -> None:
    """20 h without a load, of 100 allowed: in interval, and said."""
    finding = judged(tmp_path, "2024-01-01", budget(when={"load_pct": {"above": 90}}), [meter("2024-01-02T00:00", 20, load_kw="")])
    assert (finding.standing, finding.unknown_hours_h) == ("in_interval", 20.0)
    assert rules_fired(finding)[1:] == ["unknown-hours"]


def test_a_log_that_ended_leaves_open_what_may_have_run(tmp_path: Path) -> None:
    """50 h known, the log ends on 1 February: nothing is known of March but that 50 h are left."""
    rows = steady("2024-01-01", "2024-02-01", 50 / 31)
    assert judged(tmp_path / "a", "2024-02-02", budget(), rows, gap_h=24).standing == "in_interval"
    finding = judged(tmp_path / "b", "2024-03-01", budget(), rows, gap_h=24)
    assert finding.standing == "unknown"
    assert finding.legs[0].used == pytest.approx(50.0)
    assert "the log ended on" in finding.reasons[0].text


def test_hours_before_the_log_began_are_unknown(tmp_path: Path) -> None:
    """The log begins in July and nothing says what ran before: unknown, unless it is too much already."""
    rows = steady("2024-07-01", "2024-07-10", 4, start_h=5000)
    finding = judged(tmp_path / "a", "2024-07-09", budget(), rows, engine={"rated_kw": 1000})
    assert (finding.standing, finding.legs[0].used) == ("unknown", 36.0)
    assert judged(tmp_path / "b", "2024-07-09", budget(at_most=30), rows, engine={"rated_kw": 1000}).standing == "overdue"


def test_a_column_that_is_not_logged_is_unknown(tmp_path: Path) -> None:
    """No litre is in the log."""
    finding = judged(tmp_path, "2024-01-01", budget(of="fuel_l"), [meter("2024-01-02T00:00", 20)])
    assert (finding.standing, finding.legs[0].used) == ("unknown", None)
    assert finding.reasons[0].text.startswith("unknown: no fuel_l is logged")


def test_a_budget_is_for_the_engines_it_says(tmp_path: Path) -> None:
    """One that fits none is named; one that asks for what is not stated is unknown."""
    rows = [meter("2024-01-02T00:00", 20)]
    findings = judge(
        tmp_path / "a",
        "2024-01-01",
        [YEARLY],
        rows,
        engine={**ENGINE, "duty": "prime"},
        rules={"budgets": [budget(applies_to={"duty": "standby"})]},
    )
    assert [finding.task for finding in findings.findings] == ["oil"]
    assert fault_kinds(findings, None) == ["budget_fits_no_engine"]
    assert judged(tmp_path / "b", "2024-01-01", budget(applies_to={"duty": "standby"}), rows).standing == "unknown"


def test_the_day_on_which_it_will_be_used_up(tmp_path: Path) -> None:
    """4 h a day, 60 h used after 15 days: the other 40 h last for ten more days, to 25 January."""
    finding = judged(tmp_path, "2024-01-15", budget(), steady("2024-01-01", "2024-01-16", 4))
    assert (finding.due_on, finding.forecast and finding.forecast.on) == ("2024-01-25", "2024-01-25")


def test_a_budget_may_be_asked_for_alone(tmp_path: Path) -> None:
    """Its id goes where a task's goes."""
    judge(tmp_path, "2024-01-01", [YEARLY], [meter("2024-01-02T00:00", 20)], engine=ENGINE, rules={"budgets": [budget()]})
    findings = assess(read_site(tmp_path), moment("2024-01-01"), tasks=["hours"])
    assert [finding.task for finding in findings.findings] == ["hours"]


@pytest.mark.parametrize(
    ("rule", "code", "words"),
    [
        (budget(of="fuel"), "RUL026", "fuel_l"),
        (budget(of=["running_hours", "fuel_l"]), "RUL018", "different units"),
        (budget(of=["running_hours", "running_hours"]), "RUL019", "counted twice"),
        (budget(of={"tasks": ["a"]}), "RUL012", "records: [test-run]"),
        (budget(of={"records": ["a"]}, when={"load_pct": {"above": 90}}), "RUL012", "service records"),
        (budget(per="year"), "RUL014", "calendar_year"),
        (budget(per="P0D"), "RUL016", "P1D"),
        (budget(at_most=-1), "RUL016", "0 or more"),
        (budget(at_most=[{"at_most": 1}, {"at_most": 2}]), "RUL022", "in_force_from"),
        (budget(when={"mean_load_pct": {"above": 90}}), "RUL024", "window as a whole"),
        (budget(id="oil"), "RUL019", "a task has the id"),
        (budget(hours=100), "RUL010", "at_most: 100"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, rule: Mapping[str, object], code: str, words: str) -> None:
    """With its code, its place and what to write."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, "2024-01-01", rule, [meter("2024-01-02T00:00", 20)])
    problems = [problem for problem in caught.value.problems if problem.code == code]
    assert problems
    assert words in f"{problems[0].text} {problems[0].fix}"
    assert (problems[0].path or "").startswith("$.budgets[0]")


def test_the_sum_can_be_done_again(tmp_path: Path) -> None:
    """30 h above 90 % count, 20 h at 90 % do not; the limit of 29 h stands in line 8 of the rules."""
    rows = [meter("2024-01-03T00:00", 30, load_kw=950), meter("2024-01-04T00:00", 50, load_kw=900)]
    judged(tmp_path, "2024-01-03", budget(when={"load_pct": {"above": 90}}, at_most=29, because="It wears."), rows)
    explanation = explain_finding(read_site(tmp_path), "G1", "hours", date(2024, 1, 3))
    cells = {cell.levels["load_pct"]: (cell.hours_h, cell.equivalent_h, cell.rules) for cell in explanation.cells}
    assert cells == {"above 90": (30.0, 30.0, ("hours",)), "exactly 90": (20.0, 0.0, ())}
    sums = {step.label: step.sum for step in explanation.steps}
    assert sums["left"] == "29 - 30 = -1 h"
    assert [(rule.rule, rule.because) for rule in explanation.rules] == [("hours", "It wears.")]
    assert explanation.window[0].sum.startswith("2024-01-01T00:00:00+00:00")


@pytest.mark.parametrize(
    ("above", "standing", "text"),
    [
        (95, "in_interval", "in interval: none allowed, none used: running hours (above 95 % load) in 2024"),
        # from the 2nd to the 5th three days of 1 h at 80 %
        (70, "overdue", "overdue: none allowed, 3 h used: running hours (above 70 % load) in 2024, exceeded on 2024-01-02"),
    ],
)
def test_a_budget_of_nothing_reads_as_what_it_is(tmp_path: Path, above: int, standing: str, text: str) -> None:
    """Nothing is divided by it, nothing is left of it: none is allowed, and none or so much was used."""
    rows = [meter(f"2024-01-0{day}T00:00", day - 2, load_kw=800) for day in (2, 3, 4, 5)]
    finding = judged(
        tmp_path,
        "2024-01-04",
        budget(at_most=0, when={"load_pct": {"above": above}}),
        rows,
        engine={**ENGINE, "in_service": "2024-01-02"},
    )
    assert (finding.standing, finding.reasons[0].text, finding.legs[0].consumed) == (standing, text, None)


def test_worked_examples_may_show_a_budget(tmp_path: Path) -> None:
    """What was counted since the year began: 60 h + 45 h of 100."""
    shown = {
        "name": "Tests and other use add up",
        "since_last": {"days": 100, "test_h": 60, "other_h": 45},
        "task": "hours",
        "expect": {"used": 105, "allowed": 100, "standing": "overdue"},
    }
    rules = {"budgets": [budget(of=["test_h", "other_h"])], "examples": [shown]}
    site = write_site(tmp_path, [YEARLY], [meter("2024-01-02T00:00", 0)], rules=rules)
    (result,) = run_examples(load_ruleset(find_ruleset(site.rulesets[0], tmp_path)))
    assert (result.passed, result.text) == (True, "")


def test_lint_asks_for_source_and_reason(tmp_path: Path) -> None:
    """As of every rule; a word about unknown hours without a condition is idle."""
    write_site(tmp_path, [YEARLY], [meter("2024-01-02T00:00", 0)], rules={"budgets": [budget(when_unknown="holds")]})
    _, warnings = lint_ruleset(tmp_path / "rules.yaml")
    told = [problem.code for problem in warnings if (problem.path or "").startswith("$.budgets[0]")]
    assert told == ["RUL061", "RUL062", "RUL066"]


def test_hours_before_the_log_are_of_no_one_year(tmp_path: Path) -> None:
    """400 h between 1 July 2022 and 1 June 2024 are all that is known: no year is told to have exceeded its 100 h, nor to have kept them.

    From 1 June 2024 on 2 h a day: 60 h by its end in the year's sum, and up to 400 h more; of 2025 10 h by 5 January.
    """
    engine = {"in_service": "2022-07-01", "meter_at_start_h": 0, "rated_kw": 1000}
    rows = steady("2024-06-01", "2025-02-01", 2, start_h=400)
    then = judged(tmp_path / "a", "2024-06-30", budget(), rows, engine=engine, gap_h=36)
    assert (then.standing, then.legs[0].used, then.unknown_hours_h) == ("unknown", 60.0, 400.0)
    assert "up to 400 h more, between readings of the meter in different years before the log began" in then.reasons[0].text
    late = judged(tmp_path / "b", "2025-01-05", budget(), rows, engine=engine, gap_h=36)
    assert (late.standing, late.legs[0].used) == ("in_interval", 10.0)
    # June to December 2024 are 214 days of 2 h
    assert [reason.text for reason in late.reasons[1:]] == ["exceeded once before: 428 h in 2024, allowed 100, from 2024-07-21 on"]
