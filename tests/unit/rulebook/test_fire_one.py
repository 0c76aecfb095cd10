"""Rules of which one must fire, whatever the situation."""

from __future__ import annotations

import pytest

from intervals.language.conditions import Comparison
from intervals.rulebook.inference import InferenceFaultError, RuleBase

BOUNDS = {"high": Comparison("load_pct", ">", 90.0), "raised": Comparison("load_pct", ">", 50.0)}


def test_the_first_rule_that_holds_is_given() -> None:
    """Of rules in order of priority one fires, though both hold."""
    rules = RuleBase("load", BOUNDS, only_first=True)
    assert [rules.fire_one({"load_pct": load}) for load in (95.0, 60.0)] == ["high", "raised"]


@pytest.mark.parametrize(("load_pct", "count"), [(40.0, 0), (95.0, 2)])
def test_none_or_several_are_a_fault(load_pct: float, count: int) -> None:
    """Rules that leave a situation out, or claim it twice, never pass in silence."""
    with pytest.raises(InferenceFaultError, match=f"{count} rules about load fired where one must"):
        RuleBase("load", BOUNDS).fire_one({"load_pct": load_pct})
