"""How hard an engine ran, judged through written site folders."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.duty.duty import measure_duty
from intervals.questions.duty.duty_fuel import diesel_sulphur_pct
from intervals.questions.duty.duty_models import EngineDuty, TaskDuty
from tests.site_maker import Row, meter, rule, steady, task, write_site

OIL = task("oil", every={"running_hours": 2000, "calendar": "P1Y"})
ENGINE = {"rated_kw": 1000, "in_service": "2024-01-01", "meter_at_start_h": 0}


def duty_of(
    folder: Path, rows: Sequence[Row], *, until: str = "2024-01-01", since: str = "2024-01-01", tasks: Sequence[dict[str, object]] = (OIL,),
    **written: Any,  # noqa: ANN401 - what `write_site` takes
) -> EngineDuty:  # fmt: skip
    """Write a site and return the duty of its one engine."""
    site = write_site(folder, tasks, rows, **{"engine": ENGINE, **written})
    (found,) = measure_duty(site, date.fromisoformat(until), since=date.fromisoformat(since)).engines
    return found


def hours_of(*steps: tuple[float, float]) -> list[dict[str, object]]:
    """Return rows for loads in kW and hours that follow one another on 1 January 2024; at 0 kW the engine stands."""
    rows, clock_h, meter_h = [], 0.0, 0.0
    for load_kw, hours in steps:
        clock_h += hours
        meter_h += hours if load_kw else 0.0
        at = f"2024-01-{1 + int(clock_h // 24):02d}T{int(clock_h % 24):02d}:{round(clock_h % 1 * 60):02d}"
        rows.append(meter(at, round(meter_h, 6), load_kw=load_kw or ""))
    return rows


# ISO 8528-1, formula from memory, high confidence (CHECKS section 3)
P1 = hours_of((950, 4), (800, 6), (600, 6), (200, 4), (0, 4))


def test_average_power_counts_no_load_below_30_per_cent_and_no_standstill(tmp_path: Path) -> None:
    """P1: (950 x 4 + 800 x 6 + 600 x 6 + 300 x 4) / 20 h = 670.0 kW; without the floor 650.0; not 541.7 over all 24 h."""
    load = duty_of(tmp_path, P1).load
    assert (load.average_power_kw, load.average_power_pct) == (670.0, 67.0)
    assert (load.without_floor_kw, load.without_floor_pct) == (650.0, 65.0)


def test_light_running_counts_as_30_per_cent(tmp_path: Path) -> None:
    """P3: 100 kW for 24 h are 300 kW, 30 %."""
    load = duty_of(tmp_path, hours_of((100, 24))).load
    assert (load.average_power_kw, load.average_power_pct, load.without_floor_kw) == (300.0, 30.0, 100.0)


def test_standstill_has_no_average(tmp_path: Path) -> None:
    """P5: 24 h at a standstill have no average power, no heaviest hours, no interval that lasts so or so long."""
    duty = duty_of(tmp_path, hours_of((0, 24)))
    assert (duty.load.average_power_pct, duty.load.without_floor_kw, duty.heaviest_24h, duty.running_hours_h) == (None, None, None, 0.0)
    assert (duty.tasks[0].effective_h, duty.load.light_share_pct, duty.hours_per_start) == (None, None, None)


def test_hours_a_start_are_those_in_which_starts_are_counted(tmp_path: Path) -> None:
    """10 h and two starts after the first row; the hours before it, in which no one counted starts, belong to none."""
    rows = [meter("2024-01-02T00:00", 320, starts=40), meter("2024-01-03T00:00", 330, starts=42)]
    duty = duty_of(tmp_path, rows, until="2024-01-02", engine={**ENGINE, "in_service": "2023-12-01"})
    assert (duty.running_hours_h, duty.starts, duty.hours_per_start) == (20.0, 2.0, 5.0)


def test_hours_by_load(tmp_path: Path) -> None:
    """A class holds its upper end: 30 % is no light load and exactly rated is not above rated."""
    rows = hours_of((299, 1), (300, 2), (1000, 3), (1001, 4), (1250, 5), (100, 1))
    rows.append(meter("2024-01-01T18:00", 18))
    load = duty_of(tmp_path, rows).load
    hours = {entry.above_pct: entry.hours_h for entry in load.classes if entry.hours_h}
    assert hours == {0.0: 1.0, 20.0: 3.0, 90.0: 3.0, 100.0: 4.0, 120.0: 5.0}
    assert load.unknown_h == 2.0
    # of the 16 h that are known: 1 + 1 h below 30 %, 4 + 5 h above rated
    assert (load.light_share_pct, load.above_rated_share_pct) == (12.5, 56.25)


def test_the_heaviest_24_hours_are_hours_of_running(tmp_path: Path) -> None:
    """12 h at 80 %, 12 h of standstill, 12 h at 70 %, then 40 %: 24 h of running at 75 %, from the first hour to the 36th."""
    rows = hours_of((800, 12), (0, 12), (700, 12), (400, 12))
    heaviest = duty_of(tmp_path, rows, until="2024-01-02").heaviest_24h
    assert heaviest is not None
    assert (heaviest.average_power_pct, heaviest.running_hours_h) == (75.0, 24.0)
    assert (heaviest.from_at, heaviest.to_at) == ("2024-01-01T00:00:00+00:00", "2024-01-02T12:00:00+00:00")


@pytest.mark.parametrize(
    ("duty", "rows", "rule_fired", "verdict"),
    [
        ("prime", hours_of((700, 24)), "within-prime-average", "within"),
        ("prime", hours_of((701, 24)), "beyond-prime-average", "beyond"),
        ("prime", [meter("2024-01-01T10:00", 10)], "prime-average-unknown", "unknown"),
        ("continuous", hours_of((1000, 24)), "no-rating-limit", "no_limit"),
        (None, hours_of((1000, 24)), "rating-unstated", "unknown"),
        # 20 h a day for ten days are 200 h; an hour more is beyond
        ("standby", steady("2024-01-01", "2024-01-11", 20), "within-standby-hours", "within"),
        ("standby", [*steady("2024-01-01", "2024-01-11", 20), meter("2024-01-11T10:00", 201)], "beyond-standby-hours", "beyond"),
        ("limited-time", [meter("2024-01-25T00:00", 500)], "within-limited-time-hours", "within"),
        ("limited-time", [meter("2024-01-25T00:00", 500.5)], "beyond-limited-time-hours", "beyond"),
    ],
)
def test_a_rating_is_held_against_the_running(tmp_path: Path, duty: str | None, rows: Sequence[Row], rule_fired: str, verdict: str) -> None:
    """Prime: at most 70 % on average over any 24 h; emergency standby at most 200 h, limited-time 500 h a year (ISO 8528-1, told)."""
    engine = ENGINE if duty is None else {**ENGINE, "duty": duty}
    rating = duty_of(tmp_path, rows, until="2024-01-31", engine=engine).rating
    assert (rating.rule, rating.verdict) == (rule_fired, verdict)


def test_a_year_of_standby_is_any_365_days(tmp_path: Path) -> None:
    """150 h in December and 60 h in January lie in one year of 365 days, though in two by the calendar."""
    rows = [meter("2024-12-01T00:00", 0), meter("2024-12-31T00:00", 150), meter("2025-01-10T00:00", 150), meter("2025-01-20T00:00", 210)]
    rows.append(meter("2025-12-31T00:00", 210))
    duty = duty_of(tmp_path, rows, until="2025-12-30", engine={**ENGINE, "duty": "standby"})
    assert duty.rating.facts["hours_in_a_year"] == 210.0
    assert duty.rating.rule == "beyond-standby-hours"


def test_the_longest_light_running_has_no_stop_in_it(tmp_path: Path) -> None:
    """3 h light, 1 h heavy, 2 h light, a stop of an hour, 4 h light with a start counted after the first: 3 h are the longest."""
    rows = [
        meter("2024-01-01T03:00", 3, load_kw=200, starts=1),
        meter("2024-01-01T04:00", 4, load_kw=800, starts=1),
        meter("2024-01-01T06:00", 6, load_kw=250, starts=1),
        meter("2024-01-01T07:00", 6, load_kw="", starts=1),
        meter("2024-01-01T08:00", 7, load_kw=200, starts=2),
        meter("2024-01-01T09:00", 8, load_kw=200, starts=3),
        meter("2024-01-01T10:00", 9, load_kw=299, starts=3),
        meter("2024-01-01T10:54", 9.9, load_kw=299, starts=3),
        meter("2024-01-01T11:00", 10, load_kw=300, starts=3),
    ]
    engine = {**ENGINE, "at_start": {"starts": 0}}
    stretch = duty_of(tmp_path, rows, engine=engine).longest_light_load
    assert stretch is not None
    assert (stretch.hours_h, stretch.from_at, stretch.to_at) == (3.0, "2024-01-01T00:00:00+00:00", "2024-01-01T03:00:00+00:00")


def test_without_a_count_of_starts_a_row_that_ran_in_part_bounds_a_run(tmp_path: Path) -> None:
    """Weekly rows of half an hour each are runs of half an hour; an hour run in part before or after full ones belongs to one."""
    weekly = [meter(f"2024-01-{day:02d}T00:00", hours, load_kw=200) for day, hours in ((8, 0.5), (15, 1.0), (22, 1.5))]
    stretch = duty_of(tmp_path / "a", weekly, until="2024-01-31").longest_light_load
    assert stretch is not None
    assert stretch.hours_h == 0.5
    hourly = [
        meter(f"2024-01-01T{hour:02d}:00", hours, load_kw=200)
        for hour, hours in ((1, 0.4), (2, 1.4), (3, 2.4), (4, 2.9), (5, 3.4), (6, 4.4))
    ]
    stretch = duty_of(tmp_path / "b", hourly).longest_light_load
    assert stretch is not None
    # 0.4 + 1 + 1 + 0.5 h, then a stop inside 03:00 to 05:00
    assert stretch.hours_h == 2.9


def test_sulphur_by_hours_and_by_fuel(tmp_path: Path) -> None:
    """10 h at 0.1 % with 100 kg, 5 h at 1.0 % with 200 kg: 0.4 % of the hours, (10 + 200) / 300 = 0.7 % of the fuel."""
    rows = [
        meter("2024-01-01T10:00", 10, fuel_sulphur_pct=0.1, fuel_kg=100),
        meter("2024-01-01T15:00", 15, fuel_sulphur_pct=1.0, fuel_kg=200),
    ]
    fuel = duty_of(tmp_path, rows).fuel
    assert fuel.sulphur is not None
    assert (fuel.sulphur.mean, fuel.sulphur.highest, fuel.sulphur.nearly_highest, fuel.sulphur.lowest) == (0.4, 1.0, 1.0, 0.1)
    assert (fuel.sulphur_by_fuel_pct, fuel.weighed_by, fuel.sulphur.known_share_pct) == (0.7, "fuel_kg", 100.0)
    assert fuel.sulphur.highest_at == "2024-01-01T10:00:00+00:00"


def test_sulphur_shortens_the_oil_hour_by_hour(tmp_path: Path) -> None:
    """Normal 250 h (TM 5-3820-256-24-3 p. 4-3, read): at 1.0 % it is 125 h; of 20 h, 5 at 0.8 % counting twice, 250 x 20 / 25 = 200 h."""
    oil = task("oil", every={"running_hours": 250})
    half = rule("sulphur-half", {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1.0}}, counts_as=2)
    rows = [meter("2024-01-01T15:00", 15, fuel_sulphur_pct=0.3), meter("2024-01-01T20:00", 20, fuel_sulphur_pct=0.8)]
    found = duty_of(tmp_path / "a", rows, tasks=[oil], rules={"adjustments": [half]}).tasks[0]
    assert (found.base_h, found.equivalent_ratio, found.effective_h, found.rules) == (250.0, 1.25, 200.0, ("sulphur-half",))
    assert found.text == "G1 oil lasts 200 h, not 250 (sulphur-half)"
    bad = [meter("2024-01-01T20:00", 20, fuel_sulphur_pct=1.0)]
    assert duty_of(tmp_path / "b", bad, tasks=[oil], rules={"adjustments": [half]}).tasks[0].effective_h == 125.0


@pytest.mark.outside("2.8")
def test_hydrogen_sulphide_is_told_as_diesel(tmp_path: Path) -> None:
    """1,000 ppmv H2S in 60 % methane carries as much sulphur per MJ as diesel of 0.284 % (worked)."""
    assert diesel_sulphur_pct(1000, 60) == pytest.approx(0.284, abs=5e-4)
    rows = [meter("2024-01-01T10:00", 10, fuel_h2s_ppm=500), meter("2024-01-01T20:00", 20, fuel_h2s_ppm=1500)]
    fuel = duty_of(tmp_path / "a", rows).fuel
    assert (fuel.methane_pct, fuel.methane_from) == (60.0, "assumed")
    assert fuel.like_diesel_of_sulphur_pct == pytest.approx(0.284, abs=5e-4)
    assert fuel.peak_like_diesel_of_sulphur_pct == pytest.approx(1.5 * 0.284, abs=1e-3)
    stated = duty_of(tmp_path / "b", rows, engine={**ENGINE, "attributes": {"fuel_ch4_pct": 50}}).fuel
    assert (stated.methane_pct, stated.methane_from) == (50.0, "engine")
    # half the methane is half the energy, so twice the sulphur per MJ; 50 of 60 % is 1.2 times
    assert stated.like_diesel_of_sulphur_pct == pytest.approx(1.2 * 0.284, abs=1e-3)
    logged = [{**row, "fuel_ch4_pct": 30} for row in rows]
    by_log = duty_of(tmp_path / "c", logged, quantities={"fuel_ch4_pct": {"unit": "percent", "kind": "level"}}).fuel
    assert (by_log.methane_pct, by_log.methane_from) == (30.0, "log")


def test_oil_consumption_and_its_trend(tmp_path: Path) -> None:
    """Three months of 500 h at 100 MWh: 20, 30 and 40 g per 100 kWh rise by 0.1 g/kWh in 500 h, 0.2 in 1,000 h."""
    # at 0.88 kg/L, 100,000 kWh x 0.2 g/kWh = 20 kg are 22.727273 L
    rows = [
        meter(at, hours, energy_kwh=energy, oil_added_l=litres)
        for at, hours, energy, litres in (
            ("2024-02-01T00:00", 500, 100_000, 20 / 0.88),
            ("2024-03-01T00:00", 1000, 200_000, 30 / 0.88),
            ("2024-04-01T00:00", 1500, 300_000, 40 / 0.88),
        )
    ]
    engine = {**ENGINE, "at_start": {"energy_kwh": 0}}
    oil = duty_of(tmp_path, rows, until="2024-03-31", engine=engine).oil
    assert oil is not None
    assert [month.month for month in oil.months] == ["2024-01", "2024-02", "2024-03"]
    assert [month.g_per_kwh for month in oil.months] == pytest.approx([0.2, 0.3, 0.4])
    assert oil.g_per_kwh == pytest.approx(0.3)
    assert oil.trend_g_per_kwh_per_1000h == pytest.approx(0.2)


def test_temperatures_over_the_running_hours(tmp_path: Path) -> None:
    """Oil at 80 C for 19 h and 100 C for one: mean 81, 95 % of the hours at most 80; a stop's temperature does not count."""
    rows = [
        meter("2024-01-01T19:00", 19, oil_temp_c=80),
        meter("2024-01-01T20:00", 20, oil_temp_c=100),
        meter("2024-01-01T22:00", 20, oil_temp_c=20),
    ]
    (level,) = duty_of(tmp_path, rows).levels
    assert (level.level, level.unit, level.mean, level.nearly_highest, level.highest, level.lowest) == (
        "oil_temp_c",
        "°C",
        81.0,
        80.0,
        100.0,
        80.0,
    )


