"""Named conditions that use one another, in any order."""

from __future__ import annotations

from itertools import permutations

import pytest

from intervals.language.conditions import describe_condition
from intervals.rules.named_conditions import parse_named

ENTRIES = {
    "hot": {"oil_temp_c": {"above": 95}},
    "hard": {"any_of": ["hot", {"load_pct": {"above": 90}}]},
    "old": {"condition": "hard", "fuel": "biogas"},
}


@pytest.mark.parametrize("order", list(permutations(ENTRIES)))
def test_they_stand_in_any_order(order: tuple[str, ...]) -> None:
    """What an entry uses may stand above or below it; the order of the file is kept."""
    named, flaws = parse_named({name: ENTRIES[name] for name in order})
    assert (list(named), flaws) == (list(order), [])
    assert describe_condition(named["old"]) == "(oil_temp_c above 95 or load_pct above 90) and fuel is biogas"


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        ({"a": "a"}, '"a" uses "a"'),
        (
            {"a": "b", "b": {"any_of": ["c", {"fuel": "gas"}]}, "c": {"hours_share_pct": {"a": {"above": 20}}}},
            '"a" uses "b" uses "c" uses "a"',
        ),
    ],
)
def test_a_circle_is_told(raw: dict[str, object], told: str) -> None:
    """One flaw, with the way round; what rests on the circle has none of its own."""
    named, flaws = parse_named({**raw, "rests_on_it": "a", "apart": {"fuel": "gas"}})
    assert list(named) == ["apart"]
    assert [flaw.text for flaw in flaws] == [f"conditions go in a circle: {told}"]


def test_a_name_that_is_none_is_compared_with_all() -> None:
    """The nearest name may stand further down."""
    _, (flaw,) = parse_named({"a": "coldd", "cold": {"oil_temp_c": {"below": 60}}})
    assert (flaw.place, 'did you mean "cold"?' in flaw.text) == (("a",), True)
