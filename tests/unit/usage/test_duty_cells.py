"""Duty cells: every hour is judged at its own level, and a value at a threshold is on the side that the rule says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.rulebook.duty_cells import cell_of
from tests.site_maker import finding_for, judge, leg_of, meter, reason_for, rule, task, used_of

OIL = task(every={"running_hours": 1000})
IN_SERVICE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 1000}


@pytest.mark.parametrize(
    ("bound", "load_pct", "used_h"),
    [
        ({"above": 90}, 90, 10),
        ({"above": 90}, 90.000001, 20),
        ({"at_least": 90}, 90, 20),
        ({"at_least": 90}, 89.999999, 10),
        ({"below": 90}, 90, 10),
        ({"below": 90}, 89.999999, 20),
        ({"at_most": 90}, 90, 20),
        ({"at_most": 90}, 90.000001, 10),
        ({"at_least": 80, "at_most": 90}, 80, 20),
        ({"at_least": 80, "at_most": 90}, 85, 20),
        ({"above": 80, "below": 90}, 80, 10),
    ],
)
def test_a_value_at_a_threshold_is_judged_exactly(tmp_path: Path, bound: dict[str, float], load_pct: float, used_h: float) -> None:
    """`above` and `below` leave the threshold out, `at_least` and `at_most` take it in, to a millionth."""
    rows = [meter("2024-01-02T00:00", 10, load_pct=load_pct)]
    findings = judge(
        tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [rule("judged", {"load_pct": bound}, counts_as=2)]}
    )
    assert used_of(finding_for(findings)) == used_h


def test_less_than_a_millionth_above_a_threshold_is_at_it(tmp_path: Path) -> None:
    """Figures meet thresholds in millionths of their unit: 90.0000004 is 90."""
    rows = [meter("2024-01-02T00:00", 10, load_pct=90.0000004)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [heavy]})
    assert used_of(finding_for(findings)) == 10.0


def test_nothing_is_averaged_over_a_threshold(tmp_path: Path) -> None:
    """Six hours at 100 % and six at 60 % of one day: the six at 100 % count twice, though the day's mean is 80 %."""
    rows = [meter("2024-01-01T12:00", 6, load_kw=1000), meter("2024-01-02T00:00", 12, load_kw=600)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [heavy]})
    assert used_of(finding_for(findings)) == 18.0
    assert reason_for(finding_for(findings), "heavy").facts == {"hours_h": 6.0, "counts_as": 2.0}


def test_thresholds_of_several_rules_cut_together(tmp_path: Path) -> None:
    """Two levels, two rules: 4 h with both (3 x 2 = 6 times), 4 h with one of each kind, 4 h with none: 24 + 12 + 8 + 4 = 48."""
    rows = [
        meter("2024-01-01T06:00", 4, load_kw=950, fuel_sulphur_pct=0.8),
        meter("2024-01-01T12:00", 8, load_kw=950, fuel_sulphur_pct=0.2),
        meter("2024-01-01T18:00", 12, load_kw=500, fuel_sulphur_pct=0.8),
        meter("2024-01-02T00:00", 16, load_kw=500, fuel_sulphur_pct=0.2),
    ]
    rules = [rule("heavy", {"load_pct": {"above": 90}}, counts_as=3), rule("sulphur", {"fuel_sulphur_pct": {"at_least": 0.5}}, counts_as=2)]
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": rules})
    assert used_of(finding_for(findings)) == 48.0
    assert leg_of(finding_for(findings)).running_hours_h == 16.0


def test_hours_on_which_a_level_is_unknown_count_once(tmp_path: Path) -> None:
    """Half the day without a load: 6 h twice, 6 h once, and the 6 h are told."""
    rows = [meter("2024-01-01T12:00", 6, load_kw=950), meter("2024-01-02T00:00", 12, load_kw="")]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [heavy]})
    assert used_of(finding_for(findings)) == 18.0
    assert finding_for(findings).unknown_hours_h == 6.0


def test_an_unknown_condition_holds_where_the_rule_says_so(tmp_path: Path) -> None:
    """when_unknown: holds, so the 6 h without a load count twice as well; they are told all the same."""
    rows = [meter("2024-01-01T12:00", 6, load_kw=950), meter("2024-01-02T00:00", 12, load_kw="")]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2, when_unknown="holds")
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [heavy]})
    assert used_of(finding_for(findings)) == 24.0