def duty_task(duty: EngineDuty, name: str = "oil") -> TaskDuty:
    """Return what is said of one task."""
    (found,) = (entry for entry in duty.tasks if entry.task == name)
    return found


def test_what_the_interval_lasts_on_the_clock(tmp_path: Path) -> None:
    """A quarter of the hours above 90 % count 1.5 times: 1.125; 0.8 for starts: 2,000 x 0.8 / 1.125 = 1,422.2 h, not 2,000."""
    rows = [meter("2024-01-01T05:00", 5, load_kw=950, starts=2), meter("2024-01-01T20:00", 20, load_kw=700, starts=5)]
    rules = {
        "adjustments": [
            rule("heavy-load", {"load_pct": {"above": 90}}, counts_as=1.5),
            rule("frequent-starts", {"starts_per_100h": {"above": 20}}, interval_times=0.8),
            rule("old", {"days_since": {"above": 100}}, interval_times=0.5),
        ]
    }
    engine = {**ENGINE, "at_start": {"starts": 0}}
    found = duty_task(duty_of(tmp_path, rows, rules=rules, engine=engine))
    assert (found.equivalent_ratio, found.window_factor) == (1.125, 0.8)
    assert found.effective_h == pytest.approx(1422.222222)
    assert (found.rules, found.not_judged) == (("heavy-load", "frequent-starts"), ("old",))
    # 20 h on one day of log: 7,305 h in a year of 365.25 days
    assert found.per_year == pytest.approx(20 / (20 / 24) * 365.25 / 1422.222222)
    assert found.per_year_as_assumed == pytest.approx(24 * 365.25 / 2000)


