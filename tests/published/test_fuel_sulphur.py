"""TM 5-3820-256-24-3, p. 4-3 (read): fuel sulphur and the oil-change interval.

Below 0.5 % m/m the whole interval, 0.5 to 1.0 % half of it, above 1.0 % a quarter; the oil filter's interval is not shortened.
Written hour by hour (`counts_as` 2 and 4); at constant sulphur that is the table. Normal interval 250 h (CHECKS section 2, worked).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.site_maker import finding_for, judge, leg_of, meter, rule, rules_fired, task, used_of

SOURCE = "TM 5-3820-256-24-3, p. 4-3"
RULES = {
    "adjustments": [
        {**rule("sulphur-half", {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1.0}}, counts_as=2, source=SOURCE), "tasks": ["oil"]},
        {**rule("sulphur-quarter", {"fuel_sulphur_pct": {"above": 1.0}}, counts_as=4, source=SOURCE), "tasks": ["oil"]},
    ]
}
TASKS = [task("oil", every={"running_hours": 250}), task("filter", every={"running_hours": 250})]
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0}


@pytest.mark.parametrize(
    ("sulphur_pct", "interval_h", "fired"),
    [(0.3, 250.0, []), (0.5, 125.0, ["sulphur-half"]), (1.0, 125.0, ["sulphur-half"]), (1.01, 62.5, ["sulphur-quarter"])],
)
def test_the_table_at_constant_sulphur(tmp_path: Path, sulphur_pct: float, interval_h: float, fired: list[str]) -> None:
    """After exactly the table's hours the oil is at its line, a tenth of an hour later past it; the filter keeps its 250 h (worked)."""
    for hours, standing in ((interval_h, "upcoming"), (interval_h + 0.1, "overdue")):
        rows = [meter("2024-02-01T00:00", hours, fuel_sulphur_pct=sulphur_pct)]
        findings = judge(tmp_path / standing, "2024-01-31", TASKS, rows, engine=ENGINE, rules=RULES)
        assert finding_for(findings).standing == standing
        assert [name for name in rules_fired(finding_for(findings)) if name.startswith("sulphur")] == fired
        assert used_of(finding_for(findings, "filter")) == hours
    assert leg_of(finding_for(findings)).consumed == pytest.approx((interval_h + 0.1) / interval_h, abs=1e-6)


def test_an_hour_on_bad_fuel_is_not_diluted_later(tmp_path: Path) -> None:
    """50 h at 1.2 % (200 equivalent hours) and 50 h at 0.1 %: 250 in all, at the line, though the mean of 0.65 % would allow 125 h."""
    rows = [meter("2024-01-16T00:00", 50, fuel_sulphur_pct=1.2), meter("2024-02-01T00:00", 100, fuel_sulphur_pct=0.1)]
    finding = finding_for(judge(tmp_path, "2024-01-31", TASKS, rows, engine=ENGINE, rules=RULES))
    assert (used_of(finding), finding.standing) == (250.0, "upcoming")


def test_parts_per_million_and_per_cent_are_one_unit(tmp_path: Path) -> None:
    """5,000 ppm are 0.50 % m/m (ASTM D975, memory) and 15 mg/kg are 0.0015 %: the column's unit decides."""
    for unit, value in (("ppm", 5000), ("mg/kg", 5000), ("percent", 0.5)):
        rows = [meter("2024-02-01T00:00", 125, fuel_sulphur_pct=value)]
        findings = judge(
            tmp_path / unit.replace("/", "-"),
            "2024-01-31",
            TASKS,
            rows,
            engine=ENGINE,
            rules=RULES,
            quantities={"fuel_sulphur_pct": {"unit": unit}},
        )
        assert used_of(finding_for(findings)) == 250.0


def test_hours_without_a_sample_count_once_and_are_told(tmp_path: Path) -> None:
    """No sulphur logged on the second half: 50 x 2 + 50, and 50 h unknown."""
    rows = [meter("2024-01-16T00:00", 50, fuel_sulphur_pct=0.8), meter("2024-02-01T00:00", 100, fuel_sulphur_pct="")]
    finding = finding_for(judge(tmp_path, "2024-01-31", TASKS, rows, engine=ENGINE, rules=RULES))
    assert (used_of(finding), finding.unknown_hours_h) == (150.0, 50.0)
