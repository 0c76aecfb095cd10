"""Conditions as they are written, understood.

In: the plain data under a `when`, `applies_to` or `running_when`. Out: a `Condition`. Refuses what cannot be understood or could
never hold.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

from intervals.language.conditions import (
    BOUNDS,
    DATE_BOUNDS,
    AllOf,
    AnyOf,
    Comparison,
    Condition,
    FactValue,
    day_number,
    describe_condition,
)
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import SHARE_MEASURE, share_of
from intervals.language.plain_values import day_of
from intervals.language.scalars import shown_value
from intervals.problems import nearest_of

_LOWER = frozenset({">", ">="})
_ALL_BOUNDS = BOUNDS | DATE_BOUNDS
_NOT_HERE = {
    "all_of": "several keys in one mapping all hold",
    "all": "several keys in one mapping all hold",
    "and": "several keys in one mapping all hold",
    "or": "write any_of: [..]",
    "any": "write any_of: [..]",
    "not": "write the opposite bound, or list the allowed words",
    "none_of": "list the allowed words",
}
_TRUTH_WORDS = {"yes": "true", "on": "true", "no": "false", "off": "false"}


def parse_condition(raw: object, named: Mapping[str, Condition]) -> Condition:
    """Return the condition that plain data stands for.

    Several keys in one mapping all hold; `any_of` gives alternatives; a word, or the key `condition`, names an entry of
    the rule set's `conditions`.

    Args:
        raw: a mapping such as `{load_pct: {above: 90}, fuel: biogas}`, or the name of a condition.
        named: the rule set's conditions by name.

    Returns:
        A single comparison where there is one, else what joins them.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.
    """
    flaws: list[Flaw] = []
    condition = _parse(raw, named, (), flaws)
    if flaws or condition is None:
        raise FlawsError(flaws)
    return condition


Place = tuple[str | int, ...]


def _parse(raw: object, named: Mapping[str, Condition], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse one mapping or name; None where there is a flaw."""
    if isinstance(raw, str):
        return _look_up(raw, named, place, flaws)
    if not isinstance(raw, Mapping):
        _refuse(flaws, place, f"not a condition; got {shown_value(raw)}, expected for example {{load_pct: {{above: 90}}}}")
        return None
    if not raw:
        _refuse(flaws, place, "an empty condition", "leave the key out where nothing is asked")
        return None
    parts: list[Condition] = []
    for key, value in raw.items():
        part = _parse_key(str(key), value, named, (*place, key), flaws)
        if isinstance(part, AllOf):
            parts.extend(part.parts)
        elif part is not None:
            parts.append(part)
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else AllOf(tuple(parts))


