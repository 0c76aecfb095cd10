"""The whole past judged again under changed rules."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from intervals import assess, read_site
from intervals.findings import Finding
from intervals.problems import RequestProblemError
from intervals.questions.what_if.what_if import compare_rules
from intervals.questions.what_if.what_if_models import Compared, Judged, WhatIf
from intervals.rules.changes import RuleChanges
from intervals.site.model import Site
from tests.site_maker import done, meter, rule, steady, task, write_site

ROOT = Path(__file__).parents[4]
NOTHING = RuleChanges()
OIL = task("oil", every={"running_hours": 1000}, lead={"running_hours": 0})
ENGINE = {"rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0}
HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2, tasks=["oil"])


def site_of(folder: Path, **written: object) -> Site:
    """Write a site that ran 10 h a day at 95 % load in 2024, and changed its oil after 40 and after 100 days."""
    rows = steady("2024-01-01", "2025-01-01", 10, load_kw=950)
    services = [done("oil", "2024-02-10T00:00"), done("oil", "2024-04-10T00:00")]
    keys = {"engine": ENGINE, "services": services, "rules": {"adjustments": [HEAVY]}, **written}
    return write_site(folder, [OIL], rows, **keys)  # type: ignore[arg-type]  # keys of `write_site`


def other_rules(folder: Path) -> Path:
    """Write a rule set with another task, and return its file."""
    plugs = task("plugs", every={"running_hours": 50})
    return write_site(folder / "other", [plugs], [meter("2024-01-02T00:00", 1)], engine=ENGINE).folder / "rules.yaml"


def asked(site: Site, *sets: str, drop: tuple[str, ...] = (), ruleset: str | None = None, as_of: date = date(2024, 4, 19)) -> WhatIf:
    """Ask what if."""
    return compare_rules(site, as_of, RuleChanges.typed(sets, drop), ruleset=ruleset)


def only(found: WhatIf) -> Compared:
    """Return the one task."""
    (row,) = found.tasks
    return row


def side(judged: Judged | None) -> Judged:
    """Return a side that is there."""
    assert judged is not None
    return judged


def shown(finding: Finding) -> tuple[object, ...]:
    """Return what a check says of a task."""
    leg = finding.governing_leg
    figures = (None, None, None) if leg is None else (leg.used, leg.allowed, leg.unit)
    return (finding.engine, finding.task, finding.standing, finding.within_tolerance, finding.due_on, *figures)


def told(row: Compared, judged: Judged | None) -> tuple[object, ...]:
    """Return what a what-if says of a task."""
    each = side(judged)
    return (row.engine, row.task, each.standing, each.within_tolerance, each.due_on, each.used, each.allowed, each.unit)


def test_a_first_interval_is_one_job(tmp_path: Path) -> None:
    """1,100 h without a job: the first after 100 h, then every 500 h, which is 1 + 1,000 / 500 jobs, and not 11."""
    rows = steady("2024-01-01", "2025-01-01", 10)
    oil = task(every={"running_hours": 500}, first={"running_hours": 100})
    site = write_site(tmp_path, [oil], rows, engine=ENGINE)
    past = side(only(asked(site, "tasks.oil.every.running_hours=500")).before).past
    assert past is not None
    # 1 January through 19 April are 110 d; due at 100, 600 and 1,100 h
    assert (past.intervals_used, past.fell_due) == (3.0, 3)


@pytest.mark.parametrize("name", ["brackwater", "harbour-clinic", "skerry-island"])
def test_nothing_changed_is_a_check(name: str) -> None:
    """Without a change, and with a value set to what it is, both sides say what a check says, and nothing is different."""
    site = read_site(ROOT / "sample_logs" / name)
    checked = assess(site, date(2026, 10, 31))
    task_id, hours = {"brackwater": ("oil-change", 2000), "harbour-clinic": ("oil-change", 300), "skerry-island": ("oil-filter", 250)}[name]
    for changes in (NOTHING, RuleChanges.typed([f"tasks.{task_id}.every.running_hours={hours}"], [])):
        found = compare_rules(site, date(2026, 10, 31), changes)
        assert not [row for row in found.tasks if row.is_changed]
        expected = [shown(finding) for finding in checked.findings]
        assert [told(row, row.before) for row in found.tasks] == expected
        assert [told(row, row.after) for row in found.tasks] == expected
        assert found.totals_before == found.totals_after == checked.totals


def test_the_past_is_judged_by_both(tmp_path: Path) -> None:
    """400 h, 600 h and 100 h so far; counted twice 800, 1,200 and 200 of 1,000, counted once 400, 600 and 100."""
    row = only(asked(site_of(tmp_path), "adjustments.heavy.counts_as=1"))
    before, after = side(row.before), side(row.after)
    assert before.past is not None
    assert after.past is not None
    # used / allowed of the windows: 0.8 + 1.2 + 0.2, and half of it
    assert (before.past.intervals_used, after.past.intervals_used) == (2.2, 1.1)
    assert (before.past.done, before.past.fell_due, before.past.late, before.past.missed) == (2, 1, 1, 0)
    assert (after.past.fell_due, after.past.late) == (0, 0)
    # 1,000 equivalent hours are 500 on the clock, 50 days; from there to the completion on day 60: 100 h, 10 d
    assert (before.past.overdue_h, before.past.overdue_d) == (100.0, 10.0)
    assert (after.past.overdue_h, after.past.overdue_d) == (0.0, 0.0)
    assert (before.used, after.used, before.allowed) == (200.0, 100.0, 1000.0)
    # 900 h remain at 20 equivalent hours a day: 40 d; 900 at 10: 90 d after 19 April
    assert (before.due_on, after.due_on) == ("2024-05-29", "2024-07-18")
    assert (before.lasts_h, after.lasts_h) == (500.0, 1000.0)
    # 10 h a day are 3,652.5 h a year
    assert before.per_year == pytest.approx(3652.5 / 500)
    assert after.per_year == pytest.approx(3652.5 / 1000)


def test_an_adjustment_may_be_dropped(tmp_path: Path) -> None:
    """Without the rule the hours count once, though an example of the rule set names it."""
    example = {
        "name": "Heavy",
        "since_last": {"running_hours": 10, "load_pct": 95},
        "engine": {"rated_kw": 1},
        "task": "oil",
        "expect": {"fired": ["heavy"]},
    }
    found = asked(site_of(tmp_path, rules={"adjustments": [HEAVY], "examples": [example]}), drop=("heavy",))
    assert side(only(found).after).used == 100.0
    assert found.changes == ("without heavy",)


def test_another_rule_set_may_judge(tmp_path: Path) -> None:
    """A rule set with another task: one stands only before, the other only after."""
    site = site_of(tmp_path)
    other = other_rules(tmp_path)
    found = asked(site, ruleset=str(other))
    assert [(row.task, row.before is None, row.after is None) for row in found.tasks] == [("oil", False, True), ("plugs", True, False)]
    assert side(found.tasks[1].after).standing == "overdue"


def test_the_file_is_not_touched(tmp_path: Path) -> None:
    """A what-if leaves the rule set's file as it is."""
    site = site_of(tmp_path)
    before = (tmp_path / "rules.yaml").read_bytes()
    asked(site, "tasks.oil.every.running_hours=1", drop=("heavy",))
    assert (tmp_path / "rules.yaml").read_bytes() == before


