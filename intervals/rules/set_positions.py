"""What procedures set, and whether two of them set the same thing differently.

In: steps of kind set, each with its procedure. Out: pairs that cannot stand on one card. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from intervals.language.words import Words
from intervals.rules.procedure_steps import Step


class SetStep(NamedTuple):
    """A step that sets something.

    Attributes:
        procedure: the id of its procedure.
        place: how it is called where it stands: its id on a card or in a file.
        step: the step.
    """

    procedure: str
    place: str
    step: Step


def set_differently(sets: Sequence[SetStep]) -> Iterator[tuple[SetStep, SetStep]]:
    """Yield pairs of steps of two procedures that set the same thing to different positions.

    A procedure may set one thing several times, such as a valve that is opened and closed again: two procedures agree where they bring it
    into the same positions in the same order.

    Args:
        sets: the steps, in their order; a step that procedures share stands once for each of them.

    Yields:
        The first two steps that differ, once for each two procedures and each thing.
    """
    courses: dict[str, dict[str, list[SetStep]]] = {}
    for each in sets:
        courses.setdefault(_alike(each.step.of), {}).setdefault(each.procedure, []).append(each)
    for of_procedures in courses.values():
        listed = list(of_procedures.values())
        for index, one in enumerate(listed):
            for other in listed[index + 1 :]:
                differing = [pair for pair in zip_longest(one, other) if _position(pair[0]) != _position(pair[1])]
                if differing:
                    yield differing[0][0] or one[-1], differing[0][1] or other[-1]


def _position(each: SetStep | None) -> str | None:
    """Return the position that a step sets, to be compared; None where one of two courses is over."""
    return None if each is None else _alike(each.step.to)


def _alike(words: Words | None) -> str:
    """Return words without what does not tell things apart: letter case and spacing."""
    return " ".join(str(words or "").casefold().split())
