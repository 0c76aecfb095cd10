"""One document laid over another: entries of one id become one, field by field, and every part keeps the place it came from.

In: the marked documents of a rule set and of its base. Out: plain data, lines and origins of the whole. Refuses nothing: what
is not well-formed is kept as it is, so that the model refuses it at its own place.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from intervals.language.yamlmarks import Marked, YamlPath

NAMED_LISTS: tuple[str, ...] = ("tasks", "adjustments", "budgets", "procedures")
"""Lists whose entries have an `id`: an entry of the base's id changes that one, any other is added."""
NAMED_MAPPINGS: tuple[str, ...] = ("conditions", "attributes", "quantities", "limits", "weights")
"""Mappings whose entries are replaced one by one."""
_NOT_INHERITED = frozenset({"ruleset", "title", "version", "source", "notes", "examples", "based_on", "without"})
"""What each rule set says of itself, and examples: those of the base show the base."""
_NAMES_TASKS = ("renews", "makes_new", "tasks")
_OF_TASKS = ("adjustments", "procedures")
"""Lists of entries that are for tasks: without any, an entry goes too."""
_TOP_DEPTH = 2
_INDEXED_DEPTH = 5


def id_of(entry: object) -> str | None:
    """Return the id of an entry as text, or None where it has none."""
    if not isinstance(entry, Mapping) or entry.get("id") is None:
        return None
    word = entry["id"]
    return str(getattr(word, "text", word))


def job_waited_for(event: object) -> str | None:
    """Return the id of the task whose job or result an event is, or None where it is of another kind."""
    named = next((event[key] for key in ("done", "found") if event.get(key) is not None), None) if isinstance(event, Mapping) else None
    return None if named is None else str(getattr(named, "text", named))


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
        gone = self._removed.get(key, frozenset())
        self.data[key] = self._lay_entries((key,), ((key,), own), ((key,), base), lambda entry: id_of(entry) in gone)

    def _lay_entries(
        self, here: YamlPath, own: tuple[YamlPath, list[Any] | None], base: tuple[YamlPath, list[Any]], is_gone: Callable[[object], bool]
    ) -> list[Any]:
        """Return the entries of a list with an `id`, own ones laid over the base's; what of the base is gone is left out."""
        own_place, written = own
        base_place, inherited = base
        self._mark(self._own if written is not None else self._base, here, own_place if written is not None else base_place)
        places: dict[str, int] = {}
        for index, entry in enumerate(written or ()):
            places.setdefault(id_of(entry) or "", index)
        laid: set[int] = set()
        whole: list[Any] = []
        for index, entry in enumerate(inherited):
            if is_gone(entry):
                continue
            word = id_of(entry)
            over = places.get(word) if word is not None else None
            if over is not None and over not in laid:
                laid.add(over)
                self._lay_entry((*here, len(whole)), whole, ((*base_place, index), entry), ((*own_place, over), written[over]))  # type: ignore[index]  # places come from own
            else:
                self._lay_entry((*here, len(whole)), whole, ((*base_place, index), entry), None)
        for index, entry in enumerate(written or ()):
            if index not in laid:
                self._copy_places(self._own, (*here, len(whole)), (*own_place, index))
                whole.append(entry)
        return whole

    def _lay_entry(self, place: YamlPath, whole: list[Any], base: tuple[YamlPath, Any], own: tuple[YamlPath, Any] | None) -> None:
        """Add an entry of the base, with an entry of the same id laid over it field by field."""
        base_place, entry = base
        if not isinstance(entry, Mapping):
            self._copy_places(self._base, place, base_place)
            whole.append(entry)
            return
        key = place[0] if len(place) == _TOP_DEPTH else None
        own_place: YamlPath = own[0] if own is not None else ()
        over: Mapping[str, Any] = own[1] if own is not None else {}
        inherited = {name: value for name, value in self._without_removed(entry).items() if name not in over}
        dropped = {"examples"} - over.keys() if key == "procedures" else set()
        parted = {"steps"} if key == "procedures" and _has_steps(entry, over) else set()
        inherited = {name: value for name, value in inherited.items() if name not in dropped}
        if own is None and key in _OF_TASKS and not inherited.get("tasks", True):
            return  # every task that it is for was taken away
        self._mark(self._own if own is not None else self._base, place, own_place if own is not None else base_place)
        for name in inherited.keys() - parted:
            self._copy_places(self._base, (*place, name), (*base_place, name))
        for name in over.keys() - parted:
            self._copy_places(self._own, (*place, name), (*own_place, name))
        merged = {name: value for name, value in {**entry, **inherited, **over}.items() if value is not None and name not in dropped}
        if parted:
            merged["steps"] = self._lay_steps(place, (own_place, over), (base_place, entry))
        general = self._base.data.get("source")
        if key is not None and "source" not in merged and "source" not in over and general is not None:
            # what the base says of all its rules stays with those that come from it
            merged["source"] = general
            self._copy_places(self._base, (*place, "source"), ("source",))
        whole.append(merged)

    def _lay_steps(self, place: YamlPath, own: tuple[YamlPath, Mapping[str, Any]], base: tuple[YamlPath, Mapping[str, Any]]) -> list[Any]:
        """Return the steps of a procedure, own ones laid over those of the same id; steps that are taken away are needed no longer."""
        procedure = id_of(base[1])
        prefix = f"{procedure}."
        gone = {word.removeprefix(prefix) for word in self._removed.get("steps", frozenset()) if word.startswith(prefix)}
        gone |= {f"{word}.restore" for word in gone}
        steps = [_needing_no(gone, entry) for entry in base[1]["steps"]] if gone else base[1]["steps"]
        written = ((*own[0], "steps"), own[1].get("steps"))
        return self._lay_entries((*place, "steps"), written, ((*base[0], "steps"), steps), lambda entry: id_of(entry) in gone)

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
        events = entry.get("after")
        if gone and isinstance(events, list):
            # where nothing would be left the last event stands: what is then to be done is said where the task was taken away
            kept["after"] = [event for event in events if job_waited_for(event) not in gone] or events
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


def _has_steps(entry: Mapping[str, Any], over: Mapping[str, Any]) -> bool:
    """Return whether an entry of the base has steps, over which those of another can be laid."""
    return isinstance(entry.get("steps"), list) and isinstance(over.get("steps", []), list)


def _needing_no(gone: set[str], entry: object) -> object:
    """Return a step of the base that no longer needs steps that were taken away."""
    needs = entry.get("needs") if isinstance(entry, Mapping) else None
    if not isinstance(entry, Mapping) or needs is None:
        return entry
    words = needs if isinstance(needs, list) else [needs]
    return {**entry, "needs": [word for word in words if str(getattr(word, "text", word)) not in gone]}


def _below(places: Mapping[YamlPath, object]) -> dict[YamlPath, list[YamlPath]]:
    """Return the paths below each path of up to five parts."""
    below: dict[YamlPath, list[YamlPath]] = defaultdict(list)
    for path in places:
        for above in _above(path):
            below[above].append(path)
    return dict(below)


def _above(path: YamlPath) -> Iterator[YamlPath]:
    """Yield the paths above a path that are asked for."""
    for length in range(1, min(len(path), _INDEXED_DEPTH + 1)):
        yield path[:length]
