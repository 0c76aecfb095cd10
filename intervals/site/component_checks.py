"""What concerns several components of a site at once: ids, the engines they sat on, times that contradict one another.

In: the plain data under `components`. Out: flaws with places from the document's top. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from intervals.language.flaws import Flaw
from intervals.problems import nearest_name_of

OPEN_END = "9999-12-31"


def check_components(data: Mapping[str, Any], engine_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield all that is wrong between the entries of `components`.

    Args:
        data: the site's plain data; entries that are not what they should be are passed over.
        engine_ids: ids of the engines.
    """
    listed = data.get("components")
    seen: dict[str, str] = {word: f"the engine {word}" for word in engine_ids}
    for index, component in enumerate(listed) if isinstance(listed, list | tuple) else ():
        if not isinstance(component, Mapping):
            continue
        word = _text(component.get("id"))
        if word in seen:
            text = f'the id "{word}" is there already: {seen[word]}'
            yield Flaw(("components", index, "id"), text, "rename one of them", "duplicate")
        seen.setdefault(word, f"components[{index}]")
        yield from (flaw.below("components", index, "fitted") for flaw in _check_fittings(component.get("fitted"), engine_ids))


def _check_fittings(fitted: object, engine_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield flaws of the times at which a component sat on engines."""
    is_list = isinstance(fitted, list | tuple)
    spans: list[tuple[str, str, tuple[int, ...]]] = []
    for index, entry in enumerate(fitted if isinstance(fitted, list | tuple) else [fitted]):
        if not isinstance(entry, Mapping):
            continue
        place: tuple[int, ...] = (index,) if is_list else ()
        engine = _text(entry.get("engine"))
        if entry.get("engine") is not None and engine not in engine_ids:
            text = f'no engine has the id "{engine}"{nearest_name_of(engine, engine_ids)}'
            yield Flaw((*place, "engine"), text, f"engines: {', '.join(engine_ids)}", "unknown_engine")
        first, last = _text(entry.get("from")), _text(entry.get("to")) if entry.get("to") is not None else OPEN_END
        if last <= first:
            yield Flaw(place, f"fitted to {last}, from {first}", "look whether the two are swapped", "contradiction")
        else:
            spans.append((first, last, place))
    for earlier, later in pairwise(sorted(spans)):
        if later[0] < earlier[1]:
            until = "its removal is not stated" if earlier[1] == OPEN_END else f"removed on {earlier[1]}"
            text = f"fitted from {later[0]}, while it sat elsewhere from {earlier[0]}: {until}"
            yield Flaw((*later[2], "from"), text, "write to: when it was removed there", "contradiction")


def _text(value: object) -> str:
    """Return a value as it was written; dates and times sort as text."""
    isoformat = getattr(value, "isoformat", None)
    return str(isoformat()) if callable(isoformat) else str(getattr(value, "text", value))
