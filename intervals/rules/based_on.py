"""Rule sets that are based on others: own entries laid over those of the base, field by field, each keeping its own place.

In: the file of a rule set. Out: `Marked`: one whole document in which every part still knows the file and line it stands in,
with a digest over all files. Refuses (RUL028) bases that do not exist or lead back to where they began, and removals of
what the base does not have.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from intervals.language.flaws import Flaw, problems_from_flaws
from intervals.language.scalars import shown_value
from intervals.language.yamlmarks import Marked, load_yaml
from intervals.problems import ProblemsError, RuleSetProblemError, nearest_of
from intervals.rules.overlay import NAMED_LISTS, Overlay, id_of, job_waited_for
from intervals.rules.shipped import find_ruleset, is_ruleset_path

STEPS = "steps"
DEEPEST = 8
"""So many rule sets may stand on one another."""


@dataclass(frozen=True)
class _Whole:
    """A document with its bases laid under it, and the digests of the files it was made of, its own first."""

    marked: Marked
    digests: tuple[str, ...]


def load_whole(path: Path) -> Marked:
    """Return the document of a rule set file, with its bases laid under it.

    The digest is that of the file where it stands alone; else that of the list of all files' digests, its own first, one a
    line: `sha256sum own.yaml base.yaml | cut -c1-64 | sha256sum`.

    Args:
        path: the YAML file.

    Returns:
        The whole document; `origin_of` and `line_of` tell where each part stands.

    Raises:
        RuleSetProblemError: a file cannot be read, or a base cannot be used.
    """
    whole = _load(path, ())
    if len(whole.digests) == 1:
        return whole.marked
    listed = "".join(f"{digest}\n" for digest in whole.digests)
    return replace(whole.marked, sha256=hashlib.sha256(listed.encode()).hexdigest())


def files_of(path: Path) -> tuple[Path, ...]:
    """Return a rule set's file and those of its bases, as far as they can be read; the file itself comes first."""
    found: list[Path] = [path]
    try:
        while (marked := load_yaml(found[-1], code_prefix="RUL")).data.get("based_on") is not None:
            found.append(_base_path(marked, found[-1], tuple(found[:-1])))
    except ProblemsError:
        pass  # it is reported where the rule set is read
    return tuple(found)


def _load(path: Path, above: tuple[Path, ...]) -> _Whole:
    """Load one file and what it is based on; `above` are the files that are based on it."""
    marked = load_yaml(path, code_prefix="RUL")
    if marked.data.get("based_on") is None:
        if marked.data.get("without") is not None:
            raise _refusal(marked, [_flaw(("without",), "without removes parts of a base, and there is no base", "add based_on: NAME")])
        return _Whole(marked, (marked.sha256,))
    base_path = _base_path(marked, path, above)
    base = _load(base_path, (*above, path))
    flaws = list(_check_without(marked.data, base.marked.data))
    if flaws:
        raise _refusal(marked, flaws)
    return _Whole(_laid_over(marked, base.marked), (marked.sha256, *base.digests))


def _base_path(marked: Marked, path: Path, above: tuple[Path, ...]) -> Path:
    """Return the file that a rule set is based on: a shipped name, or a path from the folder it stands in."""
    named = marked.data["based_on"]
    if not isinstance(named, str):
        raise _refusal(
            marked, [_flaw(("based_on",), f"not a rule set; got {shown_value(named)}", "write a shipped name, or ./my-rules.yaml")]
        )
    try:
        found = path.parent / named if is_ruleset_path(named) else find_ruleset(named, beside=None)
    except RuleSetProblemError as error:
        base_flaws = [_flaw(("based_on",), problem.text, problem.fix) for problem in error.problems]
        raise _refusal(marked, base_flaws) from error
    if not found.is_file():
        text = f'there is no file "{named}" beside this one'
        raise _refusal(marked, [_flaw(("based_on",), text, "write the path from the folder of this file")])
    chain = [each.resolve() for each in (*above, path)]
    if found.resolve() in chain:
        names = [each.name for each in (*chain[chain.index(found.resolve()) :], found)]
        text = f"rule sets are based on one another in a circle: {' -> '.join(names)}"
        raise _refusal(marked, [_flaw(("based_on",), text, "let one of them stand alone")])
    if len(chain) >= DEEPEST:
        raise _refusal(
            marked, [_flaw(("based_on",), f"more than {DEEPEST} rule sets are based on one another", "put some of them into one")]
        )
    return found


