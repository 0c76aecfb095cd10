"""What durable-rules 2.0.28 does, fact by fact: everything that `intervals/rulebook/inference.py` works around or relies on.

An upgrade that changes one of these is to be seen here before it is seen in a judgement. Where the engine hangs, starts threads
or may take the process with it, it is asked in a process of its own.
"""

from __future__ import annotations

import itertools
import math
import os
import random
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable, Mapping
from importlib.metadata import version
from typing import Any

import pytest
from durable import engine

Rules = dict[str, dict[str, Any]]
_serial = itertools.count()


class QuietHost(engine.Host):  # type: ignore[misc]  # durable-rules has no types
    """A host without timer threads."""

    def _run(self) -> None:
        """Start nothing."""


class Fired(list[str]):
    """The names of rules in the order in which they fired."""

    def rule(self, name: str, expression: Mapping[str, Any], **keys: Any) -> dict[str, Any]:  # noqa: ANN401 - the engine's own keys
        """Return a rule that notes its name when it fires."""
        return {"all": [{"m": dict(expression)}], "run": lambda _: self.append(name), **keys}


def registered(rules: Rules) -> tuple[QuietHost, str]:
    """Register rules on a new host under a new name."""
    host, name = QuietHost(), f"contract-{next(_serial)}"
    host.set_rulesets({name: rules})
    return host, name


def fire(expressions: Mapping[str, Mapping[str, Any]], fact: Mapping[str, Any]) -> list[str]:
    """Assert one fact and return the rules that fired; nothing where it is not handled."""
    fired = Fired()
    host, name = registered({rule: fired.rule(rule, expression) for rule, expression in expressions.items()})
    try:
        host.assert_fact(name, {"sid": "0", "id": 1, **fact})
    except engine.MessageNotHandledException:
        return []
    return sorted(fired)


def run_apart(code: str, timeout_s: float = 30) -> str:
    """Run a few lines in a process of their own and return what they print."""
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True, timeout=timeout_s, check=True)
    return done.stdout.strip()


def test_this_is_the_version_that_was_measured() -> None:
    """All that follows is said of 2.0.28."""
    assert version("durable-rules") == "2.0.28"


def test_a_host_starts_two_threads_and_one_with_an_empty_run_starts_none() -> None:
    """Two timer threads that never end; overriding `_run` keeps them away."""
    code = """
        import os, threading
        from durable import engine
        class Quiet(engine.Host):
            def _run(self):
                pass
        Quiet()
        quiet = threading.active_count()
        engine.Host()
        print(quiet - 1, threading.active_count() - quiet, flush=True)
        os._exit(0)
    """
    assert run_apart(code) == "0 2"


def test_the_1025th_state_is_refused() -> None:
    """1,024 values of `sid` are held, the next one is a MemoryError: one `sid` serves all."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    for number in range(1024):
        host.assert_fact(name, {"sid": str(number), "id": number, "x": 1})
    with pytest.raises(MemoryError):
        host.assert_fact(name, {"sid": "1024", "id": 1024, "x": 1})


def test_facts_without_an_id_may_collide() -> None:
    """Two different facts are taken for one: their 32-bit hashes are equal. Of 200,000 facts in memory one such pair is to be expected."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    host.assert_fact(name, {"sid": "0", "x": 75197})
    with pytest.raises(engine.MessageObservedException):
        host.assert_fact(name, {"sid": "0", "x": 203709})


def test_an_id_and_a_retraction_keep_facts_apart() -> None:
    """The same pair, each with an id, or the first retracted before the second: both fire."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    for number, x in enumerate((75197, 203709)):
        fact = {"sid": "0", "id": number, "x": x}
        host.assert_fact(name, fact)
        host.retract_fact(name, fact)
    assert fired == ["r", "r"]


def test_the_same_fact_may_be_asserted_again_after_it_was_retracted() -> None:
    """Asserted twice in a row it is a MessageObservedException; with a retraction between it fires again."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    fact = {"sid": "0", "id": 7, "x": 1}
    host.assert_fact(name, dict(fact))
    with pytest.raises(engine.MessageObservedException):
        host.assert_fact(name, dict(fact))
    host.retract_fact(name, dict(fact))
    host.assert_fact(name, dict(fact))
    assert fired == ["r", "r"]


