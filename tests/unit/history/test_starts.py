"""Starts that count as equivalent hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals.findings import Finding
from intervals.questions.explain.explain import explain_finding
from tests.site_maker import Row, done, finding_for, judge, leg_of, meter, reason_for, rule, rules_fired, task, write_site

OIL = task("oil", every={"running_hours": 100}, lead={"running_hours": 0})
ENGINE = {"rated_kw": 1000, "duty": "peaking", "in_service": "2024-01-01", "meter_at_start_h": 0, "at_start": {"starts": 0}}
# 10 h with 4 starts, of which 3 on cold oil; the meter has not moved yet at the first
ROWS = [
    meter("2024-01-01T01:00", 0, starts=1, oil_temp_c=20),
    meter("2024-01-01T05:00", 4, starts=3, oil_temp_c=30),
    meter("2024-01-01T12:00", 9, starts=3, oil_temp_c=80),
    meter("2024-01-02T00:00", 10, starts=4, oil_temp_c=60),
]


def judged(
    folder: Path,
    adjustments: Sequence[Mapping[str, object]],
    rows: Sequence[Row] = ROWS,
    **written: Any,  # noqa: ANN401 - what `judge` takes
) -> Finding:
    """Write a site and return the finding of its oil change on 1 January 2024."""
    return finding_for(judge(folder, "2024-01-01", [OIL], rows, **{"engine": ENGINE, **written}, rules={"adjustments": list(adjustments)}))


def test_each_start_counts_as_so_many_hours(tmp_path: Path) -> None:
    """10 h and 4 starts of 8 h each are 42 equivalent hours; the reason names both figures."""
    finding = judged(tmp_path, [rule("starts", {"duty": "peaking"}, each_start_counts_as_h=8)])
    leg = leg_of(finding)
    assert (leg.used, leg.running_hours_h, leg.remaining) == (42.0, 10.0, 58.0)
    reason = reason_for(finding, "starts")
    assert reason.facts == {"starts": 4.0, "each_start_counts_as_h": 8.0}
    assert reason.text == "4 starts with duty peaking count 8 h each"


def test_only_cold_starts_count(tmp_path: Path) -> None:
    """3 of the 4 starts came on oil below 50 C: 10 + 3 x 5 = 25; the start before the meter moved is one of them."""
    finding = judged(tmp_path, [rule("cold-starts", {"oil_temp_c": {"below": 50}}, each_start_counts_as_h=5)])
    assert leg_of(finding).used == 25.0
    assert reason_for(finding, "cold-starts").facts["starts"] == 3.0


def test_starts_and_hours_weigh_side_by_side(tmp_path: Path) -> None:
    """Hours above 70 C count twice (5 of 10): 15; two rules about starts add up, 2 h and 3 h for each cold one, 3 x 5: 30."""
    rules = [
        rule("hot", {"oil_temp_c": {"above": 70}}, counts_as=2),
        rule("cold-starts", {"oil_temp_c": {"below": 50}}, each_start_counts_as_h=2),
        rule("cold-starts-too", {"oil_temp_c": {"below": 50}}, each_start_counts_as_h=3),
    ]
    assert leg_of(judged(tmp_path, rules)).used == 30.0


def test_no_hours_for_a_start_is_the_default(tmp_path: Path) -> None:
    """Without a rule, and with one that says 0, a start counts nothing: no published value exists for reciprocating engines."""
    assert leg_of(judged(tmp_path / "a", [])).used == 10.0
    assert leg_of(judged(tmp_path / "b", [rule("starts", {"duty": "peaking"}, each_start_counts_as_h=0)])).used == 10.0


def test_starts_that_nobody_counts_are_a_doubt(tmp_path: Path) -> None:
    """Without a starts counter the hours stand alone, and the finding says so."""
    rows = [meter("2024-01-02T00:00", 10)]
    engine = {key: value for key, value in ENGINE.items() if key != "at_start"}
    finding = judged(tmp_path, [rule("starts", {"duty": "peaking"}, each_start_counts_as_h=8)], rows, engine=engine)
    assert leg_of(finding).used == 10.0
    assert "unknown-starts" in rules_fired(finding)


def test_a_start_whose_condition_is_unknown_counts_where_the_rule_says_so(tmp_path: Path) -> None:
    """The oil's temperature is not logged: the starts count nothing, or all of them where when_unknown is holds."""
    rows = [{key: value for key, value in row.items() if key != "oil_temp_c"} for row in ROWS]
    cold = {"oil_temp_c": {"below": 50}}
    finding = judged(tmp_path / "a", [rule("cold", cold, each_start_counts_as_h=5)], rows)
    assert leg_of(finding).used == 10.0
    assert reason_for(finding, "unknown-cold").facts == {"starts": 4.0}
    assert leg_of(judged(tmp_path / "b", [rule("cold", cold, each_start_counts_as_h=5, when_unknown="holds")], rows)).used == 30.0


def test_starts_bring_the_crossing_forward(tmp_path: Path) -> None:
    """1 h and 3 starts of 8 h a day are 25 a day: 100 is crossed at the end of the fourth day."""
    rows = [meter(f"2024-01-{day + 1:02d}T00:00", day, starts=3 * day) for day in range(1, 8)]
    finding = finding_for(
        judge(
            tmp_path, "2024-01-07", [OIL], rows, engine=ENGINE, services=[done("oil", "2024-01-01T00:00")],
            rules={"adjustments": [rule("starts", {"duty": "peaking"}, each_start_counts_as_h=8)]},
        )
    )  # fmt: skip
    assert (leg_of(finding).used, finding.standing) == (175.0, "overdue")
    assert finding.crossed_at == "2024-01-05T00:00:00+00:00"


@pytest.mark.parametrize("extra", [{"counts_as": 2}, {"interval_times": 0.5}])
def test_a_rule_does_one_thing(tmp_path: Path, extra: Mapping[str, object]) -> None:
    """each_start_counts_as_h beside another effect is refused."""
    with pytest.raises(Exception, match="several effects"):
        judged(tmp_path, [rule("both", {"duty": "peaking"}, each_start_counts_as_h=8, **extra)])


def test_the_sum_can_be_done_again(tmp_path: Path) -> None:
    """The explanation shows hours and starts as they add up, and where the rule stands."""
    site = write_site(
        tmp_path, [OIL], ROWS, engine=ENGINE, rules={"adjustments": [rule("cold", {"oil_temp_c": {"below": 50}}, each_start_counts_as_h=5)]}
    )
    explanation = explain_finding(site, "G1", "oil", date(2024, 1, 1))
    (used,) = (step.sum for step in explanation.steps if step.label == "running_hours used")
    assert used == "10.00 x 1 + 3 starts x 5 h = 25 h"
    assert any(place.rule.startswith("cold: ") for place in explanation.rules)
