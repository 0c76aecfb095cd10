"""Changes of a rule set in memory: a value set, an adjustment dropped. Files stay as they are.

In: the file of a rule set, and what was typed: `adjustments.heavy-load.counts_as=1.3`, `heavy-load`. Out: the changed `RuleSet`, and
which of the changes it has a place for. Refuses (CLI131) a change that is none, and what the rule set cannot be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from intervals.language.scalars import resolve_scalar
from intervals.problems import Problem, RequestProblemError, RuleSetProblemError, nearest_of
from intervals.rules.based_on import load_whole
from intervals.rules.overlay import NAMED_LISTS, NAMED_MAPPINGS, id_of
from intervals.rules.ruleset import RuleSet, ruleset_of

CODE = "CLI131"
_EXAMPLE = "write for example adjustments.heavy-load.counts_as=1.3 or tasks.oil-change.every.running_hours=2500"

_A_KEY = {"tasks": "every.running_hours=2500", "adjustments": "counts_as=1.3"}
"""A key that an entry of a section may have, for the message where none is named."""


@dataclass(frozen=True)
class RuleChanges:
    """What is changed in a rule set.

    Attributes:
        values: path and text of each value that is set.
        dropped: ids of the adjustments that are left out.
    """

    values: tuple[tuple[str, str], ...] = ()
    dropped: tuple[str, ...] = ()

    @classmethod
    def typed(cls, sets: Sequence[str], drops: Sequence[str]) -> RuleChanges:
        """Return the changes that were typed.

        Args:
            sets: such as `tasks.oil-change.every.running_hours=2500`.
            drops: ids of adjustments.

        Raises:
            RequestProblemError: one is no change at all, or is of an adjustment that is dropped (code CLI131), with all that are not.
        """
        parts = [text.partition("=") for text in sets]
        wrong = [text for text, (path, equals, _) in zip(sets, parts, strict=True) if not equals or "." not in path.strip()]
        if wrong:
            found = [Problem(CODE, "--set", None, None, f'not a path and a value; got "{text}"', _EXAMPLE) for text in wrong]
            raise RequestProblemError(found)
        values = tuple((path.strip(), value.strip()) for path, _, value in parts)
        found = [problem for word in dict.fromkeys(drops) for path, _ in values if (problem := _set_and_dropped(path, word))]
        found += [problem for path, value in values if (problem := _whole_entry(path, value))]
        if found:
            raise RequestProblemError(found)
        return cls(values, tuple(drops))

    @property
    def words(self) -> tuple[str, ...]:
        """Each change as it is shown."""
        return (*(f"{path} = {value}" for path, value in self.values), *(f"without {name}" for name in self.dropped))


def _set_and_dropped(path: str, word: str) -> Problem | None:
    """Return the problem of a value that is set in an adjustment which is dropped as well."""
    if path != f"adjustments.{word}" and not path.startswith(f"adjustments.{word}."):
        return None
    text = f'"{path}" is set in the adjustment "{word}", which --drop leaves out'
    return Problem(CODE, "--set", None, None, text, "keep one of the two")


def _whole_entry(path: str, value: str) -> Problem | None:
    """Return the problem of a path that names a task or an adjustment and no key of it."""
    section, _, word = path.partition(".")
    if section not in NAMED_LISTS or "." in word:
        return None
    if section == "adjustments" and resolve_scalar(value) is None:
        return Problem(CODE, "--set", None, None, f'"{path}" is a whole adjustment, not a value of it', f"leave it out with --drop {word}")
    text = f'"{path}" is a whole entry, not a value of it; only adjustments can be left out, with --drop'
    return Problem(CODE, "--set", None, None, text, f"name a key of it: {path}.{_A_KEY.get(section, 'at_most=100')}")


def changed_rulesets(paths: Mapping[str, Path], changes: RuleChanges) -> dict[str, RuleSet]:
    """Return rule sets with changes made in memory; a change goes to each rule set that has a place for it.

    Args:
        paths: file of each rule set, by the name under which it is asked for.
        changes: the changes.

    Raises:
        RuleSetProblemError: a file cannot be used as it is.
        RequestProblemError: no rule set has a place for a change, or one cannot be what it becomes (code CLI131).
    """
    found, placed, known = {}, set(), {"paths": set[str](), "adjustments": set[str]()}
    for name, path in paths.items():
        marked = load_whole(path)
        ruleset_of(marked)
        data = deepcopy(marked.data)
        # examples show the rule set as it is, and may name what is dropped
        data.pop("examples", None)
        known["adjustments"].update(word for entry in data.get("adjustments") or () if (word := id_of(entry)))
        known["paths"].update(_openings(data))
        made = {path_ for path_, value in changes.values if _set(data, path_, value)}
        made |= {word for word in changes.dropped if _drop(data, word)}
        placed |= made
        try:
            found[name] = ruleset_of(replace(marked, data=data, sha256="" if made else marked.sha256))
        except RuleSetProblemError as error:
            refused = [Problem(CODE, "--set", None, problem.path, problem.text, problem.fix) for problem in error.problems]
            raise RequestProblemError(refused) from error
    _check_placed(changes, placed, known)
    return found


def _check_placed(changes: RuleChanges, placed: set[str], known: Mapping[str, set[str]]) -> None:
    """Refuse changes that no rule set has a place for."""
    problems = []
    for path, _ in changes.values:
        if path not in placed:
            opening = ".".join(path.split(".")[:2])
            near = nearest_of(opening, sorted(known["paths"]))
            problems.append(Problem(CODE, "--set", None, None, f'no rule set here has "{opening}"{near}', _EXAMPLE))
    for word in changes.dropped:
        if word not in placed:
            ids = sorted(known["adjustments"])
            text = f'no rule set here has the adjustment "{word}"{nearest_of(word, ids)}'
            problems.append(Problem(CODE, "--drop", None, None, text, f"adjustments: {', '.join(ids)}"))
    if problems:
        raise RequestProblemError(problems)


def _openings(data: Mapping[str, Any]) -> set[str]:
    """Return what a path may begin with: a section, and an id or a key in it."""
    found = {f"{section}.{word}" for section in NAMED_LISTS for entry in data.get(section) or () if (word := id_of(entry))}
    return found | {f"{section}.{key}" for section in NAMED_MAPPINGS for key in data.get(section) or ()}


def _drop(data: dict[str, Any], word: str) -> bool:
    """Leave out an adjustment; tell whether it was there."""
    listed = data.get("adjustments") or []
    kept = [entry for entry in listed if id_of(entry) != word]
    data["adjustments"] = kept
    return len(kept) < len(listed)


def _set(data: dict[str, Any], path: str, value: str) -> bool:
    """Set a value; tell whether the rule set has a place for it."""
    section, _, rest = path.partition(".")
    if section in NAMED_LISTS:
        entries = [entry for entry in data.get(section) or () if (word := id_of(entry)) and rest.startswith(f"{word}.")]
        if not entries:
            return False
        # of two ids of which one begins the other, the longer is meant
        entry = max(entries, key=lambda each: len(id_of(each) or ""))
        return _put(entry, rest[len(id_of(entry) or "") + 1 :].split("."), value)
    if section in NAMED_MAPPINGS:
        return _put(data.setdefault(section, {}), rest.split("."), value)
    return False


def _put(place: Any, keys: Sequence[str], value: str) -> bool:  # noqa: ANN401 - walks plain data of any kind
    """Put a value below a mapping; a list on the way means each of its entries, or the one whose number is given."""
    if isinstance(place, list):
        if keys[0].isdecimal():
            index = int(keys[0])
            return index < len(place) and len(keys) > 1 and _put(place[index], keys[1:], value)
        return bool(place) and all([_put(entry, keys, value) for entry in place])
    if not isinstance(place, dict):
        return False
    if len(keys) == 1:
        place[keys[0]] = _value_of(value)
        return True
    if place.get(keys[0]) is None:
        place[keys[0]] = {}
    return _put(place[keys[0]], keys[1:], value)


def _value_of(text: str) -> Any:  # noqa: ANN401 - a scalar or a list of scalars
    """Return what a text stands for: a list in square brackets, else a number, a truth value, nothing, or the text."""
    if text.startswith("[") and text.endswith("]"):
        return [resolve_scalar(part.strip()) for part in text[1:-1].split(",") if part.strip()]
    return resolve_scalar(text)
