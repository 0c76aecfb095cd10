"""`unknown: true`: hours of which no table says what they count, and windows of which none says what they last."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding, Findings
from intervals.language.durations import parse_step
from intervals.language.legs import CALENDAR
from intervals.questions.duty.duty import measure_duty
from intervals.questions.explain.explain import explain_finding
from intervals.rules.effects.known_effects import Unknown
from tests.site_maker import done, finding_for, judge, leg_of, moment, reason_for, rule, rules_fired, steady, task

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 100}
BANDS = [
    rule("half", {"fuel_sulphur_pct": {"above": 0.5, "at_most": 2}}, counts_as=2),
    rule("beyond", {"fuel_sulphur_pct": {"above": 2}}, unknown=True),
]
WHOLE = [rule("overloaded", {"mean_load_pct": {"above": 100}}, unknown=True)]


def rows_of(*spells: tuple[str, str, float, float]) -> list[dict[str, object]]:
    """Return rows of 10 h a day: spells of (first day, last day, sulphur %, load kW), the meter going on."""
    rows: list[dict[str, object]] = []
    for first, last, sulphur, load in spells:
        start = float(str(rows[-1]["hour_meter_h"])) if rows else 0.0
        more = steady(first, last, 10, start_h=start, fuel_sulphur_pct=sulphur, load_kw=load)
        rows += more if not rows else more[1:]
    return rows


# 300 h on 1 % sulphur, then a day of 10 h on 3 %, then 1 % again
A_DAY_BEYOND = rows_of(("2024-01-01", "2024-01-31", 1, 50), ("2024-01-31", "2024-02-01", 3, 50), ("2024-02-01", "2024-05-31", 1, 50))


def judged(folder: Path, as_of: str, every: object, rules: list[dict[str, object]], **keys: Any) -> Findings:  # noqa: ANN401 - what `judge` takes
    """Judge an oil change."""
    rows = keys.pop("rows", A_DAY_BEYOND)
    return judge(folder, as_of, [task("oil", every=every, **keys)], rows, engine=ENGINE, rules={"adjustments": rules})


def found(folder: Path, as_of: str, every: object, rules: list[dict[str, object]], **keys: Any) -> Finding:  # noqa: ANN401 - what `judge` takes
    """Return the finding of the oil change."""
    return finding_for(judged(folder, as_of, every, rules, **keys))


def test_hours_outside_of_the_bands_leave_the_leg_unknown(tmp_path: Path) -> None:
    """Up to 31 January 600 of 1,000 equivalent hours; the 10 h on 3 % of that day are no ordinary hours, and no figure is given."""
    before = found(tmp_path / "a", "2024-01-30", {"running_hours": 1000}, BANDS)
    assert (before.standing, leg_of(before).used) == ("in_interval", 600.0)
    after = found(tmp_path / "b", "2024-02-05", {"running_hours": 1000}, BANDS)
    assert (after.standing, leg_of(after).used, after.forecast) == ("unknown", None, None)
    assert after.reasons[0].text == "unknown: running hours: 10 h above 2 % fuel sulphur have no known interval (beyond)"
    reason = reason_for(after, "beyond")
    assert (reason.text, reason.facts) == ("10 h above 2 % fuel sulphur have no known interval", {"hours_h": 10.0})


def test_what_is_past_its_line_without_them_is_overdue(tmp_path: Path) -> None:
    """Up to the end of 1 March another 300 h have run on 1 %: 600 more, 1,200 of 1,000 whatever the 10 h counted."""
    finding = found(tmp_path, "2024-03-01", {"running_hours": 1000}, BANDS)
    leg = leg_of(finding)
    assert (finding.standing, leg.used, leg.allowed) == ("overdue", 1200.0, 1000.0)
    assert "beyond" in rules_fired(finding)


def test_the_calendar_leg_is_not_weighed(tmp_path: Path) -> None:
    """Hours are outside of the bands, days are not: six months on from 1 January it is overdue by its date."""
    finding = found(tmp_path, "2024-04-02", {"running_hours": 9000, "calendar": "P3M"}, BANDS)
    assert (finding.standing, finding.governing, finding.due_on) == ("overdue", "calendar", "2024-04-01")


def test_a_window_without_such_hours_is_known(tmp_path: Path) -> None:
    """Done on 3 February, after the hours on 3 %: 20 h on 1 % count 40 by the 4th."""
    written = [task("oil", every={"running_hours": 1000})]
    services = [done("oil", "2024-02-03T00:00")]
    findings = judge(tmp_path, "2024-02-04", written, A_DAY_BEYOND, engine=ENGINE, services=services, rules={"adjustments": BANDS})
    assert (finding_for(findings).standing, leg_of(finding_for(findings)).used) == ("in_interval", 40.0)


def test_a_closed_window_with_such_hours_is_not_called_on_time_or_late(tmp_path: Path) -> None:
    """Without those hours 780 h were used by 10 February: of 300 h one due point more was passed over at least, of 2,000 h none."""
    services = [done("oil", "2024-02-10T00:00")]
    for allowed, missed in ((300, 1), (2000, 0)):
        written = [task("oil", every={"running_hours": allowed})]
        findings = judge(
            tmp_path / str(allowed), "2024-02-12", written, A_DAY_BEYOND, engine=ENGINE, services=services, rules={"adjustments": BANDS}
        )
        assert len([entry for entry in findings.skipped if entry.kind == "missed"]) == missed


def test_unknown_sulphur_is_reported_and_not_taken_for_outside(tmp_path: Path) -> None:
    """Without a value the rule does not hold; with `when_unknown: holds` it does."""
    rows = steady("2024-01-01", "2024-01-31", 10)
    assert found(tmp_path / "a", "2024-01-20", {"running_hours": 1000}, BANDS, rows=rows).standing == "in_interval"
    beyond = [{**BANDS[1], "when_unknown": "holds"}]
    assert found(tmp_path / "b", "2024-01-20", {"running_hours": 1000}, beyond, rows=rows).standing == "unknown"


@pytest.mark.parametrize(("load", "standing"), [(100, "in_interval"), (101, "unknown")])
def test_a_window_beyond_what_is_given_is_unknown_in_every_leg(tmp_path: Path, load: float, standing: str) -> None:
    """On average above its rating no interval is known: neither of hours nor of days."""
    rows = rows_of(("2024-01-01", "2024-01-31", 1, load))
    finding = found(tmp_path, "2024-01-20", {"running_hours": 1000, "calendar": "P1Y"}, WHOLE, rows=rows)
    assert finding.standing == standing
    if standing == "unknown":
        assert {(leg.used, leg.consumed) for leg in finding.legs} == {(None, None)}
        assert (finding.governing, finding.due_on, finding.forecast) == (None, None, None)
        why = "no interval is known with mean load pct above 100 (overloaded)"
        assert finding.reasons[0].text == f"unknown: running hours: {why}; calendar: {why}"


def test_a_window_beyond_is_never_overdue(tmp_path: Path) -> None:
    """300 h of 100, a month of a week: unknown all the same, and nothing is called missed."""
    rows = rows_of(("2024-01-01", "2024-01-31", 1, 120))
    findings = judged(tmp_path, "2024-01-30", {"running_hours": 100, "calendar": "P7D"}, WHOLE, rows=rows)
    assert (finding_for(findings).standing, findings.skipped) == ("unknown", ())


def test_an_engine_outside_is_unknown_as_a_whole(tmp_path: Path) -> None:
    """A rule that asks for what the engine states is judged on the window, calendar and all."""
    fuel = [rule("foreign-fuel", {"fuel": "biogas"}, unknown=True)]
    rows = rows_of(("2024-01-01", "2024-01-31", 1, 50))
    written = [task("oil", every={"calendar": "P7D"})]
    findings = judge(tmp_path, "2024-01-20", written, rows, engine={**ENGINE, "fuel": "biogas"}, rules={"adjustments": fuel})
    assert finding_for(findings).standing == "unknown"


def test_no_month_calls_an_unknown_window_late(tmp_path: Path) -> None:
    """Nothing is on time or late where no interval is known; without the rule four weeks would have been."""
    rows = rows_of(("2024-01-01", "2024-01-31", 1, 120))
    written = [task("oil", every={"calendar": "P7D"})]
    months = [
        judge(tmp_path / name, "2024-01-31", written, rows, engine=ENGINE, rules={"adjustments": rules}, month="2024-01")
        for name, rules in (("known", []), ("beyond", WHOLE))
    ]
    # due on the 8th, 15th, 22nd and 29th
    assert [each.compliance.late for each in months if each.compliance is not None] == [4, 0]


def test_duty_and_explain_say_so(tmp_path: Path) -> None:
    """How long an interval lasts is not known of hours outside; explain names them."""
    judged(tmp_path, "2024-02-05", {"running_hours": 1000}, BANDS)
    site = read_site(tmp_path)
    duty = measure_duty(site, moment("2024-02-05"))
    assert duty.engines[0].tasks[0].effective_h is None
    steps = {step.label: step.sum for step in explain_finding(site, "G1", "oil", moment("2024-02-05")).steps}
    assert steps["running_hours used"] == "unknown: 10 h above 2 % fuel sulphur have no known interval (beyond)"


def test_the_effect_itself() -> None:
    """An hour counts nothing that is known, every leg is touched, and two such rules say no more than one."""
    effect = Unknown(True)
    assert (Unknown.weigh(2.0, [effect], None), effect.touches(CALENDAR), effect.facts) == (0.0, True, {})  # type: ignore[arg-type]
    assert effect.changed(CALENDAR, parse_step("P1Y")) == parse_step("P1Y")
    assert effect.together_with(effect) == "there the interval is unknown by either"
