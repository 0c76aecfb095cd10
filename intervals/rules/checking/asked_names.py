"""What each kind of rule may ask: levels hour by hour, measures of a window, or what an engine states of itself.

In: a condition's plain data and the kind of rule that it belongs to. Out: flaws for names that such a rule cannot know, and
for numbers compared with words. Refuses nothing itself. Names that only a site can declare are left to `ruleset_lint`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Literal

from intervals.language.conditions import BOUNDS, DATE_BOUNDS, IN_SERVICE, Comparison, Condition, comparisons_of, dated_names, day_number
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import (
    MONTH,
    SHARE_MEASURE,
    condition_of_share,
    instead_of_use,
    is_hourly,
    is_window_measure,
    level_of_mean,
    mean_of,
)
from intervals.language.result_measures import is_meant_as_result
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.language.yamlmarks import YamlPath
from intervals.quantities import QUANTITIES, levels_of
from intervals.rules.effects.effect_fields import HOUR_KEY, WINDOW_KEYS, listed

Asker = Literal["applies_to", "step", "hour", "run", "window", "analysis"]
"""A task's `applies_to`; the `when` of a step; an adjustment hour by hour; a run of `done_when`; an adjustment on a window; what is found
in an analysis."""
_OF_ENGINES: Mapping[str, str] = {"applies_to": "applies_to", "step": "when of a step"}
LEVELS = frozenset(levels_of(QUANTITIES))
_USES = frozenset(QUANTITIES) - LEVELS
_TEXT_FACTS = frozenset({"engine", "kind", "fuel", "duty"})
_NUMBERS = f"numbers are compared by {', '.join(BOUNDS)}"
_DATE_FACTS = frozenset({IN_SERVICE})


def check_asked(raw: object, named: Mapping[str, Condition], asker: Asker) -> Iterator[Flaw]:
    """Yield flaws of a condition that asks for what its rule cannot know.

    Args:
        raw: the condition's plain data; one that cannot be understood is refused elsewhere.
        named: the rule set's conditions by name.
        asker: the kind of rule.

    Yields:
        Flaws with places below `raw`.
    """
    if raw is None:
        return
    try:
        condition = raw if isinstance(raw, Condition) else parse_condition(raw, named)
    except FlawsError:
        return
    for comparison in dict.fromkeys(comparisons_of(condition)):
        found = _asked_flaw(comparison, named, asker)
        if found is not None:
            text, fix = found
            place = (comparison.name,) if isinstance(raw, Mapping) and comparison.name in raw else ()
            yield Flaw(place, text, fix, "asks_wrongly")


def asks_measure(raw: object, named: Mapping[str, Condition]) -> bool:
    """Return whether a condition asks for a measure of a window; one that cannot be understood asks for none.

    Args:
        raw: the condition's plain data.
        named: the rule set's conditions by name.
    """
    try:
        condition = raw if isinstance(raw, Condition) else parse_condition(raw, named)
    except FlawsError:
        return False
    return any(is_window_measure(part.name) and not is_hourly(part.name) for part in comparisons_of(condition))


def _asked_flaw(comparison: Comparison, named: Mapping[str, Condition], asker: Asker) -> tuple[str, str | None] | None:
    """Return text and fix where a comparison does not suit its rule."""
    name = comparison.name
    if asker == "analysis":
        text = f'"{name}" is a value of an analysis and no date; got {comparison.value}'
        return (text, _NUMBERS) if isinstance(comparison.value, date) else None
    if is_meant_as_result(name) or name in _USES:
        return _nothing_that_holds(name, asker)
    if is_window_measure(name) and not (asker == "hour" and is_hourly(name)):
        return _measure_flaw(name, named, asker) or type_flaw(comparison)
    if name in LEVELS and asker in _OF_ENGINES:
        text = f'"{name}" changes from hour to hour; {_OF_ENGINES[asker]} may ask for what an engine states of itself'
        return text, "use an adjustment" if asker == "applies_to" else None
    if name in LEVELS and asker == "window":
        fix = f"ask for {mean_of(name)} or {SHARE_MEASURE}, or use {HOUR_KEY}"
        return f'"{name}" changes from hour to hour; {listed(WINDOW_KEYS, "and")} are judged once, on the window as a whole', fix
    return type_flaw(comparison)


def _nothing_that_holds(name: str, asker: Asker) -> tuple[str, str | None]:
    """Return text and fix where a name is a result, a running total or an amount."""
    if is_meant_as_result(name):
        return f'"{name}" is a result; the table of a task may ask for it', "write interval_from: results, and a table"
    fix = "ask for a level" if asker == "run" else instead_of_use(name)
    return f'"{name}" is a running total or an amount, not something that holds', fix


def _measure_flaw(name: str, named: Mapping[str, Condition], asker: Asker) -> tuple[str, str | None] | None:
    """Return text and fix where a window measure is asked for in the wrong place, or is none."""
    if asker in _OF_ENGINES:
        text = f'"{name}" belongs to a window; {_OF_ENGINES[asker]} may ask for what an engine states of itself'
        return text, "use an adjustment" if asker == "applies_to" else None
    if asker == "run":
        return f'"{name}" is known for a window as a whole; done_when is judged on each step of the log', "ask for a level"
    if asker == "hour":
        fix = f"use {WINDOW_KEYS[0]}, or ask for a level"
        return f'"{name}" is known for a window as a whole; {HOUR_KEY} is judged hour by hour', fix
    level, condition = level_of_mean(name), condition_of_share(name)
    if level is not None and level in _USES:
        return f'"{name}" is no measure: only levels have a mean', instead_of_use(level)
    if condition is not None and condition in named:
        names = (part.name for part in comparisons_of(named[condition]) if not is_hourly(part.name))
        asked = next((name for name in names if is_window_measure(name) or name in _USES), None)
        if asked is not None:
            return f'the condition "{condition}" asks for "{asked}", which is not known hour by hour', "let it ask for levels"
    return None


def type_flaw(comparison: Comparison) -> tuple[str, str | None] | None:
    """Return text and fix where a number is compared with a word or a date, a date with a number, or a word with a bound."""
    name = comparison.name
    is_number = _is_number(name)
    if name in _DATE_FACTS:
        return _date_flaw(comparison)
    if isinstance(comparison.value, date) and (is_number or name in _TEXT_FACTS):
        fix = _NUMBERS if is_number else None
        return f'"{name}" is a {"number" if is_number else "word"} and no date; got {comparison.value}', fix
    if name == MONTH and (odd := _no_month(comparison)) is not None:
        return f'"{MONTH}" is a number from 1 to 12; got {shown_value(odd)}', f"write for example {{{MONTH}: [6, 7, 8]}}"
    if isinstance(comparison.value, tuple):
        example = "[6, 7, 8]" if name == MONTH else "{above: 90}"
        return number_flaw(name, comparison, example) if is_number else None
    if name in _TEXT_FACTS:
        return f'"{name}" is a word and has no bounds', f"write for example {{{name}: [natural-gas, biogas]}}" if name == "fuel" else None
    return None


def number_flaw(name: str, comparison: Comparison, example: str) -> tuple[str, str | None] | None:
    """Return text and fix where a number is compared with a word or with true or false."""
    values = comparison.value if isinstance(comparison.value, tuple) else ()
    odd = next((value for value in values if not isinstance(value, float) or isinstance(value, bool)), None)
    return None if odd is None else (f'"{name}" is a number; got {shown_value(odd)}', f"write for example {{{name}: {example}}}")


def _no_month(comparison: Comparison) -> float | None:
    """Return a number that a month is compared with and that is none of the twelve, or none at all; a bound may lie between two."""
    if not isinstance(comparison.value, tuple):
        return None
    numbers = [value for value in comparison.value if isinstance(value, float)]
    return next((value for value in numbers if value not in range(1, 13)), None)


def _is_number(name: str) -> bool:
    """Return whether a name is known to be a number."""
    return name in LEVELS or is_window_measure(name) or name in ("rated_kw", "oil_volume_l")


def _date_flaw(comparison: Comparison) -> tuple[str, str | None] | None:
    """Return text and fix where what is a date is compared with something else."""
    values = comparison.value if isinstance(comparison.value, tuple) else (comparison.value,)
    others = [each for each in values if not isinstance(each, date)]
    odd = next((each for each in others if not isinstance(each, str) or day_number(each) is None), None)
    if odd is None:
        return None
    text = f'"{comparison.name}" is a date; got {shown_value(odd)}'
    return text, f"dates are compared by {', '.join(DATE_BOUNDS)}: {{{comparison.name}: {{before: 2006-06-12}}}}"


def compared_both_ways(placed: Iterable[tuple[YamlPath, Condition]]) -> Iterator[Flaw]:
    """Yield a flaw for each place that asks with a number, or with a truth value, for what another place compares with a date.

    Args:
        placed: every condition with its place in the file.
    """
    listed = list(placed)
    # what is known to be no date was refused where a date was asked of it
    dated = {name for name in dated_names(condition for _, condition in listed) if not _is_number(name) and name not in _TEXT_FACTS}
    for place, condition in listed if dated else ():
        for part in dict.fromkeys(comparisons_of(condition)):
            flaw = _date_flaw(part) if part.name in dated else None
            if flaw is not None:
                yield Flaw(place, *flaw, "asks_wrongly")
