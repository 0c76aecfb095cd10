"""The steps of a card as its document has them: in one language, with numbers in place of what the engine states.

In: ordered `CardStep` values, what they are done for, earlier results. Out: `StepLine` values. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date

from intervals.language.stated_values import StatedValue
from intervals.language.words import Words
from intervals.questions.card.card_models import LastResult, StepLine, TrendCaution
from intervals.questions.card.card_procedures import CardProcedure
from intervals.questions.card.card_steps import CardStep
from intervals.questions.card.card_words import number_in, words_in
from intervals.questions.card.trend_cautions import trend_caution
from intervals.rules.procedure_steps import Step

_CAUTION = "caution"
_MOST_SHOWN = 3
EarlierOf = Callable[[str, str], tuple[LastResult, ...]]


def step_lines(
    steps: Sequence[CardStep], procedures: Sequence[CardProcedure], language: str, earlier_of: EarlierOf, due_on: Mapping[str, date | None]
) -> tuple[StepLine, ...]:
    """Return the steps of a card: cautions first, then everything else in its order.

    Args:
        steps: the steps in their order.
        procedures: the procedures that they are of, with the tasks that these do.
        language: the code of the language that is asked for.
        earlier_of: returns the earlier results of a measure in a unit, the newest last.
        due_on: the day on which each task of the card is next due, by its name; None where that is not known.
    """
    tasks_of = {each.procedure.id: each.tasks for each in procedures}
    ordered = sorted(steps, key=lambda step: step.kind != _CAUTION)
    lines = []
    for step in ordered:
        tasks = tuple(dict.fromkeys(task for name in step.procedures for task in tasks_of[name]))
        earlier = _results_of(step, earlier_of)
        trend = trend_caution(earlier, dict(step.limits), step.step.unit or "", (due_on.get(task) for task in tasks), language)
        lines.append(_line(step, tasks, language, earlier[-_MOST_SHOWN:], trend))
    return tuple(lines)


def _results_of(step: CardStep, earlier_of: EarlierOf) -> tuple[LastResult, ...]:
    """Return earlier results of what a step measures; those of one of several places are kept under the value's name and its number."""
    value = step.step.value
    if value is None:
        return ()
    name = value if step.place is None else f"{value}.{step.place}"
    return earlier_of(name, step.step.unit or "")


def _line(step: CardStep, tasks: tuple[str, ...], language: str, last: tuple[LastResult, ...], trend: TrendCaution | None) -> StepLine:
    """Return one step as the document has it."""
    words = words_in(language)
    lang, text = _text_of(step, language, words)
    of, to, before = (_said(part, language) for part in (step.step.of, step.position, step.position_before))
    minutes = step.step.minutes
    limits = dict(step.limits)
    return StepLine(
        id=step.id,
        kind=step.kind,
        phase=step.phase,
        tasks=tasks,
        procedures=step.procedures,
        text=text,
        lang=lang,
        of=of,
        to=to if step.kind == "set" else None,
        before=before if step.kind == "set" else None,
        place=step.place,
        minutes=_rounded(step.minutes),
        minutes_source=minutes.source if isinstance(minutes, StatedValue) else None,
        value=step.step.value,
        unit=step.step.unit,
        limits={word: _rounded(bound) for word, bound in limits.items()} if limits else None,  # type: ignore[misc]  # words of a MeasureLimits
        limits_text=_limits_text(limits, step.step.unit or "", language) if limits else None,
        unstated=step.unstated,
        needs=step.needs,
        evidence=step.evidence,
        is_restore=step.is_restore,
        is_certain=step.is_certain,
        last=last,
        trend=trend,
    )


def _rounded(value: float | None) -> float | None:
    """Return a number as documents have it."""
    return None if value is None else round(value, 6) + 0.0


def _said(words: Words | None, language: str) -> str | None:
    """Return words in a language, or None where there are none."""
    return None if words is None else words.said_in(language)[1]


def _text_of(step: CardStep, language: str, words: Mapping[str, str]) -> tuple[str, str]:
    """Return the language and the text of a step: its own, or what its kind asks for, with the place that it is done at before it."""
    own = step.step
    if step.is_restore or own.text is None:
        lang, text = language, _text_of_kind(step, language, words)
    else:
        lang, text = own.text.said_in(language)
    if step.place is None or own.for_each is None:
        return lang, text
    return lang, f"{_said(own.for_each.what, language)} {step.place}: {text}"


def _text_of_kind(step: CardStep, language: str, words: Mapping[str, str]) -> str:
    """Return what a step of its kind asks for where the rule set has no text for it."""
    own = step.step
    match step.kind:
        case "set":
            key = "back_to" if step.is_restore else "set_to"
            return words[key].format(of=_said(own.of, language), to=_said(step.position, language))
        case "measure":
            return words["measure_it"].format(value=_name_of(own))
        case "sample":
            return words["take_sample"]
        case "wait":
            return words["wait_now"]
        case _:
            return own.id.replace("-", " ")


def _name_of(step: Step) -> str:
    """Return what a measured value is called: its name without its unit, which stands beside it."""
    name = step.value or step.id
    ending = "_" + (step.unit or "").lower()
    return (name[: -len(ending)] if step.unit and name.lower().endswith(ending) else name).replace("_", " ").replace("-", " ")


def _limits_text(limits: Mapping[str, float | None], unit: str, language: str) -> str:
    """Return the limits of a value in words."""
    return ", ".join(words_in(language)[word].format(bound=_bound(bound, unit, language)) for word, bound in limits.items())


def _bound(bound: float | None, unit: str, language: str) -> str:
    """Return one limit."""
    return f"[{words_in(language)['not_stated']}]" if bound is None else f"{number_in(bound, language)} {unit}".rstrip()


def unstated_of(lines: Iterable[StepLine]) -> tuple[str, ...]:
    """Return all that the engine would have to state for every step to be judged, each once."""
    return tuple(dict.fromkeys(name for line in lines for name in line.unstated))
