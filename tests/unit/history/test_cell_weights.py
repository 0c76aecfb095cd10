"""Equivalent hours and what is allowed: weights by the hour, factors on the window, limits, first intervals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals import read_site
from intervals.findings import Finding
from intervals.problems import ProblemsError
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import done, finding_for, judge, leg_of, meter, reason_for, rule, rules_fired, steady, task, used_of

OIL = task(every={"running_hours": 1000, "calendar": "P1Y"})
IN_SERVICE: dict[str, object] = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}
HOT_AND_HEAVY = [meter("2024-01-02T00:00", 10, load_kw=950, oil_temp_c=100)]


def judged(folder: Path, rules: Mapping[str, object], rows: Sequence[Mapping[str, object]] = HOT_AND_HEAVY, **written: Any) -> Finding:  # noqa: ANN401 - passed on
    """Judge an oil change at the end of 1 January, or at `as_of`."""
    as_of, tasks = written.pop("as_of", "2024-01-01"), written.pop("tasks", [OIL])
    written.setdefault("engine", IN_SERVICE)
    return finding_for(judge(folder, as_of, tasks, rows, rules=rules, **written))


HEAVY = rule("heavy", {"load_pct": {"above": 90}}, counts_as=3)
HOT = rule("hot", {"oil_temp_c": {"above": 95}}, counts_as=2)


def test_weights_multiply(tmp_path: Path) -> None:
    """10 h, heavy (3) and hot (2): 60 equivalent hours."""
    finding = judged(tmp_path, {"adjustments": [HEAVY, HOT]})
    assert used_of(finding) == 60.0
    assert rules_fired(finding)[1:] == ["heavy", "hot"]


def test_the_product_is_bounded_above(tmp_path: Path) -> None:
    """counts_as_at_most 4: 10 h count 40."""
    assert used_of(judged(tmp_path, {"adjustments": [HEAVY, HOT], "limits": {"counts_as_at_most": 4}})) == 40.0


def test_a_limit_that_is_not_given_does_not_bind(tmp_path: Path) -> None:
    """A weight of 50 stands where no limit is written."""
    assert used_of(judged(tmp_path, {"adjustments": [rule("harsh", {"load_pct": {"above": 90}}, counts_as=50)]})) == 500.0


def test_a_weight_below_one_lightens(tmp_path: Path) -> None:
    """10 h at 0.5 are 5."""
    assert used_of(judged(tmp_path, {"adjustments": [rule("light", {"load_pct": {"above": 90}}, counts_as=0.5)]})) == 5.0


def test_weights_touch_running_hours_only(tmp_path: Path) -> None:
    """Starts, energy and the calendar are counted as they are."""
    rows = [meter("2024-01-02T00:00", 10, load_kw=950, starts=4, energy_kwh=9000)]
    every = task(every={"running_hours": 1000, "calendar": "P1Y", "starts": 100, "energy_kwh": 1e6})
    engine = {**IN_SERVICE, "at_start": {"starts": 0, "energy_kwh": 0}}
    finding = judged(tmp_path, {"adjustments": [HEAVY]}, rows, tasks=[every], engine=engine, as_of="2024-01-02")
    assert {leg.leg: leg.used for leg in finding.legs} == {"running_hours": 30.0, "calendar": 1.0, "starts": 4.0, "energy_kwh": 9000.0}


def test_a_rule_touches_only_its_tasks(tmp_path: Path) -> None:
    """Plugs are not named by the rule."""
    tasks = [OIL, task("plugs", every={"running_hours": 1000})]
    findings = judge(tmp_path, "2024-01-01", tasks, HOT_AND_HEAVY, engine=IN_SERVICE, rules={"adjustments": [{**HEAVY, "tasks": ["oil"]}]})
    assert (used_of(finding_for(findings)), used_of(finding_for(findings, "plugs"))) == (30.0, 10.0)


def test_a_rule_that_fired_on_no_hour_is_no_reason(tmp_path: Path) -> None:
    """Nothing ran above 90 %."""
    finding = judged(tmp_path, {"adjustments": [HEAVY]}, [meter("2024-01-02T00:00", 10, load_kw=900)])
    assert "heavy" not in rules_fired(finding)


def test_a_rule_may_ask_for_attributes(tmp_path: Path) -> None:
    """Dusty air doubles every hour of the engine that states it."""
    dusty = rule("dusty", {"dusty_air": True}, counts_as=2)
    assert used_of(judged(tmp_path / "a", {"adjustments": [dusty]}, engine={**IN_SERVICE, "attributes": {"dusty_air": True}})) == 20.0
    assert used_of(judged(tmp_path / "b", {"adjustments": [dusty]}, engine={**IN_SERVICE, "attributes": {"dusty_air": False}})) == 10.0


def test_a_missing_attribute_is_named_in_a_reason(tmp_path: Path) -> None:
    """G1 does not say whether its air is dusty: its hours count once, and the reason names the attribute."""
    engines = [{"id": "G1", **IN_SERVICE}, {"id": "G2", "attributes": {"dusty_air": True}}]
    finding = judged(tmp_path, {"adjustments": [rule("dusty", {"dusty_air": True}, counts_as=2)]}, engine=None, engines=engines)
    assert (used_of(finding), finding.unknown_hours_h) == (10.0, 10.0)
    assert "dusty_air" in reason_for(finding, "unknown-dusty").text


def test_any_of_gives_alternatives(tmp_path: Path) -> None:
    """Heavy or hot: either is enough, and both count once."""
    either = rule("either", {"any_of": [{"load_pct": {"above": 99}}, {"oil_temp_c": {"above": 95}}]}, counts_as=2)
    assert used_of(judged(tmp_path, {"adjustments": [either]})) == 20.0


def test_a_window_factor_shortens_the_legs_of_use_and_not_the_calendar(tmp_path: Path) -> None:
    """20 starts in 50 h are 40 per 100 h, above 20: 1,000 x 0.8 = 800 h and 100 x 0.8 = 80 starts, and still 366 d."""
    rows = [meter("2024-01-11T00:00", 50, starts=20)]
    every = task(every={"running_hours": 1000, "calendar": "P1Y", "starts": 100})
    frequent = rule("frequent-starts", {"starts_per_100h": {"above": 20}}, interval_times=0.8)
    finding = judged(
        tmp_path, {"adjustments": [frequent]}, rows, tasks=[every], engine={**IN_SERVICE, "at_start": {"starts": 0}}, as_of="2024-01-10"
    )
    # a year from 1 January 2024 is 1 January 2025, 366 d later
    assert {leg.leg: leg.allowed for leg in finding.legs} == {"running_hours": 800.0, "calendar": 366.0, "starts": 80.0}
    assert leg_of(finding).base == 1000.0
    assert reason_for(finding, "frequent-starts").facts == {"starts_per_100h": 40.0, "interval_times": 0.8}


def test_window_factors_multiply_and_are_bounded_below(tmp_path: Path) -> None:
    """0.5 x 0.4 = 0.2, and not below 0.25 where the limit says so."""
    rules = [
        rule("half", {"days_since": {"at_least": 0}}, interval_times=0.5),
        rule("less", {"running_hours_per_day": {"above": 5}}, interval_times=0.4),
    ]
    assert leg_of(judged(tmp_path / "a", {"adjustments": rules})).allowed == 200.0
    assert leg_of(judged(tmp_path / "b", {"adjustments": rules, "limits": {"interval_times_at_least": 0.25}})).allowed == 250.0


def test_a_window_rule_at_its_threshold(tmp_path: Path) -> None:
    """Exactly 20 starts per 100 h are not above 20."""
    rows = [meter("2024-01-11T00:00", 50, starts=10)]
    frequent = rule("frequent-starts", {"starts_per_100h": {"above": 20}}, interval_times=0.8)
    finding = judged(tmp_path, {"adjustments": [frequent]}, rows, engine={**IN_SERVICE, "at_start": {"starts": 0}}, as_of="2024-01-10")
    assert leg_of(finding).allowed == 1000.0


def test_the_first_interval_replaces_the_legs_it_names(tmp_path: Path) -> None:
    """A new engine's first change after 100 h, the year as ever; after it 1,000 h."""
    oil = task(every={"running_hours": 1000, "calendar": "P1Y"}, first={"running_hours": 100})
    finding = judged(tmp_path / "a", {}, tasks=[oil])
    assert (leg_of(finding).base, leg_of(finding).allowed, leg_of(finding, "calendar").allowed) == (1000.0, 100.0, 366.0)
    later = judged(
        tmp_path / "b",
        {},
        steady("2024-01-01", "2024-01-20", 10),
        tasks=[oil],
        as_of="2024-01-15",
        services=[done("oil", "2024-01-05T00:00")],
    )
    assert leg_of(later).allowed == 1000.0