def test_an_event_is_used_up_by_the_first_rule_and_a_fact_is_not() -> None:
    """Two rules that both match: an event fires the first, a fact both."""
    both: dict[str, Mapping[str, Any]] = {"a": {"$gt": {"x": 0}}, "b": {"$gt": {"x": 0}}}
    fired = Fired()
    host, name = registered({rule: fired.rule(rule, expression) for rule, expression in both.items()})
    host.post(name, {"sid": "0", "id": 1, "x": 1})
    assert fired == ["a"]
    assert fire(both, {"x": 1}) == ["a", "b"]


@pytest.mark.parametrize("order", list(itertools.permutations([1, 2, 3])))
def test_of_rules_that_match_an_event_the_lowest_pri_fires(order: tuple[int, ...]) -> None:
    """In whatever order they are registered."""
    fired = Fired()
    host, name = registered({f"r{pri}": fired.rule(f"r{pri}", {"$gt": {"x": 0}}, pri=pri) for pri in order})
    host.post(name, {"sid": "0", "id": 1, "x": 1})
    assert fired == ["r1"]


REGISTERED = """
    from durable import engine
    class Quiet(engine.Host):
        def _run(self):
            pass
    def registered(number):
        host = Quiet()
        rules = {f"r{index}": {"all": [{"m": {"$gt": {"x": index}}}], "run": lambda _: None} for index in range(12)}
        host.set_rulesets({f"memory-{number}": rules})
        return host, f"memory-{number}", host.get_ruleset(f"memory-{number}")._handle
    def pages_held():
        with open("/proc/self/statm") as told:
            return int(told.read().split()[1])
    """
on_linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="says what memory it holds on Linux only")


@on_linux
def test_rules_and_their_state_take_memory_until_both_are_given_back() -> None:
    """Of a hundred rule sets that fired and were forgotten everything stays; of those whose state and rules were deleted, nothing."""
    code = """
    def grown(numbers, is_given_back):
        before = pages_held()
        for number in numbers:
            host, name, handle = registered(number)
            host.post(name, {"sid": "0", "id": 1, "x": 99})
            if is_given_back:
                engine.durable_rules_engine.delete_state(handle, "0")
                engine.durable_rules_engine.delete_ruleset(handle)
        return pages_held() - before
    grown(range(5), True)
    print(grown(range(5, 105), True), grown(range(105, 205), False))
    """
    given_back, kept = map(int, run_apart(REGISTERED + code).split())
    assert kept > 10 * max(given_back, 100)


@on_linux
@pytest.mark.parametrize(("x", "code"), [(99, 0), (-1, -signal.SIGSEGV)])
def test_only_a_state_in_which_a_rule_fired_can_be_given_back(x: int, code: int) -> None:
    """In any other some addresses were never set: with fresh memory that is not blank by chance, deleting it takes the process with it."""
    script = f"""
    host, name, handle = registered(0)
    try:
        host.post(name, {{"sid": "0", "id": 1, "x": {x}}})
    except engine.MessageNotHandledException:
        pass
    engine.durable_rules_engine.delete_state(handle, "0")
    """
    filled = {**os.environ, "MALLOC_PERTURB_": "165"}
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(REGISTERED + script)], env=filled, capture_output=True, check=False)
    assert done.returncode == code


@pytest.mark.parametrize("put", ["assert_fact", "post"])
def test_a_rule_about_absence_never_ends(put: str) -> None:
    """`$nex` does not come back: what is unknown must be a fact of its own."""
    code = f"""
        from durable import engine
        class Quiet(engine.Host):
            def _run(self):
                pass
        host = Quiet()
        host.set_rulesets({{"absence": {{"r": {{"all": [{{"m": {{"$nex": {{"x": 1}}}}}}], "run": lambda _: None}}}}}})
        host.{put}("absence", {{"sid": "0", "id": 1, "z": 1}})
        print("returned")
    """
    with pytest.raises(subprocess.TimeoutExpired):
        run_apart(code, timeout_s=2)


