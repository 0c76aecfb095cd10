"""Conditions, legs, and what runs met of conditions, in the words of the trade.

In: conditions, legs of an interval, facts that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition, comparisons_of
from intervals.language.done_when import DoneWhen, RunPart
from intervals.language.durations import CalendarStep
from intervals.language.legs import leg_unit
from intervals.language.measures import MONTH, condition_of_share, measure_of
from intervals.language.result_measures import result_measure_of
from intervals.quantities import QUANTITIES, shown_unit
from intervals.shown_numbers import amount, count_of, figure

BOUND_WORDS = {">": "above", ">=": "at least", "<": "below", "<=": "at most"}
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip
IN_MONTH = tuple(f"in {name}" for name in _MONTHS)
"""How what is asked of the month begins, in words."""
DATE_BOUND_WORDS = {">": "after", ">=": "on or after", "<": "before", "<=": "on or before"}


def phrase_of(condition: Condition) -> str:
    """Return a condition in the words of the trade, such as `above 90 % load`."""
    match condition:
        case Comparison(name=name, op=op, value=value):
            if isinstance(value, tuple):
                if name == MONTH:
                    return in_months(value)
                words = " or ".join(value_in_words(part) for part in value)
                is_yes_or_no = all(isinstance(part, bool) for part in value)
                return f"{name_in_words(name).replace(' pct', ' %')}: {words}" if is_yes_or_no else f"{name_in_words(name)} {words}"
            bound = f"{(DATE_BOUND_WORDS if isinstance(value, date) else BOUND_WORDS)[op]} {value_in_words(value)}"
            behind = _behind_bound(name)
            return f"{bound} {behind}" if behind else f"{name_in_words(name)} {bound}"
        case AllOf(parts=parts):
            between = _between(parts)
            return between or " and ".join(phrase_of(part) for part in parts)
        case AnyOf(parts=parts):
            return " or ".join(phrase_of(part) for part in parts)


def in_months(values: Iterable[object]) -> str:
    """Return in which months of the year, such as `in June or July`; what is no month stands as it is."""
    numbers = {float(number): name for number, name in enumerate(_MONTHS, 1)}
    return f"in {' or '.join(numbers.get(value, str(value)) if isinstance(value, float) else str(value) for value in values)}"


def as_hours_are(condition: Condition) -> str:
    """Return a condition as hours stand in it: `above 90 % load`, `at 0.5 to 1 % fuel sulphur`, `with fuel biogas`, `in June or July`."""
    phrase = phrase_of(condition)
    if phrase[0].isdigit():
        return f"at {phrase}"
    return phrase if phrase.startswith((*BOUND_WORDS.values(), *IN_MONTH)) else f"with {phrase}"


def _between(parts: tuple[Condition, ...]) -> str:
    """Return `0.5 to 1 % fuel sulphur` for a lower and an upper bound of one level, else an empty text."""
    if len(parts) != 2 or not all(isinstance(part, Comparison) and not isinstance(part.value, tuple) for part in parts):  # noqa: PLR2004
        return ""
    low, high = parts
    if not isinstance(low, Comparison) or not isinstance(high, Comparison) or low.name != high.name:
        return ""
    behind = _behind_bound(low.name)
    if not behind:
        return ""
    if low.op == ">=" and high.op == "<=":
        return f"{value_in_words(low.value)} to {value_in_words(high.value)} {behind}"
    return f"{BOUND_WORDS[low.op]} {value_in_words(low.value)} and {BOUND_WORDS[high.op]} {value_in_words(high.value)} {behind}"


def _behind_bound(name: str) -> str:
    """Return what stands behind a bound on a name, such as `% load`; empty where the name itself is put before the bound."""
    quantity, measure = QUANTITIES.get(name), measure_of(name)
    if quantity is not None and quantity.kind == "level":
        return f"{shown_unit(quantity.unit)} {quantity.thing}"
    if measure is not None:
        return measure.words
    result = result_measure_of(name)
    return "" if result is None else result.words


def limit_text(limit: Condition, figures: Mapping[str, float | None]) -> str:
    """Return one limit of an analysis with what was found: `acid number rise 3.01, allowed at most 3`."""
    parts: dict[str, list[str]] = {}
    for part in comparisons_of(limit):
        values = part.value if isinstance(part.value, tuple) else (part.value,)
        word = {"above": "more than", "below": "less than", "is": "only"}.get(part.words, part.words)
        parts.setdefault(part.name, []).append(f"{word} {' or '.join(value_in_words(value) for value in values)}")
    found = {name: figures.get(name) for name in parts}
    return ", ".join(
        f"{name_in_words(name)} {'unknown' if found[name] is None else fact_in_words(found[name])}, allowed {' and '.join(bounds)}"
        for name, bounds in parts.items()
    )


def name_in_words(name: str) -> str:
    """Return a name with blanks."""
    condition = condition_of_share(name)
    return (name if condition is None else f"share of hours {condition}").replace("_", " ").strip()


def value_in_words(value: object) -> str:
    """Return a value of a condition as it is written."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.15g}" if isinstance(value, int | float) else str(value)