@pytest.mark.parametrize(
    ("typed", "used", "allowed"),
    [
        ("tasks.oil.every.running_hours=400", 200.0, 400.0),
        ("adjustments.heavy.when.load_pct.above=95", 100.0, 1000.0),
        ("limits.counts_as_at_most=1.5", 150.0, 1000.0),
        ("conditions.heavy.load_pct.above=95", 200.0, 1000.0),
        ("adjustments.heavy.tasks=[oil]", 200.0, 1000.0),
    ],
)
def test_paths_reach_every_part(tmp_path: Path, typed: str, used: float, allowed: float) -> None:
    """Tasks and adjustments by id, limits and conditions by key, lists in brackets; what is not there yet is made."""
    after = side(only(asked(site_of(tmp_path), typed)).after)
    assert (after.used, after.allowed) == (used, allowed)


def test_a_value_goes_to_every_dated_interval_or_to_one(tmp_path: Path) -> None:
    """Two dated intervals: without a number both change, with one only that."""
    every = [{"running_hours": 1000}, {"in_force_from": "2024-04-01", "running_hours": 2000}]
    site = write_site(tmp_path, [task("oil", every=every)], steady("2024-01-01", "2024-04-20", 10), engine=ENGINE)
    assert side(only(asked(site, "tasks.oil.every.running_hours=700")).after).allowed == 700.0
    assert side(only(asked(site, "tasks.oil.every.0.running_hours=700")).after).allowed == 2000.0
    assert side(only(asked(site, "tasks.oil.every.1.running_hours=700")).after).allowed == 700.0


@pytest.mark.parametrize(
    ("sets", "drop", "words"),
    [
        (("oil",), (), "not a path and a value"),
        (("tasks.oill.every.running_hours=1",), (), 'did you mean "tasks.oil"?'),
        (("colours.oil=1",), (), 'no rule set here has "colours.oil"'),
        ((), ("haevy",), 'did you mean "heavy"?'),
        (("tasks.oil.every.running_hours=many",), (), "not a number"),
        (("adjustments.heavy.interval_times=0.5",), (), "several effects"),
        (("adjustments.heavy.counts_as=1.2",), ("heavy",), "which --drop leaves out"),
        (("tasks.oil=null",), (), "a whole entry, not a value of it; only adjustments can be left out"),
        (("adjustments.heavy=null",), (), "a whole adjustment, not a value of it"),
    ],
)
def test_a_change_that_cannot_be_is_refused(tmp_path: Path, sets: tuple[str, ...], drop: tuple[str, ...], words: str) -> None:
    """What is no path, names nothing, or makes the rule set wrong is CLI131."""
    site = site_of(tmp_path)
    with pytest.raises(RequestProblemError) as error:
        asked(site, *sets, drop=drop)
    (problem,) = error.value.problems
    assert problem.code == "CLI131"
    assert words in problem.text


def test_a_change_goes_to_the_rule_sets_that_have_a_place_for_it(tmp_path: Path) -> None:
    """Two engines of two rule sets; only one has the adjustment."""
    other = other_rules(tmp_path)
    engines = [{"id": "G1", **ENGINE}, {"id": "G2", **ENGINE, "ruleset": str(other)}]
    rows = [*steady("2024-01-01", "2024-02-01", 10, load_kw=950), *steady("2024-01-01", "2024-02-01", 10, engine="G2", load_kw=950)]
    site = write_site(tmp_path, [OIL], rows, engines=engines, rules={"adjustments": [HEAVY]})
    found = asked(site, "adjustments.heavy.counts_as=1", as_of=date(2024, 1, 31))
    assert [(row.engine, row.is_changed) for row in found.tasks] == [("G1", True), ("G2", False)]
