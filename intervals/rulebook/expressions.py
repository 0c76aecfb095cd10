"""What is put before the inference engine: facts as numbers of cells, conditions as expressions.

In: conditions, and the values of facts. Out: a `Field` for each fact that the conditions ask for, which replaces a value by the
representative of its duty cell, in whole millionths of its unit; and expressions over these in the form that durable-rules reads.
Nothing here touches that engine. Refuses nothing: a value of a type that the rules cannot compare is unknown, never a match.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping
from typing import Any

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition, comparisons_of, dated_names, day_number

FactValue = float | int | str | bool | None
Expression = dict[str, Any]

MILLIONTHS = 1_000_000
# stands in the number field of a text fact; no figure of the trade comes near it
NO_NUMBER = -(2**52)
# words go in as their place in the rules' own list of words, so that no quote or umlaut meets the engine's parser
NO_TEXT = -1
OTHER_TEXT = 0
UNKNOWN_CELL = -1

_OPERATORS = {">": "$gt", ">=": "$gte", "<": "$lt", "<=": "$lte"}


class Field:
    """One fact that rules ask for: the numbers and words they compare it with; dates are the numbers of their days."""

    __slots__ = ("_word_cells", "cuts", "is_dated", "is_ordered", "number", "texts")

    def __init__(self, number: int, cuts: tuple[int, ...], texts: tuple[str, ...], *, is_ordered: bool, is_dated: bool = False) -> None:
        self.number = number
        self.cuts = cuts
        self.texts = texts
        self.is_ordered = is_ordered
        self.is_dated = is_dated
        self._word_cells: dict[str | bool, int] = {}

    def cell(self, value: FactValue) -> int:
        """Return the number of the cell that holds every value which no rule distinguishes from this one; -1 for unknown.

        Cells 0 to 2k lie between and at the k cuts (odd ones at a cut); the words follow them.
        """
        if value is None:
            return UNKNOWN_CELL
        if value is True or value is False or isinstance(value, str):
            word = self._word_cells.get(value)
            return self._word_cell(value) if word is None else word
        return UNKNOWN_CELL if self.is_dated or not math.isfinite(value) else self._number_cell(value)

    def _number_cell(self, value: float) -> int:
        """Return the cell of a number."""
        number = round(value * MILLIONTHS)
        cuts = self.cuts
        index = bisect_left(cuts, number)
        return 2 * index + (index < len(cuts) and cuts[index] == number)

    def _word_cell(self, value: str | bool) -> int:
        """Return the cell of a word and remember it; a word where numbers are compared is unknown, unless it is a date among dates."""
        day = day_number(value) if self.is_dated and isinstance(value, str) else None
        if day is not None:
            cell = self._number_cell(day)
        else:
            cell = UNKNOWN_CELL if self.is_ordered else 2 * len(self.cuts) + 1 + self.code_of(value)
        self._word_cells[value] = cell
        return cell

    def represent(self, cell: int) -> tuple[bool, int, int]:  # noqa: PLR0911 - one return a kind of cell
        """Return (known, number, word) that stand for a cell: the cut itself, the middle between two, or one beyond the outermost."""
        if cell == UNKNOWN_CELL:
            return False, NO_NUMBER, NO_TEXT
        if cell > 2 * len(self.cuts):
            return True, NO_NUMBER, cell - 2 * len(self.cuts) - 1
        if not self.cuts:
            return True, 0, NO_TEXT
        if cell % 2:
            return True, self.cuts[cell // 2], NO_TEXT
        if cell == 0:
            return True, self.cuts[0] - 1, NO_TEXT
        if cell == 2 * len(self.cuts):
            return True, self.cuts[-1] + 1, NO_TEXT
        return True, (self.cuts[cell // 2 - 1] + self.cuts[cell // 2]) // 2, NO_TEXT

    def facts_of(self, cell: int) -> dict[str, bool | int]:
        """Return what stands for a cell before the inference engine: whether it is known, the number, the word."""
        known, number, word = self.represent(cell)
        return {f"k{self.number}": known, f"n{self.number}": number, f"t{self.number}": word}

    def code_of(self, value: str | bool) -> int:
        """Return the number that stands for a word: its place among the words that rules name, from 1."""
        text = _text_of(value)
        return self.texts.index(text) + 1 if text in self.texts else OTHER_TEXT


def to_millionths(value: float) -> int:
    """Return a figure in whole millionths of its unit, the grain at which figures meet thresholds."""
    return round(value * MILLIONTHS)


def _text_of(value: float | str | bool) -> str:
    """Return the text that stands for a word or a truth value."""
    return value if isinstance(value, str) else ("true" if value else "false")


def fields_of(conditions: Iterable[Condition]) -> dict[str, Field]:
    """Return every fact the conditions ask for, with all it is compared with."""
    listed = list(conditions)
    dated = dated_names(listed)
    cuts: dict[str, set[int]] = {}
    texts: dict[str, set[str]] = {}
    ordered: set[str] = set()
    for condition in listed:
        for part in comparisons_of(condition):
            cuts.setdefault(part.name, set())
            texts.setdefault(part.name, set())
            if isinstance(part.value, tuple):
                for value in part.value:
                    number = _number_of(value, is_dated=part.name in dated)
                    if number is None:
                        texts[part.name].add(_text_of(value))
                    else:
                        cuts[part.name].add(to_millionths(number))
            else:
                ordered.add(part.name)
                cuts[part.name].add(to_millionths(part.bound))
    return {
        name: Field(place, tuple(sorted(cuts[name])), tuple(sorted(texts[name])), is_ordered=name in ordered, is_dated=name in dated)
        for place, name in enumerate(cuts)
    }


def _number_of(value: float | str | bool, *, is_dated: bool) -> float | None:
    """Return the number as which a value is compared for equality, or None where it is a word."""
    if isinstance(value, bool):
        return None
    if isinstance(value, str):
        return day_number(value) if is_dated else None
    return value


def _leaf(part: Comparison, fields: Mapping[str, Field]) -> Expression:
    """Return a comparison that is true of a known fact for which it holds."""
    number = fields[part.name].number
    if not isinstance(part.value, tuple):
        return {_OPERATORS[part.op]: {f"n{number}": to_millionths(part.bound)}}
    return _any([_equals(fields[part.name], value) for value in part.value])


def _equals(part: Field, value: float | str | bool) -> Expression:
    """Return an equality with a word or a number."""
    number = _number_of(value, is_dated=part.is_dated)
    if number is None:
        return {f"t{part.number}": part.code_of(_text_of(value))}
    return {f"n{part.number}": to_millionths(number)}


def _known(part: Comparison, fields: Mapping[str, Field], *, is_known: bool) -> Expression:
    """Return the comparison that tells whether the fact is known."""
    return {f"k{fields[part.name].number}": is_known}


def express_certain(condition: Condition, fields: Mapping[str, Field]) -> Expression:
    """Return an expression that is true where the condition is known to hold."""
    match condition:
        case Comparison():
            return _all([_known(condition, fields, is_known=True), _leaf(condition, fields)])
        case AllOf(parts=parts):
            return _all([express_certain(part, fields) for part in parts])
        case AnyOf(parts=parts):
            return _any([express_certain(part, fields) for part in parts])


def express_possible(condition: Condition, fields: Mapping[str, Field]) -> Expression:
    """Return an expression that is true where the condition is not known to fail."""
    match condition:
        case Comparison():
            return _any([_known(condition, fields, is_known=False), _leaf(condition, fields)])
        case AllOf(parts=parts):
            return _all([express_possible(part, fields) for part in parts])
        case AnyOf(parts=parts):
            return _any([express_possible(part, fields) for part in parts])


def _all(parts: list[Expression]) -> Expression:
    """Return the conjunction; of nothing it is true."""
    return {"$and": parts} if len(parts) > 1 else parts[0] if parts else {"about": "it"}


def _any(parts: list[Expression]) -> Expression:
    """Return the alternative; of nothing it is false."""
    return {"$or": parts} if len(parts) > 1 else parts[0] if parts else {"$neq": {"about": "it"}}