def measured_in_words(name: str, value: object) -> str:
    """Return a figure of a window with its name: `29.8 starts per 100 h`, `66.8 % of hours light`, `dusty air yes`."""
    unit = _behind_bound(name) if isinstance(value, int | float) and not isinstance(value, bool) else ""
    return f"{fact_in_words(value)} {unit}" if unit else f"{name_in_words(name)} {fact_in_words(value)}"


def fact_in_words(value: object) -> str:
    """Return a fact as a person reads it."""
    return figure(float(value)) if isinstance(value, int | float) and not isinstance(value, bool) else value_in_words(value)


def legs_in_words(legs: Mapping[str, float | CalendarStep], joiner: str) -> str:
    """Return legs in words, such as `2,000 h or 1 year`."""
    texts = [
        step_in_words(value) if isinstance(value, CalendarStep) else f"{figure(value)} {leg_unit(leg, {}).unit}"
        for leg, value in legs.items()
    ]
    return f" {joiner} ".join(texts)


def step_in_words(step: CalendarStep) -> str:
    """Return a calendar step in words, such as `1 year and 30 days`."""
    parts = [(step.years, "year"), (step.months, "month"), (step.weeks, "week"), (step.days, "day")]
    return " and ".join(count_of(number, noun) for number, noun in parts if number) or count_of(0, "day")


def part_text(minutes: float, part: RunPart) -> str:
    """Return the minutes of a part in words: `35 min in a row with at least 30 % load`."""
    shown = amount(round(minutes, 6), "min", line=float(part.running_min))
    return f"{shown} in a row" + (f" with {phrase_of(part.when)}" if part.when is not None else "")


def short_run_text(ran_min: float, ended: str, asked: DoneWhen, index: int, best_min: float, unknown_min: float) -> str:  # noqa: PLR0913 - the facts of one sentence
    """Return the sentence of a run that fell short.

    Args:
        ran_min: its running minutes in all.
        ended: when and by which row it ended.
        asked: what its task asks for.
        index: the part that it did not meet.
        best_min: the most minutes in a row of that part.
        unknown_min: minutes on which that part is unknown.
    """
    part, parts = asked.parts[index], len(asked.parts)
    which = f"part {index + 1} of {parts}: " if parts > 1 else ""
    less = f", less {amount(float(asked.sampling_min), 'min')} for the log's sampling" if asked.sampling_min else ""
    unknown = f"; for {amount(round(unknown_min, 6), 'min')} it is unknown" if unknown_min > 0 else ""
    return (
        f"the run of {amount(round(ran_min, 6), 'min')} that ended by {ended} fell short: "
        f"{which}{part_text(best_min, part)}, {amount(float(part.running_min), 'min')} needed{less}{unknown}"
    )
