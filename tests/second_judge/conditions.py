"""Conditions: True, False, or None where what they ask for is not known."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from tests.second_judge.site_folder import exact

Facts = Mapping[str, Any]


def near(value: Fraction) -> Fraction:
    """Return a figure to a millionth, as every figure is before it meets a line."""
    return round(value, 6)


def judge_condition(when: Any, facts: Facts, named: Mapping[str, Any]) -> bool | None:  # noqa: ANN401 - plain data of a YAML file
    """Return whether a condition holds: one key that fails decides, else one that is unknown."""
    if isinstance(when, str):
        return judge_condition(named[when], facts, named)
    answers = [_judge_key(key, asked, facts, named) for key, asked in when.items()]
    if False in answers:
        return False
    return None if None in answers else True


def _judge_key(key: str, asked: Any, facts: Facts, named: Mapping[str, Any]) -> bool | None:  # noqa: ANN401 - plain data of a YAML file
    if key == "any_of":
        answers = [judge_condition(one, facts, named) for one in asked]
        if True in answers:
            return True
        return None if None in answers else False
    if key == "condition":
        return judge_condition(named[asked], facts, named)
    if key == "hours_share_pct":
        shares = [_compare(facts.get(f"hours_share_pct.{name}"), bound) for name, bound in asked.items()]
        if False in shares:
            return False
        return None if None in shares else True
    return _compare(facts.get(key), asked)


def _compare(value: Any, asked: Any) -> bool | None:  # noqa: ANN401 - plain data of a YAML file
    if value is None:
        return None
    if isinstance(asked, dict):
        return all(_holds(value, word, bound) for word, bound in asked.items())
    if isinstance(asked, list):
        return any(_equals(value, one) for one in asked)
    return _equals(value, asked)


def _equals(value: Any, asked: Any) -> bool:  # noqa: ANN401 - plain data of a YAML file
    if isinstance(asked, (bool, str)) or isinstance(value, (bool, str)):
        return bool(value == asked)
    return near(Fraction(value)) == exact(asked)


def _holds(value: Any, word: str, bound: Any) -> bool:  # noqa: ANN401 - plain data of a YAML file
    if word in ("before", "from", "after", "until"):
        day = str(bound)
        return bool({"before": value < day, "from": value >= day, "after": value > day, "until": value <= day}[word])
    figure, limit = near(Fraction(value)), exact(bound)
    return {"above": figure > limit, "at_least": figure >= limit, "below": figure < limit, "at_most": figure <= limit}[word]