def _parse_key(key: str, value: object, named: Mapping[str, Condition], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse one key of a condition's mapping."""
    if key in _NOT_HERE or key in _ALL_BOUNDS:
        text = f'"{key}" is not known in a condition' if key in _NOT_HERE else f'"{key}" is a bound without a quantity'
        asked = "load_pct" if key in BOUNDS else "in_service"
        _refuse(flaws, place, text, _NOT_HERE.get(key, f"write for example {{{asked}: {{{key}: {shown_value(value)}}}}}"))
        return None
    if key == "any_of":
        return _parse_any(value, named, place, flaws)
    if key == SHARE_MEASURE:
        return _parse_share(value, named, place, flaws)
    if key != "condition":
        return _parse_question(key, value, place, flaws)
    if not isinstance(value, str):
        _refuse(flaws, place, f"not the name of a condition; got {shown_value(value)}")
        return None
    return _look_up(value, named, place, flaws)


def _parse_any(value: object, named: Mapping[str, Condition], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse the alternatives of `any_of`."""
    if not isinstance(value, (list, tuple)) or not value:
        _refuse(
            flaws,
            place,
            f"not a list of conditions; got {shown_value(value)}",
            "write for example any_of: [{fuel: biogas}, {load_pct: {above: 90}}]",
        )
        return None
    parts = [_parse(item, named, (*place, index), flaws) for index, item in enumerate(value)]
    known = tuple(part for part in parts if part is not None)
    return known[0] if len(known) == 1 else AnyOf(known) if known else None


def _parse_share(value: object, named: Mapping[str, Condition], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse `hours_share_pct: {hot: {above: 20}}`."""
    if not isinstance(value, Mapping) or not value:
        text = f"not a condition's name with a bound; got {shown_value(value)}"
        _refuse(flaws, place, text, f"write for example {SHARE_MEASURE}: {{hot: {{above: 20}}}}")
        return None
    parts: list[Condition] = []
    for name, bounds in value.items():
        if _look_up(str(name), named, (*place, name), flaws) is not None:
            part = _parse_question(share_of(str(name)), bounds, (*place, name), flaws)
            parts.extend(part.parts if isinstance(part, AllOf) else [part] if part is not None else [])
    return None if not parts else parts[0] if len(parts) == 1 else AllOf(tuple(parts))


def _look_up(name: str, named: Mapping[str, Condition], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Return the condition of that name."""
    if name not in named:
        known = (
            f"conditions: {', '.join(named)}" if named else "a word alone names an entry of conditions; write for example {fuel: biogas}"
        )
        flaws.append(Flaw(place, f'no condition is named "{name}"{nearest_of(name, named)}', known, "unknown_rule"))
        return None
    return named[name]


def _parse_question(name: str, value: object, place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse what is asked of one name: bounds, a value, or a list of values."""
    if isinstance(value, Mapping):
        return _parse_bounds(name, value, place, flaws)
    values = list(value) if isinstance(value, (list, tuple)) else [value]
    if not values:
        _refuse(flaws, place, "an empty list, which nothing can match")
    facts = [_fact(item, (*place, index) if isinstance(value, (list, tuple)) else place, flaws) for index, item in enumerate(values)]
    known = tuple(fact for fact in facts if fact is not None)
    return Comparison(name, "in", known) if known else None


def _parse_bounds(name: str, raw: Mapping[Any, Any], place: Place, flaws: list[Flaw]) -> Condition | None:
    """Parse `{at_least: 0.5, at_most: 1.0}` or `{from: 2006-06-12}`: at most one bound on each side, with something between."""
    parts: list[Comparison] = []
    if not raw:
        _refuse(flaws, place, f"no bound; expected {' or '.join(BOUNDS)}, for a date {' or '.join(DATE_BOUNDS)}")
    for word, value in raw.items():
        if word not in _ALL_BOUNDS:
            text = f'unknown bound "{word}"{nearest_of(str(word), _ALL_BOUNDS)}'
            flaws.append(Flaw((*place, word), text, f"allowed here: {', '.join(_ALL_BOUNDS)}", "unknown_key"))
        else:
            bound = (_date_bound if word in DATE_BOUNDS else _number_bound)(value, (*place, word), flaws)
            parts += [] if bound is None else [Comparison(name, _ALL_BOUNDS[word], bound)]
    _check_bounds(parts, place, flaws)
    return None if not parts else parts[0] if len(parts) == 1 else AllOf(tuple(parts))


def _number_bound(value: object, place: Place, flaws: list[Flaw]) -> float | None:
    """Return a bound that is a number; a date is refused with the words that compare dates."""
    if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    is_date = isinstance(value, str) and day_number(value.strip()) is not None
    fix = f"dates are compared by {', '.join(DATE_BOUNDS)}" if is_date else "write a bare number in the unit that the name ends in"
    _refuse(flaws, place, f"not a number; got {shown_value(value)}", fix)
    return None


def _date_bound(value: object, place: Place, flaws: list[Flaw]) -> date | None:
    """Return a bound that is a date; a number is refused with the words that compare numbers."""
    try:
        return day_of(value)
    except FlawsError as error:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            text = f"not a date; got {shown_value(value)}, expected for example 2006-06-12"
            _refuse(flaws, place, text, f"numbers are compared by {', '.join(BOUNDS)}")
        else:
            flaws.extend(flaw.below(*place) for flaw in error.flaws)
        return None


def _check_bounds(parts: list[Comparison], place: Place, flaws: list[Flaw]) -> None:
    """Refuse two bounds on the same side, and bounds with nothing between them."""
    lower = [part for part in parts if part.op in _LOWER]
    upper = [part for part in parts if part.op not in _LOWER]
    if len(lower) > 1 or len(upper) > 1:
        _refuse(flaws, place, "two bounds on the same side", "keep one of them")
    elif len({isinstance(part.value, date) for part in parts}) > 1:
        _refuse(flaws, place, "a bound that is a date beside one that is a number", "keep one of them")
    elif lower and upper:
        is_closed = lower[0].op == ">=" and upper[0].op == "<="
        if lower[0].bound > upper[0].bound or (lower[0].bound == upper[0].bound and not is_closed):
            _refuse(
                flaws,
                place,
                f"nothing can be {describe_condition(lower[0])} and {describe_condition(upper[0])}",
                "look whether the bounds are swapped",
            )


def _fact(value: object, place: Place, flaws: list[Flaw]) -> FactValue | None:
    """Return a value that an attribute can have; the words that look like true and false are refused."""
    if isinstance(value, bool):
        return value
    if isinstance(value, (int, float)) and math.isfinite(value):
        return float(value)
    if isinstance(value, str) and value.strip():
        if value.lower() in _TRUTH_WORDS:
            _refuse(flaws, place, f'"{value}" is text here', f"write true or false, here {_TRUTH_WORDS[value.lower()]}")
            return None
        return value.strip()
    _refuse(flaws, place, f"not a word, a number, or true or false; got {shown_value(value)}")
    return None


def parse_fact(value: object) -> FactValue:
    """Return a value that an engine can state of itself: a word, a finite number, or true or false.

    Raises:
        FlawsError: anything else, and the words yes, no, on and off, which no rule asking for true would match.
    """
    flaws: list[Flaw] = []
    fact = _fact(value, (), flaws)
    if fact is None:
        raise FlawsError(flaws)
    return fact


def _refuse(flaws: list[Flaw], place: Place, text: str, fix: str | None = None) -> None:
    """Note a flaw of a condition."""
    flaws.append(Flaw(place, text, fix, "condition"))
