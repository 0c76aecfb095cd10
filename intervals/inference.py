"""The judge of conditions: the only module that touches durable-rules.

In: conditions by rule id, and facts about one situation. Out: which rules hold and which cannot be told. Every number is
first replaced by the representative of its duty cell, in whole millionths of its unit: equal situations become equal facts
and are judged once, and the inference engine compares whole numbers only. Refuses: facts of a type the rules cannot compare
are unknown, never a match.
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition, comparisons_of

try:
    from durable import engine as durable_engine
except ImportError as error:  # pragma: no cover - depends on how the machine built it
    _BUILD_HINT = (
        "durable-rules was built for another Python: install it again with "
        "CPPFLAGS=-DPyEval_CallObject=PyObject_CallObject in the environment"
    )
    raise ImportError(_BUILD_HINT) from error

FactValue = float | int | str | bool | None
Expression = dict[str, Any]

MILLIONTHS = 1_000_000
# stands in the number field of a text fact; no figure of the trade comes near it
NO_NUMBER = -(2**52)
# words go in as their place in the rules' own list of words, so that no quote or umlaut meets the engine's parser
NO_TEXT = -1
OTHER_TEXT = 0
UNKNOWN_CELL = -1
ONE_STATE = "0"
# durable-rules takes 32 terms in an expression and 64 matches of one fact: larger conditions are judged in parts first,
# and rules are registered a handful at a time
TERMS_AT_MOST = 5
RULES_TOGETHER = 12

_OPERATORS = {">": "$gt", ">=": "$gte", "<": "$lt", "<=": "$lte"}
_serial = itertools.count()


class InferenceFaultError(RuntimeError):
    """The inference engine failed on one judgement."""


class _QuietHost(durable_engine.Host):  # type: ignore[misc]  # durable-rules has no types
    """A host without the two timer threads that the original starts for ever."""

    def _run(self) -> None:
        """Start nothing: rules here have no timers."""


@dataclass(frozen=True)
class Verdict:
    """Which rules hold, and which cannot be told because a fact they need is unknown (both in the order of the rules)."""

    holds: tuple[str, ...]
    unknown: tuple[str, ...]


class _Field:
    """One fact that rules ask for: the numbers and words they compare it with."""

    __slots__ = ("_word_cells", "cuts", "is_ordered", "number", "texts")

    def __init__(self, number: int, cuts: tuple[int, ...], texts: tuple[str, ...], *, is_ordered: bool) -> None:
        self.number = number
        self.cuts = cuts
        self.texts = texts
        self.is_ordered = is_ordered
        self._word_cells: dict[str | bool, int] = {}

    def cell(self, value: FactValue) -> int:
        """Return the number of the cell that holds every value which no rule can tell from this one; -1 for unknown.

        Cells 0 to 2k lie between and at the k cuts (odd ones at a cut); the words follow them.
        """
        if value is True or value is False or isinstance(value, str):
            word = self._word_cells.get(value)
            return self._word_cell(value) if word is None else word
        if value is None or not math.isfinite(value):
            return UNKNOWN_CELL
        number = round(value * MILLIONTHS)
        cuts = self.cuts
        index = bisect_left(cuts, number)
        return 2 * index + (index < len(cuts) and cuts[index] == number)

    def _word_cell(self, value: str | bool) -> int:
        """Return the cell of a word and remember it; a word where numbers are compared is unknown."""
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

    def code_of(self, value: str | bool) -> int:
        """Return the number that stands for a word: its place among the words that rules name, from 1."""
        text = _text_of(value)
        return self.texts.index(text) + 1 if text in self.texts else OTHER_TEXT


def to_millionths(value: float) -> int:
    """Return a figure in whole millionths of its unit, the grain at which figures meet thresholds."""
    return round(value * MILLIONTHS)


def _text_of(value: str | bool) -> str:
    """Return the text that stands for a word or a truth value."""
    return value if isinstance(value, str) else ("true" if value else "false")


@dataclass
class RuleBase:
    """Rules over one kind of situation, compiled once for durable-rules.

    Args:
        about: what the situations are, for messages ("duty", "standing" ...).
        rules: rule id -> condition, in order of priority.
        only_first: whether one situation fires one rule only, the first that holds (posted as an event with priorities),
            instead of every rule that holds (asserted as a fact).
    """

    about: str
    rules: Mapping[str, Condition]
    only_first: bool = False
    _fields: dict[str, _Field] = field(init=False, repr=False)
    _memory: dict[tuple[Any, ...], Verdict] = field(init=False, repr=False, default_factory=dict)
    _small: dict[str, Condition] = field(init=False, repr=False, default_factory=dict)
    _stages: list[RuleBase] = field(init=False, repr=False, default_factory=list)
    _host: _QuietHost | None = field(init=False, repr=False, default=None)
    _groups: list[str] = field(init=False, repr=False, default_factory=list)
    _fired: set[str] = field(init=False, repr=False, default_factory=set)

    def __post_init__(self) -> None:
        parts: dict[str, Condition] = {}
        self._small = {name: _in_parts(condition, parts) for name, condition in self.rules.items()}
        self._stages = _in_stages(self.about, parts)
        self._fields = _fields_of(self._small.values())

    @property
    def names(self) -> frozenset[str]:
        """Every fact that the rules ask for."""
        return frozenset(part.name for condition in self.rules.values() for part in comparisons_of(condition))

    @property
    def situations_judged(self) -> int:
        """How many different situations the inference engine has judged."""
        return len(self._memory)

    def fire(self, facts: Mapping[str, FactValue]) -> Verdict:
        """Return what the rules say of one situation.

        Args:
            facts: fact -> true value; a missing one and None are unknown.

        Raises:
            InferenceFaultError: the inference engine failed.
        """
        for stage in self._stages:
            verdict = stage.fire(facts)
            facts = {**facts, **dict.fromkeys(stage.rules, False), **dict.fromkeys(verdict.unknown), **dict.fromkeys(verdict.holds, True)}
        told = facts.get
        return self._remembered(tuple([part.cell(told(name)) for name, part in self._fields.items()]))

    def fire_each(self, facts: Mapping[str, FactValue], columns: Mapping[str, Sequence[float]], count: int) -> list[Verdict]:
        """Return what the rules say of each of many situations that share most of their facts.

        Args:
            facts: fact -> true value, the same in every situation; a missing one and None are unknown.
            columns: fact -> its value in each situation; NaN is unknown.
            count: how many situations there are.

        Raises:
            InferenceFaultError: the inference engine failed.
        """
        if self._stages:
            return [self.fire({**facts, **{name: column[index] for name, column in columns.items()}}) for index in range(count)]
        cells: list[Sequence[int]] = [range(count)]
        for name, part in self._fields.items():
            cell = part.cell
            cells.append([cell(value) for value in columns[name]] if name in columns else [cell(facts.get(name))] * count)
        return [self._remembered(row[1:]) for row in zip(*cells, strict=True)]

    def _remembered(self, situation: tuple[int, ...]) -> Verdict:
        """Return what the rules say of one situation, judging it if no equal one was judged before."""
        known = self._memory.get(situation)
        if known is None:
            known = self._memory[situation] = self._judge(situation)
        return known

    def _judge(self, situation: tuple[int, ...]) -> Verdict:
        """Let durable-rules judge one situation."""
        if self._host is None:
            self._host = self._compile()
        fact: dict[str, Any] = {"sid": ONE_STATE, "about": "it"}
        for part, cell in zip(self._fields.values(), situation, strict=True):
            known, number, text = part.represent(cell)
            fact |= {f"k{part.number}": known, f"n{part.number}": number, f"t{part.number}": text}
        self._fired.clear()
        for group in self._groups:
            self._put(self._host, group, fact | {"id": next(_serial)})
            if self.only_first and self._fired:
                break
        holds = tuple(name for index, name in enumerate(self._small) if f"r{index}" in self._fired)
        unknown = tuple(name for index, name in enumerate(self._small) if f"p{index}" in self._fired and f"r{index}" not in self._fired)
        return Verdict(holds, unknown)

    def _put(self, host: _QuietHost, group: str, fact: dict[str, Any]) -> None:
        """Put one fact before one group of rules and take it away again; that none fires is no error."""
        try:
            if self.only_first:
                host.post(group, fact)
            else:
                host.assert_fact(group, fact)
                host.retract_fact(group, fact)
        except durable_engine.MessageNotHandledException:
            return
        except Exception as error:
            message = f"the rules about {self.about} could not be judged: {error}"
            raise InferenceFaultError(message) from error

    def _compile(self) -> _QuietHost:
        """Register the rules under names of their own; definitions are built afresh since registering changes them.

        A rule `r` fires where its condition is known to hold, a rule `p` where it is not known to fail.
        """
        host = _QuietHost()
        rules = list(enumerate(self._small.values()))
        for start in range(0, len(rules), RULES_TOGETHER):
            definition: dict[str, Any] = {}
            for index, condition in rules[start : start + RULES_TOGETHER]:
                definition[f"r{index}"] = self._rule(f"r{index}", _holds(condition, self._fields))
                if self.only_first:
                    definition[f"r{index}"]["pri"] = index + 1
                else:
                    definition[f"p{index}"] = self._rule(f"p{index}", _possible(condition, self._fields))
            group = f"{self.about}-{next(_serial)}"
            host.set_rulesets({group: definition})
            self._groups.append(group)
        return host

    def _rule(self, name: str, expression: Expression) -> dict[str, Any]:
        """Return one rule that notes its name when it fires."""

        def note(_context: object) -> None:
            self._fired.add(name)

        return {"all": [{"m": {"$and": [{"about": "it"}, expression]}}], "run": note}


def _terms(condition: Condition) -> int:
    """Return how many comparisons a condition is made of."""
    return sum(len(part.value) if isinstance(part.value, tuple) else 1 for part in comparisons_of(condition))


def _in_parts(condition: Condition, parts: dict[str, Condition]) -> Condition:
    """Return an equal condition of few terms; what is cut off is noted in `parts` under a name of its own."""
    if _terms(condition) <= TERMS_AT_MOST:
        return condition
    if isinstance(condition, Comparison):
        values = condition.value if isinstance(condition.value, tuple) else (condition.value,)
        lists = [values[start : start + TERMS_AT_MOST] for start in range(0, len(values), TERMS_AT_MOST)]
        condition = AnyOf(tuple(Comparison(condition.name, "in", some) for some in lists))
    joined = type(condition)
    pieces = [_in_parts(piece, parts) for piece in condition.parts]
    while sum(_terms(piece) for piece in pieces) > TERMS_AT_MOST:
        group = [pieces.pop(0)]
        while pieces and sum(_terms(piece) for piece in [*group, pieces[0]]) <= TERMS_AT_MOST:
            group.append(pieces.pop(0))
        name = f"part {len(parts)}"
        parts[name] = joined(tuple(group))
        pieces.append(Comparison(name, "in", (True,)))
    return joined(tuple(pieces))


def _in_stages(about: str, parts: dict[str, Condition]) -> list[RuleBase]:
    """Return rule bases that judge the parts in order: each stage rests on facts and on stages before it."""
    stages: list[dict[str, Condition]] = []
    stage_of: dict[str, int] = {}
    for name, condition in parts.items():
        # a part is noted after all that it rests on
        stage_of[name] = max((stage_of[part.name] + 1 for part in comparisons_of(condition) if part.name in stage_of), default=0)
        while len(stages) <= stage_of[name]:
            stages.append({})
        stages[stage_of[name]][name] = condition
    return [RuleBase(f"parts of {about}", rules) for rules in stages]


def _fields_of(conditions: Iterable[Condition]) -> dict[str, _Field]:
    """Return every fact the conditions ask for, with all it is compared with."""
    cuts: dict[str, set[int]] = {}
    texts: dict[str, set[str]] = {}
    ordered: set[str] = set()
    for condition in conditions:
        for part in comparisons_of(condition):
            cuts.setdefault(part.name, set())
            texts.setdefault(part.name, set())
            if isinstance(part.value, tuple):
                for value in part.value:
                    if isinstance(value, bool | str):
                        texts[part.name].add(_text_of(value))
                    else:
                        cuts[part.name].add(to_millionths(value))
            else:
                ordered.add(part.name)
                cuts[part.name].add(to_millionths(part.value))
    return {
        name: _Field(number, tuple(sorted(cuts[name])), tuple(sorted(texts[name])), is_ordered=name in ordered)
        for number, name in enumerate(cuts)
    }


def _leaf(part: Comparison, fields: Mapping[str, _Field]) -> Expression:
    """Return a comparison that is true of a known fact for which it holds."""
    number = fields[part.name].number
    if not isinstance(part.value, tuple):
        return {_OPERATORS[part.op]: {f"n{number}": to_millionths(part.value)}}
    return _any([_equals(fields[part.name], value) for value in part.value])


def _equals(part: _Field, value: float | str | bool) -> Expression:
    """Return an equality with a word or a number."""
    if isinstance(value, bool | str):
        return {f"t{part.number}": part.code_of(value)}
    return {f"n{part.number}": to_millionths(value)}


def _known(part: Comparison, fields: Mapping[str, _Field], *, is_known: bool) -> Expression:
    """Return the comparison that tells whether the fact is known."""
    return {f"k{fields[part.name].number}": is_known}


def _holds(condition: Condition, fields: Mapping[str, _Field]) -> Expression:
    """Return an expression that is true where the condition is known to hold."""
    match condition:
        case Comparison():
            return _all([_known(condition, fields, is_known=True), _leaf(condition, fields)])
        case AllOf(parts=parts):
            return _all([_holds(part, fields) for part in parts])
        case AnyOf(parts=parts):
            return _any([_holds(part, fields) for part in parts])


def _possible(condition: Condition, fields: Mapping[str, _Field]) -> Expression:
    """Return an expression that is true where the condition is not known to fail."""
    match condition:
        case Comparison():
            return _any([_known(condition, fields, is_known=False), _leaf(condition, fields)])
        case AllOf(parts=parts):
            return _all([_possible(part, fields) for part in parts])
        case AnyOf(parts=parts):
            return _any([_possible(part, fields) for part in parts])


def _all(parts: list[Expression]) -> Expression:
    """Return the conjunction; of nothing it is true."""
    return {"$and": parts} if len(parts) > 1 else parts[0] if parts else {"about": "it"}


def _any(parts: list[Expression]) -> Expression:
    """Return the alternative; of nothing it is false."""
    return {"$or": parts} if len(parts) > 1 else parts[0] if parts else {"$neq": {"about": "it"}}
