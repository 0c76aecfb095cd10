"""The sentences of verdicts on evidence: what is missing of a step, what is beyond its limits, what could not be judged.

In: the rule that fired, the step and its facts. Out: text in English. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from intervals.questions.card.card_steps import CardStep
from intervals.rulebook.inference import FactValue
from intervals.rules.procedures import Balance
from intervals.shown_numbers import figure

Facts = Mapping[str, FactValue]

_MISSING = {
    "wait": "its start and its end are not both given",
    "measure": "no value is given",
    "sample": "no label is given",
    "check": "it is not answered",
}
_LIMIT_WORDS = {"above": "above", "at_least": "at least", "below": "below", "at_most": "at most"}


def step_text(rule: str, step: CardStep, facts: Facts) -> str:
    """Return the sentence of a rule that fired on a step, its id first.

    Args:
        rule: the rule.
        step: the step.
        facts: the facts that it fired on.
    """
    return f"{step.id}: {_STEP_TEXTS[rule](step, facts)}"


def balance_text(rule: str, balance: Balance, facts: Facts, unit: str) -> str:
    """Return the sentence of a rule that fired on a balance.

    Args:
        rule: the rule.
        balance: the balance.
        facts: `filled` and `drained` in their unit, `within_pct`.
        unit: that unit.
    """
    if rule == "balance-not-known":
        return f"{' and '.join(balance.filled)} against {' and '.join(balance.drained)}: not all of it is measured, the balance is unknown"
    filled, drained = (f"{_number(facts[side])} {unit}".rstrip() for side in ("filled", "drained"))
    return f"filled {filled} and drained {drained} are more than {_number(facts['within_pct'])} % apart"


def _number(value: FactValue) -> str:
    """Return a figure."""
    return figure(value) if isinstance(value, (int, float)) else "unknown"


def _left_out(step: CardStep, facts: Facts) -> str:
    """Return what is missing of a step that was left out."""
    if facts["answer"] == "no":
        return "was not done"
    if facts["answer"] == "not_applicable" and not facts["has_reason"]:
        return "is said to be not applicable, without a reason"
    return f"is left out: {_MISSING.get(step.kind, 'it is not ticked')}"


def _beyond(step: CardStep, facts: Facts) -> str:
    """Return how a value lies beyond its limits."""
    unit = f" {step.step.unit}" if step.step.unit else ""
    limits = " and ".join(f"{_LIMIT_WORDS[word]} {figure(bound)}" for word, bound in step.limits if bound is not None)
    return f"{step.step.value} is {_number(facts['value'])}{unit}; expected {limits}{unit}"


def _not_restored(step: CardStep, _facts: Facts) -> str:
    """Return what was not put back."""
    return f"{step.step.of} is not confirmed to be back: {step.position}"


_STEP_TEXTS: Mapping[str, Callable[[CardStep, Facts], str]] = {
    "times-contradict": lambda _step, facts: f"ends {_number(-_signed(facts['waited_min']))} min before it begins",
    "amount-negative": lambda step, facts: (
        f"{step.step.value} is {_number(facts['value'])} {step.step.unit or ''}".rstrip() + "; it cannot be below zero"
    ),
    "check-failed": lambda _step, _facts: "the check is answered with no",
    "not-restored": _not_restored,
    "step-left-out": _left_out,
    "out-of-order": lambda _step, facts: f"was begun {_number(facts['began_early_min'])} min before a step that it needs was done",
    "wait-short": lambda _step, facts: f"lasted {_number(facts['waited_min'])} min; {_number(facts['set_min'])} min are set",
    "value-beyond": _beyond,
    "not-stated": lambda step, _facts: f"cannot be judged: {' and '.join(step.unstated)} is not stated for the engine",
    "order-not-known": lambda _step, _facts: "its order cannot be judged: times are missing",
    "not-applicable": lambda _step, _facts: "is not applicable",
    "not-told": lambda step, _facts: f"is asked for and not given: {_MISSING.get(step.kind, 'it is not ticked')}",
}


def _signed(value: FactValue) -> float:
    """Return a figure as a number."""
    return float(value) if isinstance(value, (int, float)) else 0.0