def test_a_factor_applies_to_the_first_interval_too(tmp_path: Path) -> None:
    """First 100 h x 0.5 = 50 h."""
    oil = task(every={"running_hours": 1000}, first={"running_hours": 100})
    half = rule("half", {"days_since": {"at_least": 0}}, interval_times=0.5)
    assert leg_of(judged(tmp_path, {"adjustments": [half]}, tasks=[oil])).allowed == 50.0


def test_an_interval_may_become_another(tmp_path: Path) -> None:
    """An extended pan allows 3,000 h; the calendar leg, which is not named, stays."""
    extended = rule("extended", {"extended_pan": True}, interval_becomes={"running_hours": 3000})
    finding = judged(tmp_path, {"adjustments": [extended]}, engine={**IN_SERVICE, "attributes": {"extended_pan": True}})
    assert (leg_of(finding).base, leg_of(finding).allowed, leg_of(finding, "calendar").allowed) == (1000.0, 3000.0, 366.0)


def test_of_several_replacements_the_shortest_stands_then_the_factors_apply(tmp_path: Path) -> None:
    """3,000 h and 1,500 h: 1,500 h, x 0.5 = 750 h; calendar P2Y and P6M: P6M, 182 d from 1 January 2024 to 1 July."""
    rules = [
        rule("pan", {"days_since": {"at_least": 0}}, interval_becomes={"running_hours": 3000, "calendar": "P2Y"}),
        rule("filter", {"days_since": {"at_least": 0}}, interval_becomes={"running_hours": 1500, "calendar": "P6M"}),
        rule("half", {"days_since": {"at_least": 0}}, interval_times=0.5),
    ]
    finding = judged(tmp_path, {"adjustments": rules})
    assert (leg_of(finding).allowed, leg_of(finding, "calendar").allowed) == (750.0, 182.0)