def test_one_key_known_to_fail_decides(tmp_path: Path) -> None:
    """The load is known to be low: the rule fails, though the oil's temperature is unknown, and no hour is unknown."""
    rows = [meter("2024-01-02T00:00", 12, load_kw=500, oil_temp_c="")]
    both = rule("both", {"load_pct": {"above": 90}, "oil_temp_c": {"above": 95}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [both]})
    assert (used_of(finding_for(findings)), finding_for(findings).unknown_hours_h) == (12.0, 0.0)


def test_a_level_holds_on_for_as_long_as_the_site_says(tmp_path: Path) -> None:
    """Sulphur sampled at the end of the 1st holds for two days: 10 h a day up to the 3rd count twice, those of the 4th are unknown."""
    rows = [
        meter("2024-01-02T00:00", 10, fuel_sulphur_pct=0.8),
        meter("2024-01-03T00:00", 20, fuel_sulphur_pct=""),
        meter("2024-01-04T00:00", 30, fuel_sulphur_pct=""),
        meter("2024-01-05T00:00", 40, fuel_sulphur_pct=""),
    ]
    sulphur = rule("sulphur", {"fuel_sulphur_pct": {"at_least": 0.5}}, counts_as=2)
    findings = judge(
        tmp_path, "2024-01-04", [OIL], rows, engine=IN_SERVICE,
        rules={"adjustments": [sulphur]}, quantities={"fuel_sulphur_pct": {"holds_for": "P2D"}},
    )  # fmt: skip
    # 10 h before the stamp, 20 h in the two days after it, twice; the last 10 h are unknown and count once
    assert used_of(finding_for(findings)) == 2 * 30.0 + 10.0
    assert finding_for(findings).unknown_hours_h == 10.0


def test_a_held_level_ends_with_the_next_value(tmp_path: Path) -> None:
    """0.8 % until the next sample of 0.2 %: only the first 10 h count twice."""
    rows = [meter("2024-01-02T00:00", 10, fuel_sulphur_pct=0.8), meter("2024-01-03T00:00", 20, fuel_sulphur_pct=0.2)]
    sulphur = rule("sulphur", {"fuel_sulphur_pct": {"at_least": 0.5}}, counts_as=2)
    findings = judge(
        tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE,
        rules={"adjustments": [sulphur]}, quantities={"fuel_sulphur_pct": {"holds_for": "P90D"}},
    )  # fmt: skip
    assert used_of(finding_for(findings)) == 30.0


def test_load_is_derived_from_energy_where_none_is_logged(tmp_path: Path) -> None:
    """9,500 kWh in 10 h on a 1,000 kW set are 95 %."""
    rows = [meter("2024-01-02T00:00", 10, energy_kwh=9500), meter("2024-01-03T00:00", 20, energy_kwh=14500)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(
        tmp_path, "2024-01-02", [OIL], rows, engine={**IN_SERVICE, "at_start": {"energy_kwh": 0}}, rules={"adjustments": [heavy]}
    )
    assert used_of(finding_for(findings)) == 30.0


def test_a_mean_over_the_row_is_divided_by_the_running_share(tmp_path: Path) -> None:
    """A day's mean of 475 kW with 12 h run is 950 kW while running."""
    rows = [meter("2024-01-02T00:00", 12, load_kw=475)]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(
        tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE,
        rules={"adjustments": [heavy]}, quantities={"load_kw": {"averaged_over": "row"}},
    )  # fmt: skip
    assert used_of(finding_for(findings)) == 24.0


def test_levels_may_cover_the_step_after_the_stamp(tmp_path: Path) -> None:
    """Covers after: the 950 kW stamped midnight describe the day that begins there."""
    rows = [
        meter("2024-01-01T00:00", 0, load_kw=950),
        meter("2024-01-02T00:00", 10, load_kw=500),
        meter("2024-01-03T00:00", 20, load_kw=500),
    ]
    heavy = rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)
    findings = judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, covers="after", rules={"adjustments": [heavy]})
    assert used_of(finding_for(findings)) == 30.0
    before = judge(tmp_path, "2024-01-02", [OIL], rows, engine=IN_SERVICE, rules={"adjustments": [heavy]})
    assert used_of(finding_for(before)) == 20.0


