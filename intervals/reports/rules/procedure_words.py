"""A procedure in words: what it takes, its steps one by one, what has to balance.

In: the models of procedures. Out: `Fact` values, as for tasks and adjustments.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.language.conditions import describe_condition
from intervals.language.stated_values import StepValue
from intervals.language.words import LANGUAGES, Words
from intervals.reports.rules.rule_facts import Fact
from intervals.rules.procedure_examples import ExampleEvidence, ProcedureExample
from intervals.rules.procedures import Balance, PartCount, Procedure, Step
from intervals.shown_numbers import figure

_BOUND_WORDS = {"above": "above", "at_least": "at least", "below": "below", "at_most": "at most"}


def procedure_words(procedure: Procedure) -> list[Fact]:
    """Return what a rule set says of a procedure: one fact for each step, in their order."""
    listed = [
        Fact("tasks", "does", ", ".join(procedure.tasks)),
        Fact("applies_to", "applies to", describe_condition(procedure.applies_to) if procedure.applies_to is not None else ""),
        Fact("people", "takes", _takes(procedure)),
        Fact("parts", "parts", ", ".join(_part(part) for part in procedure.parts)),
        Fact("oil", "oil", f"{procedure.oil.grade}, {_value(procedure.oil.litres, 'L')}" if procedure.oil is not None else ""),
        Fact("waste", "leaves", ", ".join(f"{name} {_value(value, '')}" for name, value in procedure.waste.items())),
        Fact("tools", "tools", ", ".join(str(tool) for tool in procedure.tools)),
        *(Fact(f"steps.{step.id}", step.id, step_words(step)) for step in procedure.steps),
        Fact("balance", "has to balance", "; ".join(_balance(balance) for balance in procedure.balance)),
        *_translated(procedure),
        *(Fact(f"examples.{example.name}", f"example: {example.name}", _example(example)) for example in procedure.examples),
        Fact("because", "because", procedure.because or ""),
        Fact("notes", "notes", procedure.notes or ""),
        Fact("source", "source", procedure.source or ""),
    ]
    return [fact for fact in listed if fact.text]


def procedure_values(procedure: Procedure) -> Iterator[Fact]:
    """Yield what stands behind a source: waits, limits and balances, and each step that has a source of its own."""
    for step in procedure.steps:
        text = "; ".join(_figures(step))
        if text or step.source is not None:
            yield Fact(step.id, step.id, text or step.kind)
        if step.source is not None:
            yield Fact(f"source of {step.id}", "its source", step.source)
    if procedure.balance:
        yield Fact("balance", "has to balance", "; ".join(_balance(balance) for balance in procedure.balance))


def order_words(entry: object) -> list[Fact]:
    """Return the order of a procedure's steps, which is compared and not shown beside the steps; nothing of any other entry."""
    return [Fact("order of steps", "order", ", ".join(step.id for step in entry.steps))] if isinstance(entry, Procedure) else []


def _translated(procedure: Procedure) -> Iterator[Fact]:
    """Yield for each language beside the one that is shown all that is said in it."""
    said: list[tuple[str, Words | None]] = [("title", procedure.title)]
    said += [(f"part {part.part}", part.title) for part in procedure.parts]
    said += [(f"tool {tool}", tool) for tool in procedure.tools]
    for step in procedure.steps:
        what = step.for_each.what if step.for_each is not None else None
        named = {"": step.text, " of": step.of, " to": step.to, " before": step.before, " each": what}
        said += [(f"{step.id}{name}", words) for name, words in named.items()]
    for code, language in LANGUAGES.items():
        found = [(name, dict(words.texts)) for name, words in said if words is not None and code in words.languages]
        told = [f"{name}: {texts[code]}" for name, texts in found if texts[code] != texts.get("en", next(iter(texts.values())))]
        if told:
            yield Fact(f"language {code}", f"in {language}", " | ".join(told))


