"""An inference engine that fails, stays silent or answers by halves: each is a fault with a name, never an answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from intervals.language.written_conditions import parse_condition
from intervals.rulebook import inference
from intervals.rulebook.inference import InferenceFaultError, RuleBase

RULES = {f"above-{limit}": parse_condition({"load_pct": {"above": limit}}, {}) for limit in range(0, 100, 5)}
"""Twenty rules: two groups, as they are registered a dozen at a time."""


def raises(*_: Any) -> None:  # noqa: ANN401 - stands in for a call of the library
    """Fail as the library does on what it cannot parse."""
    message = "error code: 202"
    raise RuntimeError(message)


def handles_nothing(*_: Any) -> None:  # noqa: ANN401 - likewise
    """Say that no rule took it."""
    raise inference.durable_engine.MessageNotHandledException({})  # type: ignore[attr-defined]  # the only way to the library's own error


def says_nothing(*_: Any) -> int:  # noqa: ANN401 - likewise
    """Return as if all were well, and fire nothing."""
    return 0


@pytest.mark.parametrize("call", [raises, handles_nothing, says_nothing])
@pytest.mark.parametrize("only_first", [False, True])
def test_an_engine_that_does_not_answer_is_a_fault(monkeypatch: pytest.MonkeyPatch, call: Callable[..., Any], *, only_first: bool) -> None:
    """Whether it raises, says that nothing took the fact, or is silent; the rules are compiled before it breaks."""
    rules = RuleBase("load", RULES, only_first=only_first)
    assert rules.fire({"load_pct": 12.0}).holds
    for name in ("assert_fact", "post"):
        monkeypatch.setattr(inference._QuietHost, name, call)
    with pytest.raises(InferenceFaultError, match="the rules about load"):
        rules.fire({"load_pct": 18.0})
    # what was judged before is remembered, and stays right
    assert rules.fire({"load_pct": 12.0}).holds[0] == "above-0"


@pytest.mark.parametrize("only_first", [False, True])
def test_a_second_group_that_stays_silent_is_a_fault(monkeypatch: pytest.MonkeyPatch, *, only_first: bool) -> None:
    """The first dozen rules answer and the others do not."""
    rules = RuleBase("load", dict(reversed(RULES.items())), only_first=only_first)
    rules.fire({"load_pct": -1.0})
    name = "post" if only_first else "assert_fact"
    answers = getattr(inference._QuietHost, name)
    calls: list[str] = []

    def first_only(host: Any, group: str, fact: dict[str, Any]) -> Any:  # noqa: ANN401 - stands in for a call of the library
        calls.append(group)
        return answers(host, group, fact) if len(set(calls)) == 1 else 0

    monkeypatch.setattr(inference._QuietHost, name, first_only)
    with pytest.raises(InferenceFaultError, match="the rules about load did not"):
        # nothing of the first group holds, so that the second one is asked in either way
        rules.fire({"load_pct": 12.0})


def test_a_rule_that_fires_without_its_other_half_is_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is known to hold is not known to fail: of the two rules of a condition the first cannot fire alone."""
    rules = RuleBase("load", {"heavy": parse_condition({"load_pct": {"above": 80}}, {})})
    noting = RuleBase._noting
    monkeypatch.setattr(RuleBase, "_noting", lambda base, name: (lambda _: None) if name == "p0" else noting(base, name))
    assert rules.fire({"load_pct": 50.0}).holds == ()
    with pytest.raises(InferenceFaultError, match="contradict one another"):
        rules.fire({"load_pct": 90.0})


def test_a_situation_in_which_nothing_holds_is_no_fault() -> None:
    """Nothing fires but what sees every fact; an unknown figure is unknown."""
    rules = RuleBase("load", RULES)
    assert rules.fire({"load_pct": -5.0}) == ((), ())
    assert rules.fire({}) == ((), tuple(RULES))
    assert RuleBase("load", RULES, only_first=True).fire({"load_pct": -5.0}) == ((), ())
