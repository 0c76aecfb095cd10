"""ISO 8528-1, average power (formula from memory, high confidence; figures worked): sum(P t) / sum(t) over the running time.

Steps below 30 % of rated count as 30 %, standstill is left out. The figure is reached as a rule set reaches it: by a window rule
that asks for `average_power_pct`, and by the reason that names it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from intervals.findings import Finding
from intervals.questions.duty.duty import measure_duty
from tests.published.shipped_sites import check_site
from tests.site_maker import finding_for, leg_of, meter, reason_for, rule, rules_fired, task, write_site

ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}
OIL = task(every={"running_hours": 1000})
P1 = [(950, 4), (800, 6), (600, 6), (200, 4), (0, 4)]


def rows_of(load_kw: Sequence[tuple[float, float]]) -> tuple[list[dict[str, object]], datetime]:
    """Return the rows of a 1,000 kW set that ran so many hours at each load (at 0 kW it stood still), and when they end."""
    rows, at, meter_h = [], datetime(2024, 1, 1, tzinfo=UTC), 0.0
    for power_kw, hours in load_kw:
        at += timedelta(hours=hours)
        meter_h += hours if power_kw else 0.0
        rows.append(meter(at.isoformat(timespec="minutes"), meter_h, load_kw=power_kw))
    return rows, at


def over(folder: Path, load_kw: Sequence[tuple[float, float]], bound: dict[str, float], measure: str = "average_power_pct") -> Finding:
    """Judge the set by a window rule."""
    rows, at = rows_of(load_kw)
    rules = {"adjustments": [rule("judged", {measure: bound}, interval_times=0.5)]}
    return finding_for(check_site(folder, at.isoformat(timespec="minutes"), [OIL], rows, engine=ENGINE, rules=rules))


def average_of(folder: Path, load_kw: Sequence[tuple[float, float]]) -> float:
    """Return the average power in per cent that the rule's reason names."""
    average = reason_for(over(folder, load_kw, {"at_least": 0}), "judged").facts["average_power_pct"]
    assert isinstance(average, float)
    return average


@pytest.mark.outside("3.P1")
def test_p1_a_day_of_changing_load(tmp_path: Path) -> None:
    """P1: (950,4)(800,6)(600,6)(200,4)(0,4): 670.0 kW, 67.0 %; not 650.0 kW without the floor nor 541.7 kW with the standstill."""
    assert average_of(tmp_path, P1) == 67.0


@pytest.mark.parametrize(
    ("bound", "fires"), [({"at_least": 67}, True), ({"above": 67}, False), ({"at_most": 67}, True), ({"below": 67}, False)]
)
def test_p1_at_the_threshold(tmp_path: Path, bound: dict[str, float], fires: bool) -> None:
    """67.0 % exactly: a rule at 67 is judged on the figure itself."""
    finding = over(tmp_path, P1, bound)
    assert ("judged" in rules_fired(finding)) is fires
    assert leg_of(finding).allowed == (500.0 if fires else 1000.0)


def test_p1_the_plain_mean_has_no_floor(tmp_path: Path) -> None:
    """mean_load_kw over the same running time is 650.0 kW: (3,800 + 4,800 + 3,600 + 800) / 20."""
    reason = reason_for(over(tmp_path, P1, {"at_least": 0}, "mean_load_kw"), "judged")
    assert reason.facts["mean_load_kw"] == 650.0


@pytest.mark.outside("3.P3")
def test_p3_light_load_counts_as_thirty_per_cent(tmp_path: Path) -> None:
    """P3: (100,24): 300 kW, 30 %; not 100 kW."""
    assert average_of(tmp_path, [(100, 24)]) == 30.0


@pytest.mark.outside("3.P5")
def test_p5_standstill_has_no_average(tmp_path: Path) -> None:
    """P5: (0,24): no value, no division by zero, and not 0: the rule is unknown and says so."""
    finding = over(tmp_path, [(0, 24)], {"at_most": 70})
    assert "judged" not in rules_fired(finding)
    assert "unknown-judged" in rules_fired(finding)
    assert leg_of(finding).allowed == 1000.0


@pytest.mark.outside("3.4")
def test_prime_rating_allows_seventy_per_cent(tmp_path: Path) -> None:
    """At most 70 % over 24 h: 12 h at 900 kW and 12 h at 500 kW are 70 % and within, 501 kW beyond."""
    assert "judged" not in rules_fired(over(tmp_path / "a", [(900, 12), (500, 12)], {"above": 70}))
    assert "judged" in rules_fired(over(tmp_path / "b", [(900, 12), (501, 12)], {"above": 70}))


def test_the_floor_is_thirty_per_cent_of_rated(tmp_path: Path) -> None:
    """299 kW count as 300, 300 as 300 and 301 as 301: (300 + 300 + 301) / 3 = 300.333 kW."""
    assert average_of(tmp_path, [(299, 8), (300, 8), (301, 8)]) == pytest.approx(30.033333, abs=1e-6)


@pytest.mark.outside("3.P1", "3.P3", "3.P5")
@pytest.mark.parametrize(
    ("load_kw", "average_kw", "average_pct", "without_floor_kw"),
    [(P1, 670.0, 67.0, 650.0), ([(100, 24)], 300.0, 30.0, 100.0), ([(0, 24)], None, None, None)],
    ids=["P1", "P3", "P5"],
)
def test_the_duty_of_an_engine_says_the_same(
    tmp_path: Path,
    load_kw: Sequence[tuple[float, float]],
    average_kw: float | None,
    average_pct: float | None,
    without_floor_kw: float | None,
) -> None:
    """P1, P3 and P5 as the engine's duty over the day, in kW and in per cent of rated."""
    rows, at = rows_of(load_kw)
    (engine,) = measure_duty(write_site(tmp_path, [OIL], rows, engine=ENGINE), at, since=date(2024, 1, 1)).engines
    load = engine.load
    assert (load.average_power_kw, load.average_power_pct, load.without_floor_kw) == (average_kw, average_pct, without_floor_kw)