@pytest.mark.parametrize(
    ("more", "sum_of_allowed"),
    [
        ({}, "every 1,000, by pan, filter 1,500 x 0.5 = 750 h"),
        ({"first": {"running_hours": 100}}, "first 100 x 0.5 = 50 h"),
        ({"first": {"running_hours": 2000}}, "first 2,000, by pan, filter 1,500 x 0.5 = 750 h"),
    ],
)
def test_the_sum_of_what_is_allowed_can_be_done_again(tmp_path: Path, more: dict[str, Any], sum_of_allowed: str) -> None:
    """1,500 h of the two replacements, or of `first` if that is shorter, x 0.5; explain names the rules that made it another interval."""
    rules = [
        rule("pan", {"days_since": {"at_least": 0}}, interval_becomes={"running_hours": 3000}),
        rule("filter", {"days_since": {"at_least": 0}}, interval_becomes={"running_hours": 1500}),
        rule("half", {"days_since": {"at_least": 0}}, interval_times=0.5),
    ]
    judged(tmp_path, {"adjustments": rules}, tasks=[task(every={"running_hours": 1000}, **more)])
    steps = explain_finding(read_site(tmp_path), "G1", "oil", date(2024, 1, 1)).steps
    assert [step.sum for step in steps if step.label == "running_hours allowed"] == [sum_of_allowed]