def step_words(step: Step) -> str:
    """Return a step in one sentence: its kind and phase, what is read, what is asked of it."""
    head = step.kind if step.phase == "work" else f"{step.kind}, {step.phase}"
    parts = [f"{head}: {step.text!s}" if step.text is not None else head]
    if step.of is not None and step.to is not None:
        before = f", until then {step.before!s}" if step.before is not None else ""
        parts.append(f"{step.of!s} to {step.to!s}{before}{', comes back at the end' if step.restore else ''}")
    if step.value is not None:
        parts.append(f"kept as {step.value}{f' in {step.unit}' if step.unit else ''}")
    parts += _figures(step)
    if step.for_each is not None:
        parts.append(f"at each {step.for_each.what!s}, {_value(step.for_each.count, '')}")
    if step.needs:
        parts.append(f"after {', '.join(step.needs)}")
    if step.when is not None:
        parts.append(f"where {describe_condition(step.when)}")
    if step.shared is not None:
        parts.append(f"shared as {step.shared}")
    if step.evidence is not None:
        parts.append(f"evidence {step.evidence}")
    parts += [f"because: {step.because}"] if step.because else []
    parts += [f"source: {step.source}"] if step.source else []
    return "; ".join(parts)


def _figures(step: Step) -> list[str]:
    """Return the minutes of a wait, or the limits of a value."""
    if step.minutes is not None:
        return [_value(step.minutes, "min")]
    bounds = step.limits.bounds if step.limits is not None else {}
    return [" and ".join(f"{_BOUND_WORDS[word]} {_value(value, step.unit or '')}" for word, value in bounds.items())] if bounds else []


def _takes(procedure: Procedure) -> str:
    """Return the people and hours that a procedure takes."""
    people = f"{procedure.people} people" if procedure.people != 1 else "1 person"
    return people if procedure.hours is None else f"{people}, {figure(procedure.hours)} h"


def _part(part: PartCount) -> str:
    """Return a part with how many of it."""
    title = f" ({part.title!s})" if part.title is not None else ""
    when = f" where {describe_condition(part.when)}" if part.when is not None else ""
    return f"{_value(part.count, '')} {part.part}{title}{when}"


def _value(value: StepValue, unit: str) -> str:
    """Return a number with its unit, or what the engine states."""
    return f"{figure(value) if isinstance(value, float) else value} {unit}".rstrip()


def _balance(balance: Balance) -> str:
    """Return what has to balance."""
    filled, drained = " and ".join(balance.filled), " and ".join(balance.drained)
    return f"{filled} with {drained}, within {figure(float(balance.within_pct))} %"


def _example(example: ProcedureExample) -> str:
    """Return what was handed in, and what must come of it."""
    given = {**example.engine, **{f"card.{name}": value for name, value in example.card.items()}}
    stated = ", ".join(f"{name} {_plain(value)}" for name, value in given.items())
    handed = ", ".join(f"{step} {_evidence(evidence)}" for step, evidence in example.evidence.items())
    expect = example.expect
    wanted: list[str] = [expect.verdict] if expect.verdict is not None else []
    wanted += [f"{step} {rule}" for step, rule in expect.steps.items()]
    wanted += [f"fired {', '.join(expect.fired) or 'nothing'}"] if expect.fired is not None else []
    parts = [part for part in (stated, f"handed in {handed}" if handed else "") if part]
    return "; ".join([*parts, f"expect {', '.join(wanted)}"])


def _evidence(evidence: ExampleEvidence) -> str:
    """Return what was handed in of one step."""
    told = [] if evidence.answer == "done" else [evidence.answer.replace("_", " ")]
    told += [f"({evidence.reason})"] if evidence.reason else []
    told += [f"{figure(evidence.value)}"] if evidence.value is not None else []
    told += [f"for {figure(evidence.minutes)} min"] if evidence.minutes is not None else []
    told += [f"label {evidence.label}"] if evidence.label else []
    told += [f"{figure(evidence.at_min)} min after the first step"] if evidence.at_min is not None else []
    return " ".join(told) or "done"


def _plain(value: object) -> str:
    """Return what an engine states, in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return figure(value) if isinstance(value, float) else str(value)
