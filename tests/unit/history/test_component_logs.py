"""Components that move between engines: their hours, their age, their records, and what is asked of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from intervals import ProblemsError, assess, read_site
from intervals.findings import Finding, Findings
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, fault_kinds, finding_for, judge, leg_of, moment, rule, rules_fired, steady, task, used_of

# G1 runs 10 h a day, G2 4 h a day, both from New Year on
ROWS = [*steady("2024-01-01", "2024-06-30", 10), *steady("2024-01-01", "2024-06-30", 4, engine="G2")]
ENGINES = [{"id": name, "in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000} for name in ("G1", "G2")]
OVERHAUL = task("turbo-overhaul", every={"running_hours": 12_000, "calendar": "P4Y"}, applies_to={"kind": "turbocharger"})
OIL = task(every={"running_hours": 100_000})


def turbo(fitted: Sequence[Mapping[str, object]], **keys: object) -> dict[str, object]:
    """Return a turbocharger."""
    return {"id": "TC-7", "kind": "turbocharger", "fitted": list(fitted), **keys}


def judged(folder: Path, as_of: str, component: Mapping[str, object], **written: Any) -> Findings:  # noqa: ANN401 - passed on
    """Judge two engines and a turbocharger."""
    rows = written.pop("rows", ROWS)
    return judge(folder, as_of, written.pop("tasks", [OIL, OVERHAUL]), rows, engines=ENGINES, components=[component], **written)


def overhaul(findings: Findings) -> Finding:
    """Return the finding of the turbocharger."""
    return finding_for(findings, "turbo-overhaul", "TC-7")


def test_hours_are_those_of_the_engine_it_sat_on(tmp_path: Path) -> None:
    """31 d on G1 at 10 h, 29 d on the shelf, 31 d on G2 at 4 h: 310 + 0 + 124 h."""
    fitted = [{"engine": "G1", "from": "2024-01-01", "to": "2024-02-01"}, {"engine": "G2", "from": "2024-03-01"}]
    for as_of, hours in (("2024-01-31", 310.0), ("2024-02-29", 310.0), ("2024-03-31", 434.0)):
        finding = overhaul(judged(tmp_path / as_of, as_of, turbo(fitted)))
        assert used_of(finding) == pytest.approx(hours, abs=1e-6)


def test_the_calendar_runs_on_the_shelf(tmp_path: Path) -> None:
    """Removed for good on 1 February: by 31 March it has aged 90 d since New Year, and needs no log to say so."""
    fitted = [{"engine": "G1", "from": "2024-01-01", "to": "2024-02-01"}]
    findings = judged(tmp_path, "2024-03-31", turbo(fitted), rows=steady("2024-01-01", "2024-02-10", 10), gap_h=36)
    finding = overhaul(findings)
    assert leg_of(finding, "calendar").used == 90.0
    assert (finding.standing, used_of(finding)) == ("in_interval", 310.0)
    assert "log_ended" not in fault_kinds(findings, "TC-7")


def test_what_it_ran_before_counts(tmp_path: Path) -> None:
    """Fitted with 11,900 h of its own: 100 h later, when the eleventh day begins, it is at 12,000 h and past them as it runs on."""
    component = turbo([{"engine": "G1", "from": "2024-01-01"}], hours_at_fitting_h=11_900)
    finding = overhaul(judged(tmp_path, "2024-01-11", component))
    assert (finding.standing, used_of(finding)) == ("overdue", 12_010.0)
    assert finding.crossed_at is not None
    assert finding.crossed_at.startswith("2024-01-11T00:00:00")


def test_an_overhaul_before_it_was_fitted_restarts_it(tmp_path: Path) -> None:
    """Overhauled in December with 11,900 h, fitted at New Year: 11 d at 10 h since."""
    component = turbo([{"engine": "G1", "from": "2024-01-01"}], hours_at_fitting_h=11_900)
    record = done("turbo-overhaul", "2023-12-10", 11_900, engine="TC-7")
    finding = overhaul(judged(tmp_path, "2024-01-11", component, services=[record]))
    assert used_of(finding) == pytest.approx(110.0, abs=1e-6)
    assert finding.last_done is not None
    assert (finding.last_done.record, finding.last_done.hour_meter_h) == ("services.csv:2", 11_900.0)
    assert leg_of(finding, "calendar").used == 32.0


def test_records_carry_its_own_hours(tmp_path: Path) -> None:
    """Overhauled on 6 January at its own 11,950 h, which the log agrees with: 60 h by the end of the 11th."""
    component = turbo([{"engine": "G1", "from": "2024-01-01"}], hours_at_fitting_h=11_900)
    record = done("turbo-overhaul", "2024-01-06T00:00", 11_950, engine="TC-7")
    findings = judged(tmp_path, "2024-01-11", component, services=[record])
    # from 6 to 11 January, both whole days
    assert used_of(overhaul(findings)) == pytest.approx(60.0, abs=1e-6)
    assert fault_kinds(findings, "TC-7") == []


def test_hours_at_a_later_fitting_may_tell_of_another_site(tmp_path: Path) -> None:
    """310 h on G1, 1,000 h of its own when it comes back: 690 h ran elsewhere, then 10 d at 4 h on G2."""
    here = {"engine": "G1", "from": "2024-01-01", "to": "2024-02-01"}
    back = {"engine": "G2", "from": "2024-03-01"}
    findings = judged(tmp_path / "a", "2024-03-10", turbo([here, {**back, "hours_at_fitting_h": 1000}]))
    assert used_of(overhaul(findings)) == pytest.approx(1040.0, abs=1e-6)
    findings = judged(tmp_path / "b", "2024-03-10", turbo([here, {**back, "hours_at_fitting_h": 200}]))
    assert used_of(overhaul(findings)) == pytest.approx(350.0, abs=1e-6)
    assert fault_kinds(findings, "TC-7") == ["component_hours_disagree"]


def test_hours_weigh_by_the_duty_they_were_run_at(tmp_path: Path) -> None:
    """10 d on G1 at 95 % load count double: 200 h."""
    rows = steady("2024-01-01", "2024-06-30", 10, load_kw=950)
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    finding = overhaul(
        judged(tmp_path, "2024-01-10", turbo([{"engine": "G1", "from": "2024-01-01"}]), rows=rows, rules={"adjustments": [heavy]})
    )
    assert used_of(finding) == pytest.approx(200.0, abs=1e-6)
    assert "heavy" in rules_fired(finding)


def test_an_engine_is_not_asked_what_a_component_is_and_the_other_way_round(tmp_path: Path) -> None:
    """The oil change is for engines, the overhaul for the turbocharger, and nothing is unknown."""
    findings = judged(tmp_path, "2024-01-11", turbo([{"engine": "G1", "from": "2024-01-01"}]))
    assert [(finding.engine, finding.task) for finding in findings.findings] == [("G1", "oil"), ("G2", "oil"), ("TC-7", "turbo-overhaul")]


def test_a_log_that_ended_leaves_its_hours_open(tmp_path: Path) -> None:
    """On an engine whose log ended it may have run on."""
    component = turbo([{"engine": "G1", "from": "2024-01-01"}], hours_at_fitting_h=11_500)
    findings = judged(tmp_path, "2024-03-31", component, rows=steady("2024-01-01", "2024-02-01", 10), gap_h=36)
    assert leg_of(overhaul(findings)).used is None
    assert overhaul(findings).standing == "unknown"


def test_on_an_engine_that_is_laid_up_it_is_laid_up_too(tmp_path: Path) -> None:
    """310 h until 1 February, laid up since and no row logged: known, and not said to have ended."""
    engines = [{**ENGINES[0], "laid_up": [{"from": "2024-02-01", "to": "2024-09-01"}]}, ENGINES[1]]
    component = turbo([{"engine": "G1", "from": "2024-01-01"}])
    rows = [*steady("2024-01-01", "2024-02-01", 10), *steady("2024-01-01", "2024-06-30", 4, engine="G2")]
    findings = judge(tmp_path, "2024-03-31", [OIL, OVERHAUL], rows, engines=engines, components=[component], gap_h=36)
    assert (overhaul(findings).standing, used_of(overhaul(findings))) == ("in_interval", 310.0)


def test_it_is_not_there_before_it_was_fitted(tmp_path: Path) -> None:
    """On 15 January nothing is known of it."""
    findings = judged(tmp_path, "2024-01-15", turbo([{"engine": "G1", "from": "2024-02-01"}]))
    assert [finding.engine for finding in findings.findings] == ["G1", "G2"]


def test_it_may_be_asked_for_alone_and_explained(tmp_path: Path) -> None:
    """Its id goes where an engine's goes."""
    judged(tmp_path, "2024-01-11", turbo([{"engine": "G1", "from": "2024-01-01"}]))
    site = read_site(tmp_path)
    assert [finding.engine for finding in assess(site, moment("2024-01-11"), engines=["TC-7"]).findings] == ["TC-7"]
    explanation = explain_finding(site, "TC-7", "turbo-overhaul", moment("2024-01-11"))
    assert sum(cell.hours_h for cell in explanation.cells) == pytest.approx(110.0, abs=1e-6)