BELOW_AND_ABOVE: dict[str, Mapping[str, Any]] = {"below": {"$lt": {"x": 1}}, "above": {"$gte": {"x": 1}}}


@pytest.mark.parametrize("value", [6e-06, 1e-07, 5e20])
def test_a_whole_number_with_an_exponent_is_not_read(value: float) -> None:
    """`6e-06` in a fact is refused with error code 204: numbers are written without exponents."""
    with pytest.raises(Exception, match="error code: 204"):
        fire(BELOW_AND_ABOVE, {"x": value})


def test_a_threshold_with_an_exponent_is_not_read() -> None:
    """The same in a rule."""
    with pytest.raises(Exception, match="error code: 204"):
        fire({"below": {"$lt": {"x": 6e-06}}}, {"x": 0})


@pytest.mark.parametrize(
    ("value", "fired"),
    [(-(2**52), ["below"]), (2**52, ["above"]), (999999, ["above"]), (0, ["below"]), (0.999999, ["below"]), (1.0, ["above"])],
)
def test_whole_numbers_are_compared_rightly(value: float, fired: list[str]) -> None:
    """As far as 2 to the 52nd, which is how figures and their stand-in are put in."""
    assert fire(BELOW_AND_ABOVE, {"x": value}) == fired


@pytest.mark.parametrize("text", ["abc", "5", ""])
def test_text_satisfies_a_lower_bound(text: str) -> None:
    """Any text passes `>= 500`: types are checked before."""
    assert fire({"high": {"$gte": {"x": 500}}, "low": {"$lt": {"x": 500}}}, {"x": text}) == ["high"]


@pytest.mark.parametrize("value", [math.nan, None])
def test_what_is_no_number_looks_like_no_match(value: float | None) -> None:
    """NaN and null match neither side, and no error says so."""
    assert fire(BELOW_AND_ABOVE, {"x": value}) == []


def test_infinity_fails() -> None:
    """Error code 202."""
    with pytest.raises(Exception, match="error code: 202"):
        fire(BELOW_AND_ABOVE, {"x": math.inf})


def test_a_missing_fact_looks_like_no_match() -> None:
    """Nothing tells unknown from failed."""
    assert fire(BELOW_AND_ABOVE, {"y": 5}) == []


def test_truth_values_are_compared_by_equality() -> None:
    """True and false are told apart."""
    flags: dict[str, Mapping[str, Any]] = {"yes": {"x": True}, "no": {"x": False}}
    assert [fire(flags, {"x": True}), fire(flags, {"x": False})] == [["yes"], ["no"]]


def test_registering_takes_run_from_the_callers_rules() -> None:
    """The definition that was passed is changed: it is built afresh for each host."""
    fired = Fired()
    rules = {"r": fired.rule("r", {"$gt": {"x": 0}})}
    registered(rules)
    assert "run" not in rules["r"]


