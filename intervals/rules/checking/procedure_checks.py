"""What concerns several keys or steps of a procedure at once: which keys a kind of step has, what steps need, circles, values, units.

In: a rule set's plain data, as it was read, whether or not its fields are right. Out: flaws, so that they are reported together with
those of single fields. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.stated_values import parse_stated
from intervals.problems import nearest_of
from intervals.quantities import UnitProblemError, check_unit
from intervals.rules.checking.asked_names import check_asked
from intervals.rules.checking.step_order import check_order
from intervals.rules.procedure_steps import KINDS, PHASES, RESTORE

Entries = Sequence[tuple[int, Mapping[str, Any]]]

NEEDED_KEYS: Mapping[str, tuple[str, ...]] = {
    "caution": ("text",),
    "check": ("text",),
    "do": ("text",),
    "wait": ("text",),
    "set": ("of", "to"),
    "measure": ("value",),
}
"""What a step of a kind cannot do without."""
_KEY_KINDS: Mapping[str, str] = {
    **dict.fromkeys(("of", "to", "before", "restore"), "set"),
    "minutes": "wait",
    **dict.fromkeys(("value", "unit", "limits"), "measure"),
}
"""Keys that belong to one kind of step."""
_RESTORABLE = PHASES[:3]


def check_procedures(data: Mapping[str, Any], named: Mapping[str, Condition], task_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield all that is wrong between the entries of a rule set's procedures.

    Args:
        data: the rule set's plain data; entries that are not what they should be are passed over.
        named: its conditions by name.
        task_ids: the ids of its tasks.

    Yields:
        Flaws with places from the document's top.
    """
    procedures = entries_of(data.get("procedures"))
    yield from _twice("procedures", procedures, ())
    for index, procedure in procedures:
        for flaw in _check_procedure(procedure, named, task_ids):
            yield flaw.below("procedures", index)


def entries_of(value: object) -> Entries:
    """Return the mappings of a list with their positions."""
    return [(index, entry) for index, entry in enumerate(value) if isinstance(entry, Mapping)] if isinstance(value, (list, tuple)) else []


def words_of(value: object) -> list[tuple[tuple[int, ...], str]]:
    """Return a word or list of words, each with its place."""
    if isinstance(value, (list, tuple)):
        return [((index,), word_of(word)) for index, word in enumerate(value) if isinstance(word, (str, int, float))]
    return [((), word_of(value))] if isinstance(value, (str, int, float)) else []


def word_of(value: object) -> str:
    """Return a word as it was written."""
    return str(getattr(value, "text", value))