def _check_without(own: Mapping[str, Any], base: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of removals: of what the base does not have, and of what this file writes itself."""
    for section, ids in _removals(own).items():
        known, written = _ids_in(base, section), set(_ids_in(own, section))
        for index, word in enumerate(ids):
            place = ("without", section, index)
            if word not in known:
                text = f'the base has no {section[:-1]} "{word}"{nearest_of(word, known)}'
                yield _flaw(place, text, f"{section}: {', '.join(known)}")
            elif word in written:
                yield _flaw(place, f'"{word}" is removed here and also written under {section}', "keep one of the two")
    yield from _check_events_left(own, base)


def _check_events_left(own: Mapping[str, Any], base: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield a flaw for each removal that leaves a task of the base without any event after which it would be due."""
    listed = _removals(own).get("tasks", [])
    removed = frozenset(listed)
    # what says itself after what it is due, or that it is not, is judged as it is written
    said = {id_of(entry) for entry in _listed(own, "tasks") if isinstance(entry, Mapping) and "after" in entry}
    for task in _listed(base, "tasks"):
        name, events = id_of(task), task.get("after") if isinstance(task, Mapping) else None
        jobs = [job_waited_for(event) for event in (events if isinstance(events, list) else [events])]
        if name in removed | said or not removed.issuperset(jobs) or not jobs or task.get("due_when") is not None:
            continue
        text = f'without "{jobs[0]}" nothing is left after which "{name}" of the base would be due'
        fix = f'remove "{name}" too, or write it here with another after'
        yield _flaw(("without", "tasks", listed.index(str(jobs[0]))), text, fix)


def _ids_in(data: Mapping[str, Any], section: str) -> list[str]:
    """Return the ids of a section's entries; those of steps with their procedure's before them."""
    if section != STEPS:
        return [text for entry in _listed(data, section) if (text := id_of(entry)) is not None]
    procedures = [(id_of(entry), entry) for entry in _listed(data, "procedures")]
    return [f"{name}.{text}" for name, entry in procedures if name for step in _listed(entry, STEPS) if (text := id_of(step)) is not None]


def _laid_over(own: Marked, base: Marked) -> Marked:
    """Return the document of a file laid over that of its base."""
    removed = {section: frozenset(ids) for section, ids in _removals(own.data).items()}
    overlay = Overlay(own, base, removed)
    overlay.lay()
    return replace(own, data=overlay.data, lines=overlay.lines, origins=overlay.origins)


def _removals(data: Mapping[str, Any]) -> dict[str, list[str]]:
    """Return the ids that a document takes away, by section; what is not well-formed is refused by the model."""
    without = data.get("without")
    if not isinstance(without, Mapping):
        return {}
    found: dict[str, list[str]] = {}
    for section in (*NAMED_LISTS, STEPS):
        value = without.get(section)
        listed = value if isinstance(value, list) else [] if value is None else [value]
        found[section] = [str(getattr(word, "text", word)) for word in listed]
    return found


def _listed(data: Mapping[str, Any], section: str) -> Sequence[Any]:
    """Return the entries of a section, none where it is no list."""
    value = data.get(section)
    return value if isinstance(value, list) else ()


def _flaw(place: tuple[str | int, ...], text: str, fix: str | None) -> Flaw:
    """Return a flaw of what a rule set is based on."""
    return Flaw(place, text, fix, "based_on")


def _refusal(marked: Marked, flaws: Sequence[Flaw]) -> RuleSetProblemError:
    """Return the error for flaws of a document."""
    return RuleSetProblemError(problems_from_flaws(flaws, marked))