def test_a_tank_makes_the_interval_longer(tmp_path: Path) -> None:
    """interval_becomes 3,000 h for an extension tank; the year still comes once."""
    becomes = rule("tank", {"oil_volume_l": {"at_least": 400}}, interval_becomes={"running_hours": 3000})
    found = duty_task(
        duty_of(
            tmp_path,
            steady("2024-01-01", "2024-01-11", 1),
            until="2024-01-10",
            rules={"adjustments": [becomes]},
            engine={**ENGINE, "oil_volume_l": 520},
        )
    )
    assert (found.base_h, found.becomes_h, found.effective_h) == (2000.0, 3000.0, 3000.0)
    # 365 hours a year never fill 3,000, the calendar's year comes first; 2024-01-10 + P1Y is 366 d on
    assert found.per_year == pytest.approx(365.25 / 366)


def test_only_the_span_counts(tmp_path: Path) -> None:
    """Before `since` nothing counts; without it the last 365 days do."""
    rows = steady("2023-01-01", "2024-12-31", 2)
    engine = {"rated_kw": 1000, "in_service": "2023-01-01", "meter_at_start_h": 0}
    site = write_site(tmp_path, [OIL], rows, engine=engine)
    (month,) = measure_duty(site, date(2024, 2, 29), since=date(2024, 2, 1)).engines
    assert month.running_hours_h == 58.0
    assert month.running_hours_per_year == pytest.approx(730.5)
    (year,) = measure_duty(site, date(2024, 2, 29)).engines
    assert (year.running_hours_h, year.from_at) == (730.0, "2023-03-02T00:00:00+00:00")


def test_what_cannot_be_asked_is_refused_at_once(tmp_path: Path) -> None:
    """A span that ends before it begins and an engine that is not there are two problems."""
    site = write_site(tmp_path, [OIL], P1, engine=ENGINE)
    with pytest.raises(RequestProblemError) as error:
        measure_duty(site, date(2024, 1, 1), since=date(2024, 1, 2), engines=["G9"])
    assert [problem.code for problem in error.value.problems] == ["CLI010", "CLI130"]
