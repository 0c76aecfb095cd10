"""What engines state of themselves, held against what rules ask for: names that are nearly asked for, values that no rule can compare.

In: a site, and the rule sets that judge each of its engines. Out: problems at the places of the site file, to be raised by the
caller. Refuses nothing itself.

A rule that asks for `dusty_air: true` does not hold on `dusty-air: true`, nor on `dusty_air: ja`: the longer interval would stay in
force without a word.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import NamedTuple

from intervals.language.conditions import STANDARD_FACTS, FactValue, comparisons_of, day_number
from intervals.language.flaws import Flaw, in_file_order, problems_from_flaws
from intervals.language.measures import is_window_measure
from intervals.language.result_measures import result_measure_of
from intervals.language.scalars import shown_value
from intervals.language.stated_values import ENGINE
from intervals.problems import Problem, ProblemsError, nearest_word
from intervals.quantities import QUANTITIES
from intervals.rules.review.card_values import card_flaws
from intervals.rules.review.same_words import is_same_letters, near_word
from intervals.rules.ruleset import RuleSet, load_ruleset
from intervals.rules.shipped import shipped_rulesets
from intervals.site.model import Engine, Site

FREE_WORDS: dict[str, tuple[str, ...]] = {
    "fuel": ("natural-gas", "biogas", "diesel", "heavy-fuel", "dual-fuel"),
    "duty": (
        "continuous", "prime", "prime-power", "standby", "emergency", "emergency-standby", "black-start", "limited-time", "limited",
    ),
}  # fmt: skip
"""Words that the program knows whether a rule set names them or not."""
ASKED_BY_THE_PROGRAM = frozenset({"fuel_ch4_pct"})
"""Attributes that are read without a rule set asking for them."""
_SLIP = 0.8
"""From this likeness on, an attribute that no rule asks for is taken for a slip for one that rules ask for."""
_PRIVATE_NAMES = frozenset({"engine", "kind"})
"""What names one engine or component, and is no word of a list."""

Judges = Callable[[Engine], Sequence[RuleSet]]


@dataclass
class Asked:
    """What rules ask of one name.

    Attributes:
        values: the values that conditions compare it with.
        is_bounded: whether some condition sets it a bound that is a number.
        is_dated: whether some condition compares it with a date.
        is_described: whether some rule set describes it under `attributes`.
        described: the words of those descriptions.
    """

    values: dict[FactValue, None] = field(default_factory=dict)
    is_bounded: bool = False
    is_dated: bool = False
    is_described: bool = False
    described: frozenset[str] = frozenset()

    @property
    def words(self) -> list[str]:
        """The words that conditions compare it with, in the order of the file."""
        return [value for value in self.values if isinstance(value, str)]

    @property
    def kinds(self) -> list[str]:
        """What a value may be, in words; empty where no condition asks."""
        takes_numbers = self.is_bounded or any(_is_number(value) for value in self.values)
        kinds = ["true or false"] if any(isinstance(value, bool) for value in self.values) else []
        kinds += ["a number"] if takes_numbers else []
        kinds += ["a date, year, month, day: YYYY-MM-DD"] if self.is_dated else []
        return kinds + ([f"one of {_listed(self.words)}"] if self.words else [])

    def takes(self, value: FactValue) -> bool:
        """Return whether a value is of a kind that some condition compares it with."""
        if isinstance(value, bool):
            return any(isinstance(each, bool) for each in self.values)
        if isinstance(value, str):
            return day_number(value) is not None if self.is_dated else bool(self.words)
        return self.is_bounded or any(_is_number(each) for each in self.values)


def asked_by(rulesets: Iterable[RuleSet]) -> dict[str, Asked]:
    """Return what rule sets ask for by name: all that an engine may state, and no measure of a window.

    Args:
        rulesets: the rule sets.
    """
    asked: dict[str, Asked] = {}
    for ruleset in rulesets:
        for name, meaning in ruleset.attributes.items():
            entry = asked.setdefault(name, Asked())
            entry.is_described = True
            entry.described |= frozenset(re.findall(r"[\w-]+", meaning))
        for place, condition in ruleset.placed_conditions:
            for part in comparisons_of(condition):
                if (
                    is_window_measure(part.name)
                    or part.name in QUANTITIES
                    or ("table" in place and result_measure_of(part.name) is not None)
                ):
                    continue
                entry = asked.setdefault(part.name, Asked())
                if isinstance(part.value, tuple):
                    entry.values.update(dict.fromkeys(part.value))
                else:
                    entry.is_dated |= isinstance(part.value, date)
                    entry.is_bounded |= not isinstance(part.value, date)
        for _, value in ruleset.stated_values:
            if value.scope == ENGINE:
                asked.setdefault(value.name, Asked()).is_bounded = True
    return asked


class StatedFacts(NamedTuple):
    """What is wrong with what engines state.

    Attributes:
        problems: at the places of the site file, in its order.
        meant: the names that rules ask for and that slips were taken for.
    """

    problems: list[Problem]
    meant: frozenset[str]


def check_stated_facts(site: Site, judges: Judges) -> StatedFacts:
    """Return what engines and components state under a name or with a value that no rule can compare.

    Args:
        site: the site.
        judges: gives the rule sets that judge an engine.
    """
    found: list[Flaw] = []
    quantities = site.quantities
    checks: dict[tuple[int, ...], FactCheck] = {}
    for index, unit in enumerate(site.judged_units):
        rulesets = judges(unit)
        key = tuple(map(id, rulesets))
        if key not in checks:
            checks[key] = FactCheck(rulesets)
        is_engine = index < len(site.engines)
        place = ("engines", index) if is_engine else ("components", index - len(site.engines))
        stated = {name: value for name, value in unit.facts().items() if name not in quantities}
        for flaw in checks[key].flaws_of(stated):
            beside_id = flaw.place[0] in STANDARD_FACTS
            found.append(flaw.below(*place) if beside_id else flaw.below(*place, "attributes"))
        if isinstance(unit, Engine) and unit.card:
            found += [flaw.below(*place, "card") for flaw in card_flaws(unit.card, rulesets)]
    problems = in_file_order(problems_from_flaws(found, site.marked())) if found else []
    return StatedFacts(problems, frozenset(name for check in checks.values() for name in check.meant))


class FactCheck:
    """Holds what engines state against the rule sets that judge them.

    Args:
        rulesets: the rule sets.
    """

    def __init__(self, rulesets: Sequence[RuleSet]) -> None:
        self._asked = asked_by(rulesets)
        self._answers: dict[tuple[str, FactValue, bool], Flaw | None] = {}
        self._slips: dict[tuple[str, frozenset[str]], Flaw | None] = {}
        self.meant: set[str] = set()
        """The names that slips were taken for."""

    def flaws_of(self, stated: Mapping[str, FactValue]) -> Iterator[Flaw]:
        """Yield what is wrong with the facts of one engine, each below its name.

        Args:
            stated: what the engine states, by name.
        """
        for name, value in stated.items():
            if name in self._asked:
                flaw = self._answer_to(name, value)
            elif name in FREE_WORDS:
                flaw = _unasked_word(name, value)
            else:
                flaw = self._slip_in(name, frozenset(self._asked.keys() & stated.keys()))
            if flaw is not None:
                yield flaw

    def _answer_to(self, name: str, value: FactValue) -> Flaw | None:
        """Return the flaw of a value of a name that rules ask for, or None; equal values are looked at once."""
        key = (name, value, isinstance(value, bool))
        if key not in self._answers:
            self._answers[key] = self._value_flaw(name, value)
        return self._answers[key]

    def _value_flaw(self, name: str, value: FactValue) -> Flaw | None:
        """Return the flaw of a value that no rule can compare, or None."""
        asked = self._asked[name]
        if not asked.kinds or name == "engine":
            return None
        if not asked.takes(value):
            expected = " or ".join(asked.kinds)
            kind = "word" if name in FREE_WORDS else "attribute"
            return Flaw((name,), f"{name} is {_shown(value)}, which no rule can compare", f"write {expected}", kind)
        if not isinstance(value, str) or asked.is_dated or value in asked.words:
            return None
        if value in asked.described or _is_word_elsewhere(name, value):
            return None
        known = list(dict.fromkeys([*asked.words, *FREE_WORDS.get(name, ())]))
        near = near_word(value, known)
        if near is None and not (name in FREE_WORDS or asked.is_described):
            return None
        meant = f'; did you mean "{near}"?' if near is not None else ""
        fix = f"write one of {_listed(known)}"
        if name not in _PRIVATE_NAMES:
            fix += f"; a word of your own is named by a rule set, in a condition or under attributes: {{{name}: ...}}"
        return Flaw((name,), f"{name} is {shown_value(value)}, which no rule names{meant}", fix, "word")

    def _slip_in(self, name: str, stated: frozenset[str]) -> Flaw | None:
        """Return the flaw of a name that is nearly one that rules ask for, or None; engines that state alike are looked at once."""
        key = (name, stated)
        if key not in self._slips:
            self._slips[key] = self._slip(name, stated)
        return self._slips[key]

    def _slip(self, name: str, stated: frozenset[str]) -> Flaw | None:
        """Return the flaw of a name that rules do not ask for, beside those asked for that the engine states; None where it is none."""
        if name in ASKED_BY_THE_PROGRAM or name in STANDARD_FACTS:
            return None
        names = [each for each in self._asked if each not in _PRIVATE_NAMES]
        near = next((each for each in names if is_same_letters(each, name)), None)
        if near is None:
            unstated = [each for each in names if each not in stated]
            near = nearest_word(name, unstated, _SLIP)
        if near is None or name in asked_elsewhere():
            return None
        self.meant.add(near)
        where = f"{near} beside id" if near in STANDARD_FACTS else near
        return Flaw((name,), f'no rule asks for "{name}"; did you mean "{near}"?', f"write {where}, or give it another name", "attribute")


@cache
def asked_elsewhere() -> dict[str, Asked]:
    """Return what all shipped rule sets ask for; they are read only where something looks like a slip."""
    loaded = []
    for path in shipped_rulesets().values():
        try:
            loaded.append(load_ruleset(path))
        except ProblemsError:
            continue  # whoever judges by it gets the report
    return asked_by(loaded)


def _is_word_elsewhere(name: str, word: str) -> bool:
    """Return whether a word is known beyond the rule sets at hand: to the program, or to a shipped rule set."""
    if word in FREE_WORDS.get(name, ()):
        return True
    asked = asked_elsewhere().get(name)
    return asked is not None and (word in asked.values or word in asked.described)


def _unasked_word(name: str, value: FactValue) -> Flaw | None:
    """Return the flaw of a fuel or duty that no rule set at hand asks for, and that is another spelling of a known word."""
    if not isinstance(value, str) or value in FREE_WORDS[name]:
        return None
    near = near_word(value, FREE_WORDS[name])
    if near is None or _is_word_elsewhere(name, value):
        return None
    return Flaw((name,), f'{name} is {shown_value(value)}, which no rule names; did you mean "{near}"?', f"write {near}", "word")


def _is_number(value: FactValue) -> bool:
    """Return whether a value is a number."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _shown(value: FactValue) -> str:
    """Return a value as it stands in the file."""
    return f"{value:.15g}" if _is_number(value) else shown_value(value)


def _listed(words: Iterable[str]) -> str:
    """Return words in quotes."""
    return ", ".join(f'"{word}"' for word in words)
