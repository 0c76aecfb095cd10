"""The recipes of DEVELOPERS.md cost what they say: a window measure one row and one function, a leg of the site's own nothing."""

from __future__ import annotations

from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path

import pytest
from openpyxl import load_workbook

from intervals.arrays import Floats
from intervals.history.window_measures import Measurer, Spans
from intervals.language.conditions import Comparison
from intervals.language.measures import MEASURES, WindowMeasure
from intervals.questions.duty.duty import measure_duty
from intervals.questions.examples.examples import run_examples
from intervals.questions.explain.explain import explain_finding
from intervals.questions.month.monthly import report_month
from intervals.questions.propose.propose import propose_intervals
from intervals.reports.check.sheet import findings_csv
from intervals.reports.check.table import Asked, findings_lines
from intervals.reports.check.workbook import findings_workbook
from intervals.reports.explain.explanation_text import explanation_lines
from intervals.reports.lines import Line
from intervals.reports.month.page import month_page
from intervals.reports.rules.rule_page import rule_set_lines
from intervals.rules.review.lint import lint_ruleset
from intervals.rules.ruleset import RuleSet, load_ruleset
from tests.site_maker import finding_for, judge, leg_of, meter, reason_for, rule, task, write_site

IDLE = "idle_hours_per_start"
IDLES = rule("idles", {IDLE: {"above": 2}}, interval_times=0.5)
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "at_start": {"starts": 0}}


class _Idling(Measurer):
    """The function of the new measure."""

    def idle_hours_per_start(self, spans: Spans) -> Floats:
        """Return running hours below 5 % load per start."""
        idle, _ = self._hours_on(IDLE, spans)
        return idle / self._sum("starts", spans)