@pytest.mark.parametrize(
    ("component", "code", "words"),
    [
        (turbo([{"engine": "G3", "from": "2024-01-01"}]), "SIT044", 'no engine has the id "G3"'),
        (
            turbo([{"engine": "G1", "from": "2024-01-01"}, {"engine": "G2", "from": "2024-03-01"}]),
            "SIT043",
            "its removal is not stated",
        ),
        (turbo([{"engine": "G1", "from": "2024-03-01", "to": "2024-01-01"}]), "SIT043", "swapped"),
        ({**turbo([{"engine": "G1", "from": "2024-01-01"}]), "id": "G1"}, "SIT019", "the engine G1"),
        ({"id": "TC-7", "fitted": [{"engine": "G1", "from": "2024-01-01"}]}, "SIT011", "kind"),
        (turbo([]), "SIT016", "1 or more"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, component: Mapping[str, object], code: str, words: str) -> None:
    """With code and words."""
    with pytest.raises(ProblemsError) as caught:
        judged(tmp_path, "2024-01-11", component)
    problems = [problem for problem in caught.value.problems if problem.code == code]
    assert problems
    assert words in f"{problems[0].text} {problems[0].fix}"


def test_a_component_that_no_task_is_for_is_told(tmp_path: Path) -> None:
    """Judged by a rule set that asks of no turbocharger it would be in no report; once it is scrapped nothing is missing."""
    fitted = [{"engine": "G1", "from": "2024-01-01"}]
    findings = judged(tmp_path / "fitted", "2024-03-31", turbo(fitted), tasks=[OIL])
    assert [(fault.engine, fault.kind) for fault in findings.faults] == [("TC-7", "no_task_fits")]
    assert "applies_to: {kind: turbocharger}" in findings.faults[0].text
    gone = turbo([{"engine": "G1", "from": "2024-01-01", "to": "2024-03-01"}], out_of_service="2024-03-01")
    assert judged(tmp_path / "gone", "2024-03-31", gone, tasks=[OIL]).faults == ()
    assert judged(tmp_path / "asked", "2024-03-31", turbo(fitted)).faults == ()
