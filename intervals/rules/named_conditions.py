"""The named conditions of a rule set, which may stand in any order and use one another.

In: the plain data under `conditions`. Out: conditions by name, in the order of the file, and flaws. Refuses circles, and says how they go.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from intervals.language.conditions import AllOf, Condition
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import SHARE_MEASURE
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition


def parse_named(raw: object) -> tuple[dict[str, Condition], list[Flaw]]:
    """Return the rule set's named conditions, and what is wrong with the others.

    Args:
        raw: the plain data under `conditions`; an entry may use any other, as long as none uses itself in the end.

    Returns:
        The conditions that could be understood, and flaws with places below `raw`. What rests on a condition that is wrong is left
        out without a flaw of its own.
    """
    if raw is None:
        return {}, []
    if not isinstance(raw, Mapping):
        return {}, [Flaw((), f"not a mapping of names to conditions; got {shown_value(raw)}")]
    reader = _Reader(raw)
    for name in raw:
        reader.read(str(name), ())
    order = [str(name) for name in raw]
    found = {name: condition for name in order if (condition := reader.named.get(name)) is not None}
    return found, sorted(reader.flaws, key=lambda flaw: order.index(str(flaw.place[0])))


class _Reader:
    """Reads conditions, each after those that it uses."""

    def __init__(self, raw: Mapping[Any, Any]) -> None:
        self._raw = {str(name): (name, value) for name, value in raw.items()}
        self.named: dict[str, Condition | None] = {}
        self.flaws: list[Flaw] = []

    def read(self, name: str, above: tuple[str, ...]) -> None:
        """Read one condition; `above` are those whose reading waits for it."""
        if name in self.named or name in above:
            return
        key, value = self._raw[name]
        if isinstance(value, Condition):
            self.named[name] = value
            return
        used = list(dict.fromkeys(each for each in _names_in(value) if each in self._raw))
        circle = next((each for each in used if each in (*above, name)), None)
        for each in used:
            self.read(each, (*above, name))
        if circle is not None:
            way = (*above, name)
            circle_text = " uses ".join(f'"{each}"' for each in (*way[way.index(circle) :], circle))
            self.flaws.append(
                Flaw((key,), f"conditions go in a circle: {circle_text}", "let one of them say what it asks itself", "condition")
            )
        if circle is not None or any(self.named.get(each) is None for each in used):
            self.named[name] = None
            return
        # a condition that is not read yet is none that this one uses; its name stands here for the message
        known = {each: self.named.get(each) or AllOf(()) for each in self._raw}
        try:
            self.named[name] = parse_condition(value, known)
        except FlawsError as error:
            self.named[name] = None
            self.flaws.extend(flaw.below(key) for flaw in error.flaws)


def _names_in(raw: object) -> Iterator[str]:
    """Yield the names of conditions that a condition's plain data uses."""
    if isinstance(raw, str):
        yield raw
    if not isinstance(raw, Mapping):
        return
    for key, value in raw.items():
        if key == "any_of" and isinstance(value, (list, tuple)):
            for item in value:
                yield from _names_in(item)
        elif key == "condition" and isinstance(value, str):
            yield value
        elif key == SHARE_MEASURE and isinstance(value, Mapping):
            yield from map(str, value)
