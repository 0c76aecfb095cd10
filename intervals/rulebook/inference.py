"""The judge of conditions: the only module that touches durable-rules.

In: conditions by rule id, and facts about one situation. Out: which rules hold and which are unknown. What is put before the
engine is made in `expressions`: equal situations become equal facts there and are judged once, and the engine compares whole
numbers only. Refuses: facts of a type the rules cannot compare are unknown, never a match.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple
from weakref import finalize

from intervals.language.conditions import AnyOf, Comparison, Condition, comparisons_of
from intervals.rulebook.expressions import Expression, FactValue, Field, express_certain, express_possible, fields_of

try:
    from durable import engine as durable_engine
except ImportError as error:  # pragma: no cover - depends on how the machine built it
    _BUILD_HINT = (
        "durable-rules was built for another Python: install it again with "
        "CPPFLAGS=-DPyEval_CallObject=PyObject_CallObject in the environment"
    )
    raise ImportError(_BUILD_HINT) from error

ONE_STATE = "0"
OPENED, SEEN = "opened", "seen"
# durable-rules takes 32 terms in an expression and 64 matches of one fact: larger conditions are judged in parts first,
# and rules are registered a handful at a time
TERMS_AT_MOST = 5
RULES_TOGETHER = 12

_serial = itertools.count()


class InferenceFaultError(RuntimeError):
    """The inference engine failed on one judgement."""


class _QuietHost(durable_engine.Host):  # type: ignore[misc]  # durable-rules has no types
    """A host without the two timer threads that the original starts for ever."""

    def _run(self) -> None:
        """Start nothing: rules here have no timers."""

    @property
    def handles(self) -> tuple[int, ...]:
        """What durable-rules knows the registered rules by."""
        return tuple(each._handle for each in self._ruleset_directory.values())


class Verdict(NamedTuple):
    """Which rules hold, and which are unknown because a fact they need is unknown (both in the order of the rules)."""

    holds: tuple[str, ...]
    unknown: tuple[str, ...]


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
    _fields: dict[str, Field] = field(init=False, repr=False)
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
        self._fields = fields_of(self._small.values())

    def __reduce__(self) -> tuple[type[RuleBase], tuple[str, dict[str, Condition], bool]]:
        """Return what travels to another process: the rules, to be compiled there."""
        return RuleBase, (self.about, dict(self.rules), self.only_first)

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
        fact_of = facts.get
        return self._remembered(tuple([part.cell(fact_of(name)) for name, part in self._fields.items()]))

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

    def fire_one(self, facts: Mapping[str, FactValue]) -> str:
        """Return the one rule that fires, of rules that leave no situation out.

        Args:
            facts: fact -> true value, as for `fire`.

        Raises:
            InferenceFaultError: none fires, or several do, which such rules exclude; or the inference engine failed.
        """
        holds = self.fire(facts).holds
        if len(holds) != 1:
            message = f"{len(holds)} rules about {self.about} fired where one must"
            raise InferenceFaultError(message)
        return holds[0]

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
            fact |= part.facts_of(cell)
        fired = self._fired
        fired.clear()
        for group in self._groups:
            fired.discard(SEEN)
            self._put(self._host, group, fact | {"id": next(_serial)})
            if not fired:
                message = f"the rules about {self.about} did not answer"
                raise InferenceFaultError(message)
            if self.only_first and fired != {SEEN}:
                break
            if not self.only_first and SEEN not in fired:
                message = f"the rules about {self.about} did not see what was put before them"
                raise InferenceFaultError(message)
        return self._verdict(fired)

    def _verdict(self, fired: Collection[str]) -> Verdict:
        """Return what fired rules say; what is known to hold is not known to fail, so that its two rules fire together."""
        certain = [f"r{index}" in fired for index in range(len(self._small))]
        if self.only_first:
            return Verdict(tuple(itertools.compress(self._small, certain)), ())
        possible = [f"p{index}" in fired for index in range(len(self._small))]
        if any(holds and not may for holds, may in zip(certain, possible, strict=True)):
            message = f"the rules about {self.about} contradict one another"
            raise InferenceFaultError(message)
        unknown = [may and not holds for holds, may in zip(certain, possible, strict=True)]
        return Verdict(tuple(itertools.compress(self._small, certain)), tuple(itertools.compress(self._small, unknown)))

    def _put(self, host: _QuietHost, group: str, fact: dict[str, Any]) -> None:
        """Put one fact before one group of rules and take it away again."""
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

        A rule `r` fires where its condition is known to hold, a rule `p` where it is not known to fail. A rule `seen` fires on
        whatever is put before the group (of rules of which one fires, after all others): a group that stays silent is a fault, and
        never taken for one in which nothing holds. A rule `opened` fires once, before all others: durable-rules can give back only
        what a state took in which a rule has fired.
        """
        host = _QuietHost()
        rules = list(enumerate(self._small.values()))
        for start in range(0, len(rules), RULES_TOGETHER):
            definition: dict[str, Any] = {"opened": {"all": [{"m": {"about": OPENED}}], "run": _note_nothing}}
            for index, condition in rules[start : start + RULES_TOGETHER]:
                definition[f"r{index}"] = self._rule(f"r{index}", express_certain(condition, self._fields))
                if self.only_first:
                    definition[f"r{index}"]["pri"] = index + 1
                else:
                    definition[f"p{index}"] = self._rule(f"p{index}", express_possible(condition, self._fields))
            definition[SEEN] = {"all": [{"m": {"about": "it"}}], "run": self._noting(SEEN)}
            if self.only_first:
                definition[SEEN]["pri"] = len(rules) + 1
            group = f"{self.about}-{next(_serial)}"
            host.set_rulesets({group: definition})
            host.post(group, {"sid": ONE_STATE, "id": next(_serial), "about": OPENED})
            self._groups.append(group)
        # when the process ends, everything goes anyway
        finalize(self, _give_back, host.handles).atexit = False
        return host

    def _rule(self, name: str, expression: Expression) -> dict[str, Any]:
        """Return one rule that notes its name when it fires."""
        return {"all": [{"m": {"$and": [{"about": "it"}, expression]}}], "run": self._noting(name)}

    def _noting(self, name: str) -> Callable[[object], None]:
        """Return what a rule does when it fires."""
        # not this object itself: what the rules hold on to would not be given back as soon as nobody asks them any more
        fired = self._fired

        def note(_context: object) -> None:
            fired.add(name)

        return note


def _note_nothing(_context: object) -> None:
    """Do nothing where a rule fires whose name says nothing."""


def _give_back(handles: Sequence[int]) -> None:
    """Give back what registered rules took, some 60 kB a rule: durable-rules keeps it for ever, and two things have to be given back."""
    for handle in handles:
        durable_engine.durable_rules_engine.delete_state(handle, ONE_STATE)
        durable_engine.durable_rules_engine.delete_ruleset(handle)


def _terms(condition: Condition) -> int:
    """Return how many comparisons a condition is made of."""
    return sum(len(part.value) if isinstance(part.value, tuple) else 1 for part in comparisons_of(condition))


def _in_parts(condition: Condition, parts: dict[str, Condition]) -> Condition:
    """Return an equal condition of few terms; what is cut off is noted in `parts` under a name of its own."""
    if _terms(condition) <= TERMS_AT_MOST:
        return condition
    if isinstance(condition, Comparison):
        # a bound is one term: only a list of values can be too long
        values = condition.value if isinstance(condition.value, tuple) else ()
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


__all__ = ["FactValue", "InferenceFaultError", "RuleBase", "Verdict"]
