"""What to bring to a stop: the parts, oil and tools of all its procedures, the people and hours that it takes, and what is left over.

In: the procedures of a stop and the engine. Out: sums, each part, oil and kind of waste once. Refuses nothing: an amount that the engine
does not state is unknown, and so is the sum that it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from intervals.language.stated_values import States, resolve
from intervals.questions.card.card_models import CardOil, CardPart, CardWaste
from intervals.rulebook.step_rules import EngineSteps, steps_for
from intervals.rules.procedures import Procedure


class Bring(NamedTuple):
    """What a stop takes.

    Attributes:
        people: how many people: the most that one of its procedures takes.
        hours: how long the procedures keep the engine together, h; None where one of them does not say.
        parts: each part once.
        oil: each grade once.
        waste: each kind once.
        tools: each tool once.
        remarks: what is not certain of these.
    """

    people: int
    hours: float | None
    parts: tuple[CardPart, ...]
    oil: tuple[CardOil, ...]
    waste: tuple[CardWaste, ...]
    tools: tuple[str, ...]
    remarks: tuple[str, ...]


def bring_of(procedures: Sequence[Procedure], engine: States, language: str) -> Bring:
    """Return what a stop takes.

    Args:
        procedures: the procedures of the stop, each once.
        engine: the engine, for its values and for which parts it needs.
        language: the code of the language that titles are asked for in.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    fitting = steps_for(procedures, engine.facts())
    hours = [procedure.hours for procedure in procedures]
    oils = [(procedure.oil.grade, resolve(procedure.oil.litres, engine)) for procedure in procedures if procedure.oil is not None]
    waste = [(name, resolve(value, engine)) for procedure in procedures for name, value in procedure.waste.items()]
    parts, doubtful = _parts(procedures, engine, language, fitting)
    return Bring(
        people=max((procedure.people for procedure in procedures), default=1),
        hours=_sum(None if each is None else float(each) for each in hours),
        parts=parts,
        oil=tuple(CardOil(grade=grade, litres=_sum(value for name, value in oils if name == grade)) for grade in _each([*oils])),
        waste=tuple(CardWaste(name=name, value=_sum(value for other, value in waste if other == name)) for name in _each([*waste])),
        tools=tuple(dict.fromkeys(tool.said_in(language)[1] for procedure in procedures for tool in procedure.tools)),
        remarks=tuple(f"whether {part} is needed is not known: the engine does not say" for part in doubtful),
    )


def _parts(
    procedures: Sequence[Procedure], engine: States, language: str, fitting: EngineSteps
) -> tuple[tuple[CardPart, ...], tuple[str, ...]]:
    """Return the parts that the engine needs, or may need, and which of them it only may need."""
    listed = [(procedure, part) for procedure in procedures for part in procedure.parts if fitting.has(procedure, part) is not False]
    counts = [(part.part, resolve(part.count, engine)) for _, part in listed]
    titles = {part.part: part.title.said_in(language)[1] for _, part in reversed(listed) if part.title is not None}
    doubtful = dict.fromkeys(part.part for procedure, part in listed if fitting.has(procedure, part) is None)
    made = (
        CardPart(part=name, title=titles.get(name), count=_sum(count for other, count in counts if other == name)) for name in _each(counts)
    )
    return tuple(made), tuple(doubtful)


def _each(amounts: Iterable[tuple[str, float | None]]) -> tuple[str, ...]:
    """Return each name once, in order."""
    return tuple(dict.fromkeys(name for name, _ in amounts))


def _sum(values: Iterable[float | None]) -> float | None:
    """Return a sum; None where a part of it is not known."""
    listed = list(values)
    known = [value for value in listed if value is not None]
    return round(sum(known), 6) + 0.0 if len(known) == len(listed) else None
