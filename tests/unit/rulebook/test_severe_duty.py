"""A site's own factor for severe duty: what it shortens, what it leaves, and that it is said."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from intervals import ProblemsError, read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import fault_kinds, finding_for, judge, leg_of, meter, moment, reason_for, rule, rules_fired, task

OIL = task(every={"running_hours": 100, "calendar": "P1Y"})
SEVERE = {"tasks": ["oil"], "interval_times": 0.8, "because": "Stone dust from the crusher."}


def judged(folder: Path, severe: Mapping[str, object] | None, hours: float, **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge an oil change and plugs after some hours."""
    engine = {"in_service": "2024-01-01", "meter_at_start_h": 0, **({"severe_duty": severe} if severe else {})}
    tasks = [OIL, task("plugs", every={"running_hours": 100})]
    return judge(folder, "2024-01-31", tasks, [meter("2024-02-01T00:00", hours)], engine=engine, **written)


def allowed(finding: Finding, leg: str = "running_hours") -> float | None:
    """Return what a leg is allowed."""
    return leg_of(finding, leg).allowed


def test_the_factor_shortens_legs_of_use_of_the_tasks_it_names(tmp_path: Path) -> None:
    """100 h x 0.8 = 80 h; the calendar and the plugs stay."""
    findings = judged(tmp_path, SEVERE, 81)
    oil = finding_for(findings)
    assert (oil.standing, allowed(oil), allowed(oil, "calendar"), allowed(finding_for(findings, "plugs"))) == (
        "overdue",
        80.0,
        366.0,
        100.0,
    )
    assert rules_fired(oil) == ["past-interval", "severe-duty"]
    reason = reason_for(oil, "severe-duty")
    assert reason.text == "interval times 0.8, the site's own factor: Stone dust from the crusher."
    assert (reason.facts["interval_times"], reason.source) == (0.8, "the site's own factor")


def test_all_tasks_may_be_meant(tmp_path: Path) -> None:
    """The plugs too."""
    assert allowed(finding_for(judged(tmp_path, {**SEVERE, "tasks": "all"}, 10), "plugs")) == 80.0


def test_it_is_for_its_engine_alone(tmp_path: Path) -> None:
    """Of two engines the one that states it."""
    engines = [
        {"id": name, "in_service": "2024-01-01", "meter_at_start_h": 0, **more}
        for name, more in (("G1", {"severe_duty": SEVERE}), ("G2", {}))
    ]
    rows = [meter("2024-02-01T00:00", 10), {**meter("2024-02-01T00:00", 10), "engine": "G2"}]
    findings = judge(tmp_path, "2024-01-31", [OIL], rows, engines=engines)
    assert [allowed(finding_for(findings, engine=name)) for name in ("G1", "G2")] == [80.0, 100.0]


def test_factors_multiply_within_the_rule_sets_limits(tmp_path: Path) -> None:
    """0.8 x 0.5 = 0.4, and no less than 0.5 where the rule set says so."""
    half = rule("half", {"days_since": {"at_least": 1}}, interval_times=0.5)
    assert allowed(finding_for(judged(tmp_path / "a", SEVERE, 10, rules={"adjustments": [half]}))) == 40.0
    limits = {"adjustments": [half], "limits": {"interval_times_at_least": 0.5}}
    assert allowed(finding_for(judged(tmp_path / "b", SEVERE, 10, rules=limits))) == 50.0


def test_the_explanation_says_where_it_stands(tmp_path: Path) -> None:
    """In the site's file, with its reason."""
    judged(tmp_path, SEVERE, 10)
    explanation = explain_finding(read_site(tmp_path), "G1", "oil", moment("2024-01-31"))
    (place,) = (entry for entry in explanation.rules if entry.rule == "severe-duty")
    assert (place.place, place.because) == (str(tmp_path / "site.yaml"), "Stone dust from the crusher.")


def test_a_task_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    """Named, and judged around."""
    findings = judged(tmp_path, {**SEVERE, "tasks": ["oil", "oli"]}, 10)
    assert fault_kinds(findings) == ["unknown_task"]
    assert allowed(finding_for(findings)) == 80.0


@pytest.mark.parametrize(
    ("severe", "code"),
    [
        ({**SEVERE, "interval_times": 1.2}, "SIT016"),
        ({**SEVERE, "interval_times": 0}, "SIT016"),
        ({"tasks": "all", "interval_times": 0.8}, "SIT011"),
    ],
)
def test_a_factor_needs_a_reason_and_lengthens_nothing(tmp_path: Path, severe: Mapping[str, object], code: str) -> None:
    """A number above 1 is no severe duty."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, severe, 10)
    assert [problem.code for problem in caught.value.problems] == [code]


def test_no_rule_may_take_its_name(tmp_path: Path) -> None:
    """Reasons are told apart by id."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, None, 10, rules={"adjustments": [rule("severe-duty", {"days_since": {"at_least": 1}}, interval_times=0.5)]})
    assert [problem.code for problem in caught.value.problems] == ["RUL019"]
