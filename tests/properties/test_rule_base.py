"""The judge of conditions against two other judges: plain three-valued logic in Python, and the CLIPS engine.

Three-valued: a comparison with an unknown fact is unknown; one part known to fail decides an all-of, one known to hold an any-of.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Mapping, Sequence
from datetime import date

import clips
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.rulebook.inference import FactValue, RuleBase, Verdict
from intervals.rulebook.level_rules import holds_where
from tests.properties.bounded import bounded

NUMBERS, WORDS, FLAGS, DATES = ("load_pct", "sulphur", "temp"), ("fuel", "duty"), ("dusty", "extended"), ("constructed", "in_service")
VOCABULARY = ("biogas", "diesel", "natural-gas", "heavy fuel", "öl", 'say "no"')
OPERATORS = {">": operator.gt, ">=": operator.ge, "<": operator.lt, "<=": operator.le}

# multiples of a thousandth around few thresholds, so that values often meet them
figures = st.integers(-4000, 4000).map(lambda thousandths: thousandths / 1000) | st.sampled_from([0.0, 0.5, 1.0, 90.0, -3.0])


days = st.dates(date(1990, 1, 1), date(2030, 12, 31)) | st.sampled_from([date(2006, 6, 11), date(2006, 6, 12), date(2006, 6, 13)])


def bounds() -> st.SearchStrategy[Condition]:
    """Return random bounds of a number."""
    return st.builds(Comparison, st.sampled_from(NUMBERS), st.sampled_from(sorted(OPERATORS)), figures)


def equals() -> st.SearchStrategy[Condition]:
    """Return random comparisons of a number with some numbers."""
    return st.builds(
        lambda name, values: Comparison(name, "in", tuple(values)), st.sampled_from(NUMBERS), st.lists(figures, min_size=1, max_size=7)
    )


def comparisons() -> st.SearchStrategy[Condition]:
    """Return random comparisons: bounds, one of some numbers, one of some words, a truth value."""
    words = st.builds(
        lambda name, values: Comparison(name, "in", tuple(values)),
        st.sampled_from(WORDS),
        st.lists(st.sampled_from(VOCABULARY), min_size=1, max_size=6),
    )
    flags = st.builds(lambda name, value: Comparison(name, "in", (value,)), st.sampled_from(FLAGS), st.booleans())
    dates = st.builds(Comparison, st.sampled_from(DATES), st.sampled_from(sorted(OPERATORS)), days)
    return bounds() | equals() | words | flags | dates


def conditions() -> st.SearchStrategy[Condition]:
    """Return random conditions, some with more terms than one expression of the engine holds."""
    return joined(comparisons())


def conditions_on_levels() -> st.SearchStrategy[Condition]:
    """Return random conditions that ask for numbers only."""
    return joined(bounds() | equals())


def joined(comparisons: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
    """Return random conditions made of comparisons, one inside the other."""
    return st.recursive(
        comparisons,
        lambda inner: st.builds(
            lambda kind, parts: kind(tuple(parts)), st.sampled_from([AllOf, AnyOf]), st.lists(inner, min_size=1, max_size=8)
        ),
        max_leaves=45,
    )


def facts() -> st.SearchStrategy[dict[str, FactValue]]:
    """Return random facts, some of them unknown."""
    return st.fixed_dictionaries(
        {},
        optional={
            **dict.fromkeys(NUMBERS, figures | st.none()),
            **dict.fromkeys(WORDS, st.sampled_from((*VOCABULARY, "something else")) | st.none()),
            **dict.fromkeys(FLAGS, st.booleans() | st.none()),
            **dict.fromkeys(DATES, days.map(date.isoformat) | st.none()),
        },
    )


def truth(condition: Condition, known: Mapping[str, FactValue]) -> bool | None:
    """Judge a condition in plain three-valued logic."""
    match condition:
        case AllOf(parts=parts):
            told = [truth(part, known) for part in parts]
            return False if False in told else None if None in told else True
        case AnyOf(parts=parts):
            told = [truth(part, known) for part in parts]
            return True if True in told else None if None in told else False
        case Comparison(name=name, op=op, value=value):
            fact = known.get(name)
            if fact is None or (isinstance(fact, float) and not math.isfinite(fact)):
                return None
            if isinstance(value, tuple):
                return any(type(fact) is type(word) and fact == word for word in value)
            if isinstance(value, date):
                assert isinstance(fact, str)
                return bool(OPERATORS[op](date.fromisoformat(fact), value))
            assert isinstance(fact, float)
            return bool(OPERATORS[op](fact, value))


def plain_verdict(rules: Mapping[str, Condition], known: Mapping[str, FactValue]) -> Verdict:
    """Judge rules in plain Python."""
    told = {name: truth(condition, known) for name, condition in rules.items()}
    return Verdict(tuple(name for name, is_so in told.items() if is_so), tuple(name for name, is_so in told.items() if is_so is None))


def named(some: Sequence[Condition]) -> dict[str, Condition]:
    """Give rules names."""
    return {f"rule-{number}": condition for number, condition in enumerate(some)}


@pytest.mark.outside("9.1")
@bounded(45)
@given(st.lists(conditions(), min_size=1, max_size=14), st.lists(facts(), min_size=1, max_size=5))
def test_every_rule_that_holds_fires_and_every_untold_one_is_unknown(some: list[Condition], situations: list[dict[str, FactValue]]) -> None:
    """The rule base says what plain three-valued logic says, of every situation put to it one after the other."""
    rules = named(some)
    base = RuleBase("anything", rules)
    for known in situations:
        assert base.fire(known) == plain_verdict(rules, known)


@bounded(35)
@given(
    st.lists(conditions(), min_size=1, max_size=14),
    facts(),
    st.lists(st.tuples(figures | st.just(math.nan), figures), min_size=1, max_size=6),
)
def test_situations_put_together_are_judged_as_each_alone(
    some: list[Condition], shared: dict[str, FactValue], rows: list[tuple[float, float]]
) -> None:
    """Situations that share most facts are judged at once, as plain three-valued logic judges each; NaN is unknown."""
    rules = named(some)
    columns = {"load_pct": [load for load, _ in rows], "temp": [temp for _, temp in rows]}
    each = [{**shared, "load_pct": None if math.isnan(load) else load, "temp": temp} for load, temp in rows]
    assert RuleBase("together", rules).fire_each(shared, columns, len(rows)) == [plain_verdict(rules, known) for known in each]


@bounded(35)
@given(conditions_on_levels(), st.lists(st.fixed_dictionaries(dict.fromkeys(NUMBERS, figures | st.just(math.nan))), max_size=6))
def test_a_condition_on_the_levels_of_many_steps_is_judged_as_each_alone(some: Condition, steps: list[dict[str, float]]) -> None:
    """Cut into duty cells and judged once for each, a condition holds on each step where plain three-valued logic says so."""
    columns = {name: np.array([step[name] for step in steps]) for name in NUMBERS}
    told = [truth(some, step) for step in steps]
    expected = [math.nan if is_so is None else float(is_so) for is_so in told]
    np.testing.assert_array_equal(holds_where(some, columns, len(steps)), expected)


def test_no_rules_say_nothing_of_any_number_of_situations() -> None:
    """Without rules there is a verdict for each situation all the same, and it is empty."""
    assert RuleBase("nothing", {}).fire_each({}, {"load_pct": [1.0, 2.0]}, 2) == [Verdict((), ()), Verdict((), ())]


@bounded(50)
@given(st.lists(conditions(), min_size=1, max_size=30), st.lists(facts(), min_size=1, max_size=5))
def test_the_first_rule_that_holds_fires_alone(some: list[Condition], situations: list[dict[str, FactValue]]) -> None:
    """With priorities only the first rule that is known to hold fires, and none where none is."""
    rules = named(some)
    base = RuleBase("priorities", rules, only_first=True)
    for known in situations:
        assert base.fire(known).holds == plain_verdict(rules, known).holds[:1]


@bounded(35)
@given(st.lists(conditions(), min_size=1, max_size=14), st.permutations(range(14)), facts())
def test_the_order_of_rules_does_not_matter(some: list[Condition], order: list[int], known: dict[str, FactValue]) -> None:
    """The same rules listed in another order say the same."""
    rules = named(some)
    shuffled = {name: rules[name] for name in sorted(rules, key=lambda name: order[int(name.removeprefix("rule-"))])}
    one, other = RuleBase("one order", rules).fire(known), RuleBase("another", shuffled).fire(known)
    assert (set(one.holds), set(one.unknown)) == (set(other.holds), set(other.unknown))


@bounded(35)
@given(st.lists(conditions(), min_size=1, max_size=6), facts(), st.sampled_from([math.nan, math.inf, -math.inf]))
def test_a_figure_that_is_none_is_unknown(some: list[Condition], known: dict[str, FactValue], odd: float) -> None:
    """NaN and infinity are unknown, and never a match."""
    rules = named(some)
    assert RuleBase("odd figures", rules).fire({**known, "load_pct": odd}) == RuleBase("odd figures", rules).fire(
        {**known, "load_pct": None}
    )


@bounded(35)
@given(st.lists(conditions(), min_size=1, max_size=8), facts(), st.integers(-400, 400))
def test_less_than_half_a_millionth_changes_nothing(some: list[Condition], known: dict[str, FactValue], billionths: int) -> None:
    """Figures meet thresholds in whole millionths of their unit."""
    rules = named(some)
    moved = {name: value + billionths / 1e9 if type(value) is float else value for name, value in known.items()}
    assert RuleBase("grain", rules).fire(moved) == plain_verdict(rules, known)


# CLIPS: a fact with one slot a name, `unknown` where it is; each rule's condition is an expression of three-valued functions

FUNCTIONS = """
(deffunction both (?a ?b) (if (or (eq ?a no) (eq ?b no)) then no else (if (and (eq ?a yes) (eq ?b yes)) then yes else untold)))
(deffunction either (?a ?b) (if (or (eq ?a yes) (eq ?b yes)) then yes else (if (and (eq ?a no) (eq ?b no)) then no else untold)))
(deffunction compared (?op ?x ?y) (if (eq ?x unknown) then untold else (if (funcall ?op ?x ?y) then yes else no)))
"""


def clips_value(value: FactValue) -> str:
    """Return a value as CLIPS writes it."""
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return f"{value:.6f}"


def clips_expression(condition: Condition) -> str:
    """Return a condition as a CLIPS expression that yields yes, no or untold."""
    match condition:
        case AllOf(parts=parts) | AnyOf(parts=parts):
            function = "both" if isinstance(condition, AllOf) else "either"
            expression = clips_expression(parts[0])
            for part in parts[1:]:
                expression = f"({function} {expression} {clips_expression(part)})"
            return expression
        case Comparison(name=name, op=op, value=value) if not isinstance(value, tuple):
            return f"(compared {op} ?{name} {clips_value(condition.bound)})"
        case Comparison(name=name, value=value):
            assert isinstance(value, tuple)
            expression = f"(compared eq ?{name} {clips_value(value[0])})"
            for word in value[1:]:
                expression = f"(either {expression} (compared eq ?{name} {clips_value(word)}))"
            return expression


def clips_verdict(rules: Mapping[str, Condition], known: Mapping[str, FactValue]) -> Verdict:
    """Judge rules with CLIPS."""
    environment = clips.Environment()
    for function in FUNCTIONS.strip().splitlines():
        environment.build(function)
    names = (*NUMBERS, *WORDS, *FLAGS, *DATES)
    known = {**known, **{name: float(date.fromisoformat(str(day)).toordinal()) for name in DATES if (day := known.get(name)) is not None}}
    environment.build(f"(deftemplate situation {' '.join(f'(slot {name})' for name in names)})")
    environment.build("(deftemplate told (slot rule) (slot word))")
    pattern = " ".join(f"({name} ?{name})" for name in names)
    for rule, condition in rules.items():
        environment.build(f"(defrule {rule} (situation {pattern}) => (assert (told (rule {rule}) (word {clips_expression(condition)}))))")
    environment.assert_string(f"(situation {' '.join(f'({name} {clips_value(known.get(name))})' for name in names)})")
    environment.run()
    told = {str(fact["rule"]): str(fact["word"]) for fact in environment.facts() if fact.template.name == "told"}
    return Verdict(tuple(rule for rule in rules if told[rule] == "yes"), tuple(rule for rule in rules if told[rule] == "untold"))


@pytest.mark.outside("9.1")
@bounded(35)
@given(st.lists(conditions(), min_size=1, max_size=8), facts())
def test_clips_says_the_same(some: list[Condition], known: dict[str, FactValue]) -> None:
    """The rule base, CLIPS and plain Python agree on what holds and what cannot be told."""
    rules = named(some)
    assert RuleBase("against CLIPS", rules).fire(known) == clips_verdict(rules, known) == plain_verdict(rules, known)


def test_equal_situations_are_judged_once() -> None:
    """A thousand figures on one side of the only threshold are one situation."""
    base = RuleBase("cells", {"heavy": Comparison("load_pct", ">", 90.0)})
    for number in range(1000):
        base.fire({"load_pct": number / 100})
    assert base.situations_judged == 1


def test_a_word_never_meets_a_bound() -> None:
    """Text where a number is asked for is unknown, though the engine alone would let it pass."""
    base = RuleBase("words", {"heavy": Comparison("load_pct", ">=", 500.0)})
    assert base.fire({"load_pct": "abc"}) == Verdict((), ("heavy",))


@pytest.mark.parametrize("count", [1, 12, 13, 60, 200])
def test_many_rules_may_fire_on_one_situation(count: int) -> None:
    """The engine alone fails where one fact matches some sixty rules; the rule base does not."""
    rules: dict[str, Condition] = {f"above-{number}": Comparison("load_pct", ">", float(number) / 4) for number in range(count)}
    assert RuleBase("many", rules).fire({"load_pct": 100.0}).holds == tuple(rules)


@pytest.mark.parametrize("terms", [1, 31, 32, 33, 150])
@pytest.mark.parametrize("joined", [AllOf, AnyOf])
def test_a_condition_may_have_many_terms(terms: int, joined: type[AllOf | AnyOf]) -> None:
    """The engine alone takes 32 terms; the rule base splits larger conditions."""
    rules: dict[str, Condition] = {"long": joined(tuple(Comparison("load_pct", "in", (float(number),)) for number in range(terms)))}
    base = RuleBase("long", rules)
    expected = ("long",) if joined is AnyOf or terms == 1 else ()
    assert base.fire({"load_pct": float(terms - 1)}).holds == expected
    assert base.fire({"load_pct": None}).unknown == ("long",)