def test_a_condition_may_be_named_and_used_again(tmp_path: Path) -> None:
    """`conditions: hot` by its name in `when`."""
    rows = [meter("2024-01-01T12:00", 6, oil_temp_c=96), meter("2024-01-02T00:00", 12, oil_temp_c=95)]
    rules = {"conditions": {"hot": {"oil_temp_c": {"above": 95}}}, "adjustments": [rule("hot-oil", {"condition": "hot"}, counts_as=2)]}
    findings = judge(tmp_path, "2024-01-01", [OIL], rows, engine=IN_SERVICE, rules=rules)
    assert used_of(finding_for(findings)) == 18.0


# a millionth, round figures of every size up to where floats are further apart than a millionth, both signs, and zero
THRESHOLDS = st.one_of(
    st.decimals(-1000, 1000, places=3).map(float),
    st.sampled_from(
        [sign * size for sign in (-1.0, 1.0) for size in (0.0, 1e-6, 2.5e-6, 0.1, 1e6 + 0.1, 1e9, 1e9 + 0.3, 1e12, 1e12 + 0.5)]
    ),
)


@given(
    # minus zero is zero, and one threshold
    st.lists(THRESHOLDS.map(lambda value: value + 0.0), min_size=1, max_size=5, unique=True).map(sorted),
    st.sampled_from([-1.0, -1e-3, -2e-6, -1e-6, -5e-7, 0.0, 5e-7, 1e-6, 2e-6, 1e-3, 1.0]),
    st.sampled_from([-np.inf, 0.0, np.inf]),
)
def test_a_value_lies_in_the_cell_of_its_millionths(thresholds: list[float], away: float, towards: float) -> None:
    """A value near a threshold, and the floats next to it, lie in the cell that their rounding to six decimals says."""
    values = np.array([threshold + away for threshold in thresholds])
    if towards:
        values = np.nextafter(values, towards)
    expected = []
    for value in values.tolist():
        rounded = float(np.round(value, 6))
        expected.append(sum((rounded >= threshold) + (rounded > threshold) for threshold in thresholds))
    assert cell_of(values, tuple(thresholds)).tolist() == expected
    assert cell_of(np.array([np.nan]), tuple(thresholds)).tolist() == [2 * len(thresholds) + 1]


@pytest.mark.parametrize(
    ("threshold", "value", "cell"),
    [
        (1e-6, 4.9e-7, 0), (1e-6, 5.1e-7, 1), (1e-6, 1.4e-6, 1), (1e-6, 1.6e-6, 2),
        (0.0, -6e-7, 0), (0.0, -4e-7, 1), (0.0, -0.0, 1), (0.0, 4e-7, 1), (0.0, 6e-7, 2),
        (-2.5, -2.5000006, 0), (-2.5, -2.5000004, 1), (-2.5, -2.4999996, 1), (-2.5, -2.4999994, 2),
        # next to 1e9 floats are 1.2e-7 apart, next to 1e12 1.2e-4: there each is its own millionth
        (1e9, 1e9 - 6e-7, 0), (1e9, 1e9 - 4e-7, 1), (1e9, 1e9 + 4e-7, 1), (1e9, 1e9 + 6e-7, 2),
        (1e12, 1e12 - 1.3e-4, 0), (1e12, 1e12, 1), (1e12, 1e12 + 1.3e-4, 2),
    ],
)  # fmt: skip
def test_half_a_millionth_is_where_a_threshold_ends(threshold: float, value: float, cell: int) -> None:
    """Below the threshold, at it, above it: cells 0, 1 and 2."""
    assert cell_of(np.array([value]), (threshold,)).tolist() == [cell]


def test_cells_of_more_thresholds_than_a_byte_can_count() -> None:
    """Of 100 thresholds 0 to 99 the value 98.5 is above 99 of them, each of which counts twice: cell 198; unknown is cell 201."""
    thresholds = tuple(float(place) for place in range(100))
    assert cell_of(np.array([98.5, np.nan]), thresholds).tolist() == [198, 201]
