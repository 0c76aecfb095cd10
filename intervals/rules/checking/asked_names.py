"""What each kind of rule may ask: levels hour by hour, measures of a window, or what an engine states of itself.

In: a condition's plain data and the kind of rule that it belongs to. Out: flaws for names that such a rule cannot know, and
for numbers compared with words. Refuses nothing itself. Names that only a site can declare are left to `ruleset_lint`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from intervals.language.conditions import Comparison, Condition, comparisons_of
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import (
    MEASURES,
    SHARE_MEASURE,
    condition_of_share,
    instead_of_use,
    is_window_measure,
    level_of_mean,
    mean_of,
)
from intervals.language.result_measures import is_meant_as_result
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.quantities import QUANTITIES, levels_of
from intervals.rules.effects.effect_fields import HOUR_KEY, WINDOW_KEYS, listed

Asker = Literal["applies_to", "step", "hour", "run", "window"]
"""A task's `applies_to`; the `when` of a step; an adjustment hour by hour; a run of `done_when`; an adjustment on a window."""
_OF_ENGINES: Mapping[str, str] = {"applies_to": "applies_to", "step": "when of a step"}
LEVELS = frozenset(levels_of(QUANTITIES))
_USES = frozenset(QUANTITIES) - LEVELS
_TEXT_FACTS = frozenset({"engine", "fuel", "duty"})


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
    return any(is_window_measure(part.name) for part in comparisons_of(condition))


def _asked_flaw(comparison: Comparison, named: Mapping[str, Condition], asker: Asker) -> tuple[str, str | None] | None:
    """Return text and fix where a comparison does not suit its rule."""
    name = comparison.name
    if is_meant_as_result(name):
        return f'"{name}" is a result; the table of a task may ask for it', "write interval_from: results, and a table"
    if name in _USES:
        fix = "ask for a level" if asker == "run" else instead_of_use(name)
        return f'"{name}" is a running total or an amount, not something that holds', fix
    if is_window_measure(name):
        return _measure_flaw(name, named, asker) or type_flaw(comparison)
    if name in LEVELS and asker in _OF_ENGINES:
        text = f'"{name}" changes from hour to hour; {_OF_ENGINES[asker]} may ask for what an engine states of itself'
        return text, "use an adjustment" if asker == "applies_to" else None
    if name in LEVELS and asker == "window":
        fix = f"ask for {mean_of(name)} or {SHARE_MEASURE}, or use {HOUR_KEY}"
        return f'"{name}" changes from hour to hour; {listed(WINDOW_KEYS, "and")} are judged once, on the window as a whole', fix
    return type_flaw(comparison)


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
        asked = next((part.name for part in comparisons_of(named[condition]) if is_window_measure(part.name) or part.name in _USES), None)
        if asked is not None:
            return f'the condition "{condition}" asks for "{asked}", which is not known hour by hour', "let it ask for levels"
    return None


def type_flaw(comparison: Comparison) -> tuple[str, str | None] | None:
    """Return text and fix where a number is compared with a word, or a word with a bound."""
    name = comparison.name
    is_number = name in LEVELS or name in MEASURES or name in ("rated_kw", "oil_volume_l")
    if isinstance(comparison.value, tuple):
        return number_flaw(name, comparison, "above: 90") if is_number else None
    if name in _TEXT_FACTS:
        return f'"{name}" is a word and has no bounds', f"write for example {{{name}: [natural-gas, biogas]}}" if name == "fuel" else None
    return None


def number_flaw(name: str, comparison: Comparison, example: str) -> tuple[str, str | None] | None:
    """Return text and fix where a number is compared with a word or with true or false."""
    values = comparison.value if isinstance(comparison.value, tuple) else ()
    odd = next((value for value in values if not isinstance(value, float) or isinstance(value, bool)), None)
    return None if odd is None else (f'"{name}" is a number; got {shown_value(odd)}', f"write for example {{{name}: {{{example}}}}}")