def test_an_overhaul_makes_tasks_new(tmp_path: Path) -> None:
    """After the overhaul the oil starts at zero again, with its first interval."""
    tasks = [
        task(every={"running_hours": 1000}, first={"running_hours": 100}),
        task("overhaul", every={"running_hours": 30000}, makes_new=["oil"]),
        task("plugs", every={"running_hours": 500}),
    ]
    services = [done("oil", "2024-01-05T00:00"), done("overhaul", "2024-01-11T00:00")]
    findings = judge(tmp_path, "2024-01-12", tasks, steady("2024-01-01", "2024-01-20", 10), engine=IN_SERVICE, services=services)
    assert (used_of(finding_for(findings)), leg_of(finding_for(findings)).allowed) == (20.0, 100.0)
    assert used_of(finding_for(findings, "plugs")) == 120.0


def test_an_overhaul_may_make_all_tasks_new(tmp_path: Path) -> None:
    """makes_new: all."""
    tasks = [
        task(every={"running_hours": 1000}, first={"running_hours": 100}),
        task("overhaul", every={"running_hours": 30000}, makes_new="all"),
        task("plugs", every={"running_hours": 500}, first={"running_hours": 50}),
    ]
    findings = judge(
        tmp_path,
        "2024-01-12",
        tasks,
        steady("2024-01-01", "2024-01-20", 10),
        engine=IN_SERVICE,
        services=[done("overhaul", "2024-01-11T00:00")],
    )
    assert leg_of(finding_for(findings)).allowed == 100.0
    assert (leg_of(finding_for(findings, "plugs")).allowed, used_of(finding_for(findings, "plugs"))) == (50.0, 20.0)


@pytest.mark.parametrize(
    ("when", "fires"),
    [
        # 4 h at 100 %, 4 h at 80 %, 2 h unknown: mean (400 + 320) / 8 = 90
        ({"mean_load_pct": {"at_least": 90}}, True),
        ({"mean_load_pct": {"above": 90}}, False),
        # above 90 %: 4 of the 8 known hours, 50 %
        ({"hours_share_pct": {"heavy": {"at_least": 50}}}, True),
        ({"hours_share_pct": {"heavy": {"above": 50}}}, False),
        # 10 h in a day
        ({"running_hours_per_day": {"at_least": 10}}, True),
        ({"running_hours_per_day": {"above": 10}}, False),
        # 5 starts in 10 h
        ({"starts_per_100h": {"at_least": 50}}, True),
        ({"starts_per_100h": {"above": 50}}, False),
        # 2 L x 0.88 kg/L = 1,760 g on 8,800 kWh: 0.2 g/kWh
        ({"oil_consumption_g_per_kwh": {"at_least": 0.2}}, True),
        ({"oil_consumption_g_per_kwh": {"above": 0.2}}, False),
        ({"days_since": {"at_most": 0}}, True),
        ({"days_since": {"at_least": 1}}, False),
    ],
)
def test_window_measures(tmp_path: Path, when: Mapping[str, object], fires: bool) -> None:
    """Each measure of a window against the hand-reckoned figure, at the threshold and just beside it."""
    rows = [
        meter("2024-01-01T08:00", 4, load_pct=100, starts=1, energy_kwh=4000, oil_added_l=1),
        meter("2024-01-01T16:00", 8, load_pct=80, starts=3, energy_kwh=7000, oil_added_l=""),
        meter("2024-01-02T00:00", 10, load_pct="", starts=5, energy_kwh=8800, oil_added_l=1),
    ]
    rules = {"conditions": {"heavy": {"load_pct": {"above": 90}}}, "adjustments": [rule("measured", when, interval_times=0.5)]}
    engine = {**IN_SERVICE, "at_start": {"starts": 0, "energy_kwh": 0}}
    # load is logged as such: nothing is derived from the energy
    finding = judged(tmp_path, rules, rows, engine={key: value for key, value in engine.items() if key != "rated_kw"})
    assert leg_of(finding).allowed == (500.0 if fires else 1000.0)


