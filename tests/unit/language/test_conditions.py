"""Conditions: plain data to comparisons, and refusals with places."""

from __future__ import annotations

import pytest

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition, comparisons_of, describe_condition
from intervals.language.flaws import FlawsError
from intervals.language.measures import is_window_measure
from intervals.language.written_conditions import parse_condition, parse_fact

HOT = Comparison("oil_temp_c", ">", 95.0)
NAMED: dict[str, Condition] = {"hot": HOT}


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ({"load_pct": {"above": 90}}, Comparison("load_pct", ">", 90.0)),
        ({"load_pct": {"at_least": 90}}, Comparison("load_pct", ">=", 90.0)),
        ({"load_pct": {"below": 25}}, Comparison("load_pct", "<", 25.0)),
        ({"load_pct": {"at_most": 25}}, Comparison("load_pct", "<=", 25.0)),
        ({"fuel": "biogas"}, Comparison("fuel", "in", ("biogas",))),
        ({"fuel": ["natural-gas", "biogas"]}, Comparison("fuel", "in", ("natural-gas", "biogas"))),
        ({"extended_pan": True}, Comparison("extended_pan", "in", (True,))),
        ({"cylinders": 12}, Comparison("cylinders", "in", (12.0,))),
        (
            {"fuel_sulphur_pct": {"at_least": 0.5, "at_most": 1}},
            AllOf((Comparison("fuel_sulphur_pct", ">=", 0.5), Comparison("fuel_sulphur_pct", "<=", 1.0))),
        ),
        (
            {"load_pct": {"above": 90}, "fuel": "diesel"},
            AllOf((Comparison("load_pct", ">", 90.0), Comparison("fuel", "in", ("diesel",)))),
        ),
        ("hot", HOT),
        ({"condition": "hot"}, HOT),
        ({"any_of": ["hot", {"fuel": "diesel"}]}, AnyOf((HOT, Comparison("fuel", "in", ("diesel",))))),
        ({"any_of": ["hot"]}, HOT),
        (
            {"any_of": [{"load_pct": {"above": 90}, "fuel": "diesel"}, "hot"], "duty": "prime"},
            AllOf(
                (
                    AnyOf((AllOf((Comparison("load_pct", ">", 90.0), Comparison("fuel", "in", ("diesel",)))), HOT)),
                    Comparison("duty", "in", ("prime",)),
                )
            ),
        ),
        ({"hours_share_pct": {"hot": {"above": 20}}}, Comparison("hours_share_pct:hot", ">", 20.0)),
        (
            {"hours_share_pct": {"hot": {"above": 20, "at_most": 50}}},
            AllOf((Comparison("hours_share_pct:hot", ">", 20.0), Comparison("hours_share_pct:hot", "<=", 50.0))),
        ),
        ({"load_pct": {"at_least": 50, "at_most": 50}}, AllOf((Comparison("load_pct", ">=", 50.0), Comparison("load_pct", "<=", 50.0)))),
    ],
)
def test_conditions_are_parsed(raw: object, expected: Condition) -> None:
    """Bounds, values, lists, several keys, alternatives, names and shares, as the rule set's language says."""
    assert parse_condition(raw, NAMED) == expected


def test_values_are_plain_numbers() -> None:
    """A whole number becomes a float, a truth value stays one: true is not 1."""
    numbers = parse_condition({"a": [1, True, "1"]}, {})
    assert isinstance(numbers, Comparison)
    assert isinstance(numbers.value, tuple)
    assert [type(value) for value in numbers.value] == [float, bool, str]


@pytest.mark.parametrize(
    ("raw", "place", "words"),
    [
        ({"load_pct": {"above": True}}, ("load_pct", "above"), "not a number; got true"),
        ({"load_pct": {"above": float("inf")}}, ("load_pct", "above"), "not a number"),
        ({"load_pct": {"above": None}}, ("load_pct", "above"), "got nothing"),
        ({"load_pct": {}}, ("load_pct",), "no bound"),
        ({"load_pct": {"at_least": 5, "below": 5}}, ("load_pct",), "nothing can be"),
        ({"load_pct": {"above": 5, "at_most": 5}}, ("load_pct",), "nothing can be"),
        ({"fuel": ["biogas", None]}, ("fuel", 1), "got nothing"),
        ({"fuel": ["biogas", ["diesel"]]}, ("fuel", 1), "got a list of 1"),
        ({"pan": "On"}, ("pan",), '"On" is text here'),
        ({"any_of": []}, ("any_of",), "not a list of conditions"),
        ({"any_of": [{"not": {"fuel": "diesel"}}]}, ("any_of", 0, "not"), '"not" is not known'),
        ({"condition": ["hot"]}, ("condition",), "not the name of a condition"),
        ({"hours_share_pct": {"cold": {"above": 20}}}, ("hours_share_pct", "cold"), 'no condition is named "cold"'),
        ({"hours_share_pct": 20}, ("hours_share_pct",), "not a condition's name with a bound"),
        (None, (), "got nothing"),
        (5, (), "got 5"),
        (True, (), "got true"),
        ("cold", (), 'no condition is named "cold"'),
    ],
)
def test_refusals_have_places(raw: object, place: tuple[str | int, ...], words: str) -> None:
    """Each refusal says where below the condition it stands."""
    with pytest.raises(FlawsError) as caught:
        parse_condition(raw, NAMED)
    (flaw,) = caught.value.flaws
    assert flaw.place == place
    assert words in flaw.text


def test_all_flaws_come_at_once() -> None:
    """One condition with three slips gives three refusals."""
    with pytest.raises(FlawsError) as caught:
        parse_condition({"load_pct": {"above": "x", "over": 3}, "fuel": []}, NAMED)
    assert [flaw.place for flaw in caught.value.flaws] == [("load_pct", "above"), ("load_pct", "over"), ("fuel",)]


def test_comparisons_come_in_order() -> None:
    """Every comparison inside alternatives and conjunctions, in the order of the file."""
    condition = parse_condition({"any_of": [{"a": 1, "b": 2}, {"c": 3}], "d": {"above": 1, "below": 4}}, {})
    assert [part.name for part in comparisons_of(condition)] == ["a", "b", "c", "d", "d"]


def test_conditions_are_said_in_words() -> None:
    """The words of the file, with brackets where they are needed."""
    condition = parse_condition({"any_of": [{"a": 1, "b": True}, "hot"], "fuel": ["x", "y"]}, NAMED)
    assert describe_condition(condition) == "((a is 1 and b is true) or oil_temp_c above 95) and fuel is x or y"


def test_measures_of_a_window_are_told_from_levels() -> None:
    """Means, shares and the listed measures are known for a window as a whole only."""
    measures = ["mean_load_pct", "hours_share_pct:hot", "starts_per_100h", "average_power_pct", "days_since", "running_hours_per_day"]
    assert all(is_window_measure(name) for name in [*measures, "oil_consumption_g_per_kwh"])
    assert not any(is_window_measure(name) for name in ["load_pct", "fuel", "meaning"])


def test_facts_of_an_engine() -> None:
    """Words, numbers and truth values; words that look like truth values are refused."""
    assert [parse_fact(fact) for fact in ("biogas ", 5, 2.5, False)] == ["biogas", 5.0, 2.5, False]
    refused: list[object] = ["yes", "NO", "", None, [], float("nan")]
    for value in refused:
        with pytest.raises(FlawsError):
            parse_fact(value)
