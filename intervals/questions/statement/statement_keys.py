"""The keys in which two entries of one kind differ, each with what was stated and what it is now.

In: two entries of a document. Out: one line of text. Comparisons are of equality only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.shown_numbers import count_of

_MOST_KEYS = 4
_ABSENT = "none"
"""What stands for an entry that only one side has."""


def differing_keys(was: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    """Return the keys that differ, in the document's order, with both values.

    Args:
        was: as it was stated.
        now: as it is now.

    Example:
        >>> differing_keys({"value": 238.0, "unit": "h"}, {"value": 237.5, "unit": "h"})
        'value stated 238.0, now 237.5'
    """
    found = list(_differences(was, now, ""))
    more = len(found) - _MOST_KEYS
    return "; ".join([*found[:_MOST_KEYS], *([f"and {count_of(more, 'key')} more"] if more > 0 else [])])


def _differences(was: Any, now: Any, name: str) -> Iterator[str]:  # noqa: ANN401 - walks whatever a document holds
    """Yield each key below a name that differs."""
    if was == now:
        return
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for key in dict.fromkeys([*was, *now]):
            yield from _differences(was.get(key, _ABSENT), now.get(key, _ABSENT), f"{name}.{key}" if name else key)
    elif isinstance(was, list) and isinstance(now, list) and all(isinstance(each, Mapping) for each in (*was, *now)):
        before, after = _by_name(was), _by_name(now)
        if before == after:
            yield f"{name} in another order"
        for key in dict.fromkeys([*before, *after]):
            yield from _differences(before.get(key, _ABSENT), after.get(key, _ABSENT), f"{name}[{key}]")
    else:
        yield f"{name} stated {_value(was)}, now {_value(now)}"


def _by_name(entries: Sequence[Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
    """Return the entries of a list by what identifies them: a leg, a rule, an occurrence; those of one name are numbered."""
    seen: Counter[str] = Counter()
    named = {}
    for entry in entries:
        name = " ".join(str(entry[key]) for key in ("leg", "rule", "engine", "task", "line_on") if entry.get(key) is not None)
        seen[name] += 1
        named[name if seen[name] == 1 else f"{name} {seen[name]}"] = entry
    return named


def _value(value: Any) -> str:  # noqa: ANN401 - shows whatever a document holds
    """Return a value in a few words; text that has blanks in quotation marks."""
    if isinstance(value, Mapping):
        return _value(value["text"]) if "text" in value else " ".join(_value(each) for each in value.values())
    if isinstance(value, str):
        return f'"{value}"' if " " in value else value
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "none" if value is None else str(value)