@pytest.mark.parametrize(("share", "fires"), [(0.4, True), (0.400001, False), (None, False)])
def test_a_mean_is_unknown_under_its_known_share(tmp_path: Path, share: float | None, fires: bool) -> None:
    """The load is known on 4 of 10 h: known where 0.4 is enough, unknown at the default of 0.5."""
    rows = [meter("2024-01-01T12:00", 4, load_pct=100), meter("2024-01-02T00:00", 10, load_pct="")]
    keys = {} if share is None else {"known_share_at_least": share}
    measured = rule("measured", {"mean_load_pct": {"above": 90}}, interval_times=0.5, **keys)
    finding = judged(tmp_path, {"adjustments": [measured]}, rows)
    assert leg_of(finding).allowed == (500.0 if fires else 1000.0)
    assert ("unknown-measured" in rules_fired(finding)) is not fires


def test_an_unknown_measure_may_hold(tmp_path: Path) -> None:
    """when_unknown: holds shortens the interval where the mean cannot be told."""
    measured = rule("measured", {"mean_load_pct": {"above": 90}}, interval_times=0.5, when_unknown="holds")
    assert leg_of(judged(tmp_path, {"adjustments": [measured]}, [meter("2024-01-02T00:00", 10)])).allowed == 500.0


def test_means_are_taken_over_the_window_and_no_more(tmp_path: Path) -> None:
    """A heavy day before the completion does not count in the window after it."""
    rows = [meter("2024-01-02T00:00", 10, load_kw=950), meter("2024-01-03T00:00", 20, load_kw=500)]
    measured = rule("measured", {"mean_load_kw": {"above": 600}}, interval_times=0.5)
    finding = judged(tmp_path, {"adjustments": [measured]}, rows, as_of="2024-01-02", services=[done("oil", "2024-01-02T00:00")])
    assert leg_of(finding).allowed == 1000.0


def test_the_printed_example_adds_up(tmp_path: Path) -> None:
    """2,102.5 h, of which 417 h above 90 % load count 1.5 times, are 2,311 equivalent hours, 311 past 2,000."""
    # DESIGN section 7: used 2311.0, running 2102.5, remaining -311.0, consumed 1.1555; calendar 151 of 365 d
    rows = [
        meter("2026-06-02T10:15", 18210, load_kw=1000),
        meter("2026-07-01T00:00", 18627, load_kw=1100),
        meter("2026-11-01T00:00", 20312.5, load_kw=1000),
    ]
    oil = task("oil-change", every={"running_hours": 2000, "calendar": "P1Y"})
    finding = finding_for(
        judge(
            tmp_path, "2026-10-31", [oil], rows, engine={"rated_kw": 1200}, time_zone="Europe/Amsterdam",
            services=[done("oil-change", "2026-06-02T10:15")],
            rules={"adjustments": [rule("heavy-load", {"load_pct": {"above": 90}}, counts_as=1.5)]},
        ),
        "oil-change",
    )  # fmt: skip
    leg = leg_of(finding)
    assert (leg.used, leg.allowed, leg.remaining, leg.consumed, leg.running_hours_h) == (2311.0, 2000.0, -311.0, 1.1555, 2102.5)
    calendar = leg_of(finding, "calendar")
    assert (calendar.used, calendar.allowed, calendar.remaining, calendar.consumed) == (151.0, 365.0, 214.0, 0.413699)
    assert finding.past_by is not None
    assert (finding.standing, finding.past_by.value, finding.past_by.unit) == ("overdue", 311.0, "h")
    assert reason_for(finding, "heavy-load").facts == {"hours_h": 417.0, "counts_as": 1.5}


def test_a_replaced_leg_must_be_one_of_the_tasks(tmp_path: Path) -> None:
    """`first` or `interval_becomes` with a leg that `every` does not have replaces nothing: it is refused, not passed over."""
    with pytest.raises(ProblemsError):
        judged(tmp_path / "a", {}, tasks=[task(every={"running_hours": 1000}, first={"calendar": "P5D"})])
    becomes = rule("becomes", {"days_since": {"at_least": 0}}, interval_becomes={"calendar": "P5D"})
    with pytest.raises(ProblemsError):
        judged(tmp_path / "b", {"adjustments": [becomes]}, tasks=[task(every={"running_hours": 1000})])