@pytest.fixture
def idle_measure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add the new measure: its row and its function, and nothing else."""
    row = WindowMeasure(IDLE, "h", "idle hours per start", counts=("starts",), hours_on=Comparison("load_pct", "<", 5.0))
    monkeypatch.setitem(MEASURES, IDLE, row)
    monkeypatch.setattr(Measurer, IDLE, _Idling.idle_hours_per_start, raising=False)


def text_of(lines: list[Line]) -> str:
    """Return lines as plain text."""
    return "\n".join("".join(piece.text for piece in line) for line in lines)


def write_rules(folder: Path, **more: object) -> Path:
    """Return the rule set of a site that is written with the new measure."""
    rules = {"adjustments": [IDLES], **more}
    write_site(folder, [task(every={"running_hours": 100})], [meter("2024-01-01T00:00", 0)], rules=rules)
    return folder / "rules.yaml"


def written_rules(folder: Path, **more: object) -> RuleSet:
    """Return the same, loaded."""
    return load_ruleset(write_rules(folder, **more))


@pytest.mark.usefixtures("idle_measure")
def test_a_measure_of_one_row_and_one_function_is_judged_and_explained(tmp_path: Path) -> None:
    """10 h at 2 % load and 10 h at 50 %, four starts: 2.5 idle hours per start, and the interval of 100 h is halved."""
    rows = [
        meter("2024-01-01T00:00", 0, starts=0),
        meter("2024-01-02T00:00", 10, starts=2, load_pct=2),
        meter("2024-01-03T00:00", 20, starts=4, load_pct=50),
    ]
    findings = judge(tmp_path, "2024-01-02", [task(every={"running_hours": 100})], rows, engine=ENGINE, rules={"adjustments": [IDLES]})
    found = finding_for(findings)
    assert leg_of(found).allowed == 50.0
    reason = reason_for(found, "idles")
    assert reason.facts[IDLE] == 2.5
    assert reason.text == "interval times 0.5: 2.5 idle hours per start (above 2 idle hours per start)"
    site = write_site(tmp_path, [task(every={"running_hours": 100})], rows, engine=ENGINE, rules={"adjustments": [IDLES]})
    explained = explain_finding(site, "G1", "oil", date(2024, 1, 2))
    assert [(measure.name, measure.value, measure.unit) for measure in explained.measures] == [(IDLE, 2.5, "h")]
    # a measure that takes the starts has them in it where an interval is proposed, and a span of the log can stand for the window
    assert [entry.starts_are_in for entry in propose_intervals(site, date(2024, 1, 2)).proposals] == [True]
    duty = measure_duty(site, date(2024, 1, 2), since=date(2024, 1, 1))
    assert [entry.not_judged for engine in duty.engines for entry in engine.tasks] == [()]


@pytest.mark.usefixtures("idle_measure")
def test_a_measure_of_one_row_and_one_function_is_checked_and_shown(tmp_path: Path) -> None:
    """Its rule set validates and lints, its bounds and its name are known, its examples run, its page shows it."""
    example = {"name": "idling", "task": "oil", "engine": {}, "since_last": {"running_hours": 40, "starts": 2, "load_pct": 3, "days": 5}}
    rules = written_rules(tmp_path, examples=[{**example, "expect": {"allowed": 50, "fired": ["idles"]}}])
    assert [result.text for result in run_examples(rules) if not result.passed] == []
    assert f"when: {IDLE} above 2" in text_of(rule_set_lines(rules))
    problems, warnings = lint_ruleset(write_rules(tmp_path))
    assert not problems
    assert not any(IDLE in problem.text for problem in warnings)
    below = [rule("idles", {IDLE: {"below": 0}}, interval_times=0.5)]
    assert any("can never hold" in problem.text for problem in lint_ruleset(write_rules(tmp_path, adjustments=below))[1])
    slip = [rule("idles", {"idle_hours_per_stat": {"above": 2}}, interval_times=0.5)]
    assert any(f'did you mean "{IDLE}"?' in problem.text for problem in lint_ruleset(write_rules(tmp_path, adjustments=slip))[0])
    hourly = [rule("idles", {IDLE: {"above": 2}}, counts_as=2)]
    assert "known for a window as a whole" in lint_ruleset(write_rules(tmp_path, adjustments=hourly))[0][0].text


OWN_LEGS = {"urea_l": {"unit": "litres", "kind": "amount"}, "pulses": {"unit": "count", "kind": "counter"}}
OWN_TASKS = [task("dosing", every={"urea_l": 50}), task("pump", every={"pulses": 1000}, lead={"pulses": 200})]


def test_a_leg_of_the_sites_own_shows_its_unit_everywhere(tmp_path: Path) -> None:
    """20 and 40 litres of 50 are 10 too many; 900 of 1,000 pulses leave 100: in findings, sentences, explain, sheets and page."""
    rows = [
        meter("2024-01-01T00:00", 0, urea_l=0, pulses=0),
        meter("2024-01-02T00:00", 10, urea_l=20, pulses=500),
        meter("2024-01-03T00:00", 20, urea_l=40, pulses=900),
    ]
    engine = {**ENGINE, "at_start": {"pulses": 0}}
    findings = judge(tmp_path, "2024-01-02", OWN_TASKS, rows, engine=engine, quantities=OWN_LEGS)
    dosing, pump = finding_for(findings, "dosing"), finding_for(findings, "pump")
    assert [leg.unit for leg in (*dosing.legs, *pump.legs)] == ["litres", "pulses"]
    assert dosing.past_by is not None
    assert dosing.past_by.unit == "litres"
    assert dosing.reasons[0].text == "overdue by 10 litres: 60 litres of urea since the first day 2024-01-01, allowed 50"
    assert pump.reasons[0].text == "upcoming, 100 pulses left: 900 pulses since the first day 2024-01-01, allowed 1,000"
    shown = text_of(findings_lines(findings, Asked(str(tmp_path), ("--as-of", "2024-01-02"))))
    assert "60 / 50 litres" in shown
    assert "900 / 1,000 pulses" in shown
    assert ",litres," in findings_csv(findings)
    sheet = load_workbook(BytesIO(findings_workbook(findings)))["findings"]
    assert {"litres", "pulses"} <= {cell for row in sheet.iter_rows(values_only=True) for cell in row}
    site = write_site(tmp_path, OWN_TASKS, rows, engine=engine, quantities=OWN_LEGS)
    told = text_of(explanation_lines(explain_finding(site, "G1", "dosing", date(2024, 1, 2))))
    assert "every 50 = 50 litres" in told
    assert "remaining -10 litres" in told
    report = report_month(site, date(2024, 1, 2), "2024-01")
    page = month_page(report, made_at=datetime(2024, 1, 3, tzinfo=UTC).isoformat(), version="1")
    assert "60 litres" in page
    assert "900 pulses" in page


def test_the_mean_of_a_level_has_the_levels_unit(tmp_path: Path) -> None:
    """6 mm/s over the whole window, under a name that the site declares."""
    rows = [meter("2024-01-01T00:00", 0, vibration=6), meter("2024-01-02T00:00", 10, vibration=6)]
    shakes = rule("shakes", {"mean_vibration": {"above": 5}, "mean_load_pct": {"above": 5}}, interval_times=0.5)
    own = {"vibration": {"unit": "mm/s", "kind": "level"}}
    tasks, rules = [task(every={"running_hours": 100})], {"adjustments": [shakes]}
    site = write_site(tmp_path, tasks, rows, engine=ENGINE, rules=rules, quantities=own)
    found = explain_finding(site, "G1", "oil", date(2024, 1, 1))
    assert [(measure.name, measure.value, measure.unit) for measure in found.measures] == [
        ("mean_vibration", 6.0, "mm/s"),
        ("mean_load_pct", None, "%"),
    ]


def test_a_leg_of_the_sites_own_has_worked_examples(tmp_path: Path) -> None:
    """60 of 50 are used up, whatever the site's unit will be."""
    example = {"name": "spent", "task": "dosing", "engine": {}, "since_last": {"urea_l": 60, "days": 5}, "expect": {"used": 60}}
    write_site(tmp_path, OWN_TASKS, [meter("2024-01-01T00:00", 0)], rules={"examples": [example]})
    assert [result.text for result in run_examples(load_ruleset(tmp_path / "rules.yaml")) if not result.passed] == []