def _check_procedure(procedure: Mapping[str, Any], named: Mapping[str, Condition], task_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield what is wrong with one procedure, with places below it."""
    for place, word in words_of(procedure.get("tasks")):
        if word not in task_ids:
            text = f'no task has the id "{word}"{nearest_of(word, task_ids)}'
            yield Flaw(("tasks", *place), text, f"tasks: {', '.join(task_ids)}", "unknown_task")
    yield from (flaw.below("applies_to") for flaw in check_asked(procedure.get("applies_to"), named, "applies_to"))
    for index, part in entries_of(procedure.get("parts")):
        yield from (flaw.below("parts", index, "when") for flaw in check_asked(part.get("when"), named, "step"))
    steps = entries_of(procedure.get("steps"))
    yield from _twice("steps", steps, ())
    for index, step in steps:
        yield from (flaw.below("steps", index) for flaw in _check_step(step, named))
    yield from check_order(steps)
    yield from _check_balances(procedure, steps)
    yield from _check_examples(procedure, steps)


def _twice(section: str, entries: Entries, place: tuple[str | int, ...]) -> Iterator[Flaw]:
    """Yield a flaw for each entry whose id was there before."""
    seen: dict[str, int] = {}
    for index, entry in entries:
        if entry.get("id") is None:
            continue
        word = word_of(entry["id"])
        if word in seen:
            text = f'two {section} with the id "{word}"; the first one is {section}[{seen[word]}]'
            yield Flaw((*place, section, index, "id"), text, "rename one of them", "duplicate")
        seen.setdefault(word, index)


def _check_step(step: Mapping[str, Any], named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield what is wrong with one step, with places below it."""
    yield from (flaw.below("when") for flaw in check_asked(step.get("when"), named, "step"))
    yield from _check_id(step.get("id"))
    kind = step.get("kind")
    if kind in KINDS:
        yield from _check_keys(step, str(kind))
    if kind == "set" and step.get("restore") is True and step.get("phase") in PHASES[len(_RESTORABLE) :]:
        text = f'a step of phase "{step["phase"]}" cannot come back at the end'
        yield Flaw(("restore",), text, f"leave restore out, or write phase: {' or '.join(_RESTORABLE)}", "step")
    if isinstance(step.get("unit"), str):
        try:
            check_unit(step["unit"])
        except UnitProblemError as error:
            yield Flaw(("unit",), str(error), error.fix, "unit")
    yield from (flaw.below("limits") for flaw in _check_limits(step.get("limits")))


def _check_id(step_id: object) -> Iterator[Flaw]:
    """Yield a flaw of an id that would be taken for the putting back of another step."""
    word = word_of(step_id)
    if "." in word:
        text = f'an id without a full stop is needed; got "{word}"'
        yield Flaw(("id",), text, f"write {word.replace('.', '-')}: on a card it stands behind the procedure's id and a full stop", "step")


def _check_keys(step: Mapping[str, Any], kind: str) -> Iterator[Flaw]:
    """Yield a flaw for each key that a step of its kind lacks or cannot have."""
    for key in NEEDED_KEYS.get(kind, ()):
        if step.get(key) is None:
            yield Flaw((), f'a step of kind {kind} needs the key "{key}"', f"add {key}", "missing_key")
    for key, owner in _KEY_KINDS.items():
        if step.get(key) not in (None, False) and kind != owner:
            text = f'"{key}" belongs to a step of kind {owner}; this one is of kind {kind}'
            yield Flaw((key,), text, f"leave it out, or write kind: {owner}", "step")
    if kind == "set" and step.get("restore") is True and step.get("before") is None:
        yield Flaw((), 'a step that comes back needs the key "before"', "add before: the position that it is in until then", "missing_key")


def _check_limits(limits: object) -> Iterator[Flaw]:
    """Yield flaws of limits: two on one side, none, or nothing between them."""
    if not isinstance(limits, Mapping):
        return
    lower = [word for word in ("above", "at_least") if limits.get(word) is not None]
    upper = [word for word in ("below", "at_most") if limits.get(word) is not None]
    if not limits:
        yield Flaw((), "no limit; expected above, at_least, below or at_most", "leave limits out where nothing is asked", "range")
    if max(len(lower), len(upper)) > 1:
        yield Flaw((), "two limits on the same side", "keep one of them", "range")
    elif lower and upper:
        low, high = _plain(limits[lower[0]]), _plain(limits[upper[0]])
        is_closed = lower[0] == "at_least" and upper[0] == "at_most"
        if low is not None and high is not None and (low > high or (low == high and not is_closed)):
            shown = f"{lower[0]} {low:.15g} and {upper[0]} {high:.15g}"
            yield Flaw((), f"nothing lies between {shown}", "look whether the limits are swapped", "range")


def _plain(value: object) -> float | None:
    """Return a bare number of zero or more, None for anything else."""
    try:
        parsed = parse_stated(value)
    except FlawsError:
        return None
    return parsed if isinstance(parsed, float) else None


def _check_balances(procedure: Mapping[str, Any], steps: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each amount of a balance that no step measures, and that is on both its sides."""
    measured = {
        word_of(step["value"]): step.get("unit") for _, step in steps if step.get("kind") == "measure" and step.get("value") is not None
    }
    value = procedure.get("balance")
    listed = value if isinstance(value, (list, tuple)) else [value]
    for index, balance in entries_of(listed):
        place: tuple[str | int, ...] = ("balance", index) if listed is value else ("balance",)
        units: dict[str, None] = {}
        sides = {side: words_of(balance.get(side)) for side in ("filled", "drained")}
        for side, words in sides.items():
            for below, word in words:
                if word not in measured:
                    text = f'no step measures "{word}"{nearest_of(word, measured)}'
                    yield Flaw((*place, side, *below), text, f"measured here: {', '.join(measured) or 'nothing'}", "unknown_step")
                else:
                    units[str(measured[word])] = None
                if side == "drained" and word in [each for _, each in sides["filled"]]:
                    yield Flaw((*place, side, *below), f'"{word}" stands on both sides', "let it stand on one of them", "duplicate")
        if len(units) > 1:
            yield Flaw(place, f"different units cannot be balanced: {', '.join(units)}", "measure both sides in one unit", "unit")


def _check_examples(procedure: Mapping[str, Any], steps: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each example with the name of another, and for each step in one that the procedure does not have."""
    ids = [word_of(step["id"]) for _, step in steps if step.get("id") is not None]
    ids += [f"{word_of(step['id'])}.{RESTORE}" for _, step in steps if step.get("id") is not None and step.get("restore") is True]
    repeated = {word_of(step["id"]) for _, step in steps if step.get("id") is not None and step.get("for_each") is not None}
    seen: set[str] = set()
    for index, example in entries_of(procedure.get("examples")):
        name = word_of(example.get("name"))
        if name in seen:
            yield Flaw(("examples", index, "name"), f'two examples with the name "{name}"', "rename one of them", "duplicate")
        seen.add(name)
        expected = example.get("expect")
        stated = (("evidence", example.get("evidence")), ("expect", expected.get("steps") if isinstance(expected, Mapping) else None))
        for key, listed in stated:
            for word in listed if isinstance(listed, Mapping) else ():
                step, _, number = str(word).rpartition(".")
                if word not in ids and not (step in repeated and number.isdecimal()):
                    text = f'the procedure has no step "{word}"{nearest_of(str(word), ids)}'
                    place = ("evidence", word) if key == "evidence" else ("expect", "steps", word)
                    yield Flaw(("examples", index, *place), text, f"steps: {', '.join(ids)}", "unknown_step")