def test_a_name_cannot_be_registered_twice() -> None:
    """On one host: names are unique."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    with pytest.raises(Exception, match="already registered"):
        host.set_rulesets({name: {"r": fired.rule("r", {"$gt": {"x": 0}})}})


def test_an_unknown_operator_fails_by_a_number_only() -> None:
    """Error code 202 and no word about which: operators are checked before."""
    with pytest.raises(Exception, match=r"^Could not create ruleset, error code: 202$"):
        fire({"r": {"$above": {"x": 0}}}, {"x": 1})


def test_a_fact_that_nothing_matches_is_an_exception() -> None:
    """MessageNotHandledException: normal here, no error."""
    fired = Fired()
    host, name = registered({"r": fired.rule("r", {"$gt": {"x": 0}})})
    with pytest.raises(engine.MessageNotHandledException):
        host.assert_fact(name, {"sid": "0", "id": 1, "x": -1})


def test_an_exception_inside_an_action_is_swallowed_into_the_state() -> None:
    """Nothing is raised; the state carries the text. Actions only append to a list."""

    def fail(_: object) -> None:
        message = "out of oil"
        raise ValueError(message)

    host, name = registered({"r": {"all": [{"m": {"$gt": {"x": 0}}}], "run": fail}})
    state = host.assert_fact(name, {"sid": "0", "id": 1, "x": 1})
    assert "out of oil" in state["exception"]


def pairs(count: int, outer: str, inner: str) -> dict[str, Any]:
    """Return so many pairs of comparisons, joined inside and out."""
    return {outer: [{inner: [{"$gt": {f"x{number}": 0}}, {"$lt": {f"x{number}": 9}}]} for number in range(count)]}


@pytest.mark.parametrize(("outer", "inner"), [("$and", "$or"), ("$or", "$and")])
def test_an_expression_holds_only_so_many_terms(outer: str, inner: str) -> None:
    """14 joined pairs are taken, 28 comparisons and what joins them; of 15 pairs, with which it would be more than 32, none is."""
    fact = {f"x{number}": 5 for number in range(15)}
    assert set(fire({"r": pairs(14, outer, inner)}, fact)) == {"r"}
    with pytest.raises(Exception, match="error code: 113"):
        fire({"r": pairs(15, outer, inner)}, fact)


def test_a_rule_fires_once_for_every_way_in_which_it_holds() -> None:
    """Two alternatives of three that hold fire it twice; four pairs that all hold fire it 2 x 2 x 2 x 2 times: expressions stay short."""
    assert fire({"r": {"$or": [{"x": 1}, {"y": 1}, {"z": 1}]}}, {"x": 1, "y": 1, "z": 0}) == ["r", "r"]
    assert len(fire({"r": pairs(4, "$and", "$or")}, {f"x{number}": 5 for number in range(4)})) == 16


@pytest.mark.parametrize(("count", "is_fine"), [(60, True), (64, True), (65, False), (100, False)])
def test_a_fact_may_match_sixty_four_rules_and_no_more(count: int, is_fine: bool) -> None:
    """From the 65th on the whole assertion fails with error code 303, and no rule fires: rules are registered a handful at a time."""
    rules: dict[str, Mapping[str, Any]] = {f"r{number:03}": {"$gt": {"x": -number - 1}} for number in range(count)}
    if is_fine:
        assert fire(rules, {"x": 1}) == sorted(rules)
        return
    with pytest.raises(Exception, match="error code: 303"):
        fire(rules, {"x": 1})


def test_and_ed_comparisons_agree_with_plain_python() -> None:
    """Two thousand random facts and forty rules of two and-ed comparisons each, asserted and retracted one after the other."""
    chance = random.Random(28)
    compare: dict[str, Callable[[int, int], bool]] = {
        "$gt": lambda left, right: left > right,
        "$gte": lambda left, right: left >= right,
        "$lt": lambda left, right: left < right,
        "$lte": lambda left, right: left <= right,
    }
    rules = {
        f"r{number}": [(chance.choice(sorted(compare)), chance.choice("xyz"), chance.randrange(-20, 20)) for _ in range(2)]
        for number in range(40)
    }
    fired = Fired()
    host, name = registered(
        {rule: fired.rule(rule, {"$and": [{op: {field: bound}} for op, field, bound in parts]}) for rule, parts in rules.items()}
    )
    for number in range(2000):
        fact = {field: chance.randrange(-25, 25) for field in "xyz"}
        expected = [rule for rule, parts in rules.items() if all(compare[op](fact[field], bound) for op, field, bound in parts)]
        fired.clear()
        whole = {"sid": "0", "id": number, **fact}
        try:
            host.assert_fact(name, whole)
            host.retract_fact(name, whole)
        except engine.MessageNotHandledException:
            assert expected == []
        assert sorted(fired) == sorted(expected)
