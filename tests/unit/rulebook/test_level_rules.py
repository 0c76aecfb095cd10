"""Conditions on levels, judged for many steps: each value as every other condition sees it, and each duty cell once."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.rulebook.duty_cells import thresholds_of
from intervals.rulebook.inference import RuleBase
from intervals.rulebook.level_rules import holds_where, judge_steps

ABOVE_5 = Comparison("load_kw", ">", 5.0)
BELOW_50 = Comparison("load_pct", "<", 50.0)


@pytest.mark.parametrize(
    ("condition", "holds"),
    [
        (Comparison("load_kw", ">", 5.0), [0, 0, 0, 1, nan]),
        (Comparison("load_kw", ">=", 5.0), [0, 1, 1, 1, nan]),
        (Comparison("load_kw", "<", 5.0), [1, 0, 0, 0, nan]),
        (Comparison("load_kw", "<=", 5.0), [1, 1, 1, 0, nan]),
        (Comparison("load_kw", "in", (5.0, 6.0)), [0, 1, 1, 0, nan]),
    ],
)
def test_a_value_counts_as_what_it_is_when_rounded_to_a_millionth(condition: Condition, holds: list[float]) -> None:
    """Of 4.999999, 5, 5.0000001 and 5.000001 kW the middle two are 5 kW; where nothing is read, nothing is known."""
    levels = {"load_kw": np.array([4.999999, 5.0, 5.0000001, 5.000001, nan])}
    np.testing.assert_array_equal(holds_where(condition, levels, 5), holds)


@pytest.mark.parametrize(
    ("condition", "holds"),
    [
        (AllOf((ABOVE_5, BELOW_50)), [1, 0, 0, nan, 0, nan]),
        (AnyOf((ABOVE_5, BELOW_50)), [1, 1, 0, 1, nan, nan]),
    ],
)
def test_a_part_that_is_known_decides_where_it_can(condition: Condition, holds: list[float]) -> None:
    """One part that fails decides an all-of, one that holds an any-of; else what is unknown stays so."""
    levels = {"load_kw": np.array([6.0, 6.0, 4.0, 6.0, 4.0, nan]), "load_pct": np.array([40.0, 60.0, 60.0, nan, nan, nan])}
    np.testing.assert_array_equal(holds_where(condition, levels, 6), holds)


def test_a_level_that_nobody_logs_is_unknown() -> None:
    """Without rows of load a condition on it is unknown on every step, of however many there are."""
    assert np.isnan(holds_where(ABOVE_5, {}, 3)).all()
    assert len(holds_where(ABOVE_5, {}, 0)) == 0


def test_each_duty_cell_is_judged_once() -> None:
    """A thousand loads on either side of one threshold are two situations for the inference engine."""
    rules = RuleBase("load", {"above": ABOVE_5})
    load_kw = np.concatenate((np.linspace(0, 4, 500), np.linspace(6, 500, 500)))
    judged = judge_steps(rules, {"load_kw": load_kw}, thresholds_of([ABOVE_5], rules.names), 1000)
    assert [verdict.holds for verdict in judged.verdicts] == [(), ("above",)]
    assert judged.cell.tolist() == [0] * 500 + [1] * 500
    assert rules.situations_judged == 2


def test_thresholds_are_those_of_levels_alone() -> None:
    """What an engine states is no level: 800 kW rated cuts nothing; two conditions on one level cut it at both figures."""
    heavy = AllOf((Comparison("load_pct", ">", 90.0), Comparison("rated_kw", ">", 800.0)))
    asked: list[Condition] = [heavy, Comparison("load_pct", "<", 30.0)]
    assert thresholds_of(asked, {"load_pct"}) == {"load_pct": (30.0, 90.0)}
