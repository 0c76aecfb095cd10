"""One document laid over another: entries of one id become one, field by field, and every part keeps the place it came from.

In: the marked documents of a rule set and of its base. Out: plain data, lines and origins of the whole. Refuses nothing: what
is not well-formed is kept as it is, so that the model refuses it at its own place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from intervals.language.yamlmarks import Marked, YamlPath

NAMED_LISTS: tuple[str, ...] = ("tasks", "adjustments", "budgets")
"""Lists whose entries have an `id`: an entry of the base's id changes that one, any other is added."""
NAMED_MAPPINGS: tuple[str, ...] = ("conditions", "attributes", "limits", "weights")
"""Mappings whose entries are replaced one by one."""
_NOT_INHERITED = frozenset({"ruleset", "title", "version", "source", "notes", "examples", "based_on", "without"})
"""What each rule set says of itself, and examples: those of the base show the base."""
_NAMES_TASKS = ("renews", "makes_new", "tasks")
_INDEXED_DEPTH = 3


def id_of(entry: object) -> str | None:
    """Return the id of an entry as text, or None where it has none."""
    if not isinstance(entry, Mapping) or entry.get("id") is None:
        return None
    word = entry["id"]
    return str(getattr(word, "text", word))


class Overlay:
    """A document that is laid over its base.

    Attributes:
        data: the whole document's plain data.
        lines: line of each path of it.
        origins: file and path there of each part.
    """

    def __init__(self, own: Marked, base: Marked, removed: Mapping[str, frozenset[str]]) -> None:
        self.data: dict[str, Any] = {}
        self.lines: dict[YamlPath, int] = {(): own.line_of(())}
        self.origins: dict[YamlPath, tuple[str, YamlPath]] = {}
        self._own, self._base, self._removed = own, base, removed
        self._below = {id(marked): _below(marked.lines) for marked in (own, base)}
        self._origins_below = {id(marked): _below(marked.origins) for marked in (own, base)}

    def lay(self) -> None:
        """Put the whole document together."""
        own, base = self._own.data, self._base.data
        for key, value in own.items():
            if key not in NAMED_LISTS and key not in NAMED_MAPPINGS:
                self._take(self._own, (key,), (key,), value)
        for key, value in base.items():
            if key not in own and key not in NAMED_LISTS and key not in NAMED_MAPPINGS and key not in _NOT_INHERITED:
                self._take(self._base, (key,), (key,), value)
        for key in NAMED_MAPPINGS:
            self._lay_mapping(key, own.get(key), base.get(key))
        for key in NAMED_LISTS:
            self._lay_list(key, own.get(key), base.get(key))

    def _lay_mapping(self, key: str, own: object, base: object) -> None:
        """Replace entries of a mapping one by one; an entry that is nothing takes the base's away."""
        if own is None or not isinstance(base, Mapping):
            source = (self._own, own) if own is not None else (self._base, base)
            if source[1] is not None:
                self._take(source[0], (key,), (key,), source[1])
            return
        if not isinstance(own, Mapping):
            self._take(self._own, (key,), (key,), own)
            return
        self._mark(self._own, (key,), (key,))
        merged = {name: value for name, value in {**base, **own}.items() if value is not None}
        self.data[key] = merged
        for name in merged:
            self._copy_places(self._own if name in own else self._base, (key, name), (key, name))

    def _lay_list(self, key: str, own: object, base: object) -> None:
        """Lay entries over those of the same id; the base's order stays, additions follow."""
        if not isinstance(base, list):
            if own is not None:
                self._take(self._own, (key,), (key,), own)
            return
        if own is not None and not isinstance(own, list):
            self._take(self._own, (key,), (key,), own)
            return
        self._mark(self._own if own is not None else self._base, (key,), (key,))
        places: dict[str, int] = {}
        for index, entry in enumerate(own or ()):
            places.setdefault(id_of(entry) or "", index)
        laid: set[int] = set()
        whole: list[Any] = []
        self.data[key] = whole
        for index, entry in enumerate(base):
            word = id_of(entry)
            if word in self._removed.get(key, frozenset()):
                continue
            over = places.get(word) if word is not None else None
            if over is not None and over not in laid:
                laid.add(over)
                self._lay_entry(key, whole, (index, entry), (over, own[over]))  # type: ignore[index]  # places come from own
            else:
                self._lay_entry(key, whole, (index, entry), None)
        for index, entry in enumerate(own or ()):
            if index not in laid:
                self._copy_places(self._own, (key, len(whole)), (key, index))
                whole.append(entry)

    def _lay_entry(self, key: str, whole: list[Any], base: tuple[int, Any], own: tuple[int, Any] | None) -> None:
        """Add an entry of the base, with an entry of the same id laid over it field by field."""
        index, entry = base
        if not isinstance(entry, Mapping):
            self._copy_places(self._base, (key, len(whole)), (key, index))
            whole.append(entry)
            return
        over: Mapping[str, Any] = own[1] if own is not None else {}
        inherited = {name: value for name, value in self._without_removed(entry).items() if name not in over}
        if own is None and key == "adjustments" and not inherited.get("tasks", True):
            return  # every task that it adjusts was taken away
        place = (key, len(whole))
        self._mark(self._own if own is not None else self._base, place, (key, own[0] if own is not None else index))
        for name in inherited:
            self._copy_places(self._base, (*place, name), (key, index, name))
        for name in over:
            self._copy_places(self._own, (*place, name), (key, own[0] if own is not None else index, name))
        merged = {name: value for name, value in {**entry, **inherited, **over}.items() if value is not None}
        general = self._base.data.get("source")
        if "source" not in merged and "source" not in over and general is not None:
            # what the base says of all its rules stays with those that come from it
            merged["source"] = general
            self._copy_places(self._base, (*place, "source"), ("source",))
        whole.append(merged)

    def _without_removed(self, entry: Mapping[str, Any]) -> dict[str, Any]:
        """Return an inherited entry that no longer names tasks that were taken away."""
        gone = self._removed.get("tasks", frozenset())
        kept = dict(entry)
        for name in _NAMES_TASKS:
            words = entry.get(name)
            if gone and isinstance(words, list):
                kept[name] = [word for word in words if str(getattr(word, "text", word)) not in gone]
            elif gone and isinstance(words, str) and words in gone:
                kept[name] = []
        return kept

    def _take(self, marked: Marked, here: YamlPath, there: YamlPath, value: object) -> None:
        """Take a value of the document's top from one of the two."""
        self.data[str(here[0])] = value
        self._copy_places(marked, here, there)

    def _mark(self, marked: Marked, here: YamlPath, there: YamlPath) -> None:
        """Note where a part stands, without what is below it."""
        self.lines[here] = marked.line_of(there)
        self.origins[here] = marked.origin_of(there)

    def _copy_places(self, marked: Marked, here: YamlPath, there: YamlPath) -> None:
        """Note where a part and all below it stand."""
        self._mark(marked, here, there)
        for path in self._below[id(marked)].get(there, ()):
            self.lines[(*here, *path[len(there) :])] = marked.lines[path]
        for path in self._origins_below[id(marked)].get(there, ()):
            self.origins[(*here, *path[len(there) :])] = marked.origins[path]


def _below(places: Mapping[YamlPath, object]) -> dict[YamlPath, list[YamlPath]]:
    """Return the paths below each path of up to three parts."""
    below: dict[YamlPath, list[YamlPath]] = defaultdict(list)
    for path in places:
        for above in _above(path):
            below[above].append(path)
    return dict(below)


def _above(path: YamlPath) -> Iterator[YamlPath]:
    """Yield the paths above a path that are asked for."""
    for length in range(1, min(len(path), _INDEXED_DEPTH + 1)):
        yield path[:length]
