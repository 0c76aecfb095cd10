"""How much hangs on a task or a budget: the weights by which a month's figure is given besides.

In: the plain data under `weights` of a rule set, and of its tasks and budgets. Out: title by weight; flaws of weights that are not among
them. A rule set that names none has law, safety, engine and comfort.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.plain_values import checked_id, checked_line, text_of
from intervals.language.scalars import shown_value
from intervals.problems import nearest_of

DEFAULT_WEIGHT = "engine"
DEFAULT_WEIGHTS: Mapping[str, str] = {
    "law": "Law and survey",
    "safety": "Safety",
    DEFAULT_WEIGHT: "Engine",
    "comfort": "Comfort",
}
_FIX = "write a list of ids, or title by id, for example {permit: What the permit asks, plant: The plant itself}"


def parse_weights(raw: object) -> dict[str, str]:
    """Return title by id; of a bare list of ids the id is the title.

    Args:
        raw: a list of ids, or a mapping id -> title.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.

    Example:
        >>> parse_weights(["permit", "plant"])
        {'permit': 'Permit', 'plant': 'Plant'}
    """
    if isinstance(raw, Mapping):
        entries: list[tuple[str | int, object, object]] = [(str(key), key, title) for key, title in raw.items()]
    elif isinstance(raw, (list, tuple)):
        entries = [(index, word, None) for index, word in enumerate(raw)]
    else:
        raise flaw_error(text=f"not a list of weights; got {shown_value(raw)}", fix=_FIX)
    if not entries:
        raise flaw_error(text="no weight is named", fix=_FIX, kind="range")
    found: dict[str, str] = {}
    flaws: list[Flaw] = []
    for place, word, title in entries:
        try:
            name = checked_id(_text(word))
            words = name.replace("-", " ").capitalize() if title is None else checked_line(_text(title))
        except ValueError as error:
            flaws += [flaw.below(place) for flaw in flaws_of(error)]
            continue
        if name in found:
            flaws.append(Flaw((place,), f'the weight "{name}" is named twice', "name it once", "duplicate"))
        found[name] = words
    if flaws:
        raise FlawsError(flaws)
    return found


def _text(value: object) -> str:
    """Return a word or a title."""
    text = text_of(value)
    if not isinstance(text, str):
        raise flaw_error(text=f"not a word; got {shown_value(value)}", fix=_FIX)
    return text


def check_weights(data: Mapping[str, Any], sections: Mapping[str, Sequence[tuple[int, Mapping[str, Any]]]]) -> Iterator[Flaw]:
    """Yield a flaw for each task or budget whose weight is none of the rule set's.

    Args:
        data: the rule set's plain data.
        sections: its tasks and budgets with their positions, by section.
    """
    try:
        known = DEFAULT_WEIGHTS if data.get("weights") is None else parse_weights(data["weights"])
    except FlawsError:
        # reported as a flaw of its own
        return
    for section, entries in sections.items():
        for index, entry in entries:
            stated = entry.get("weight")
            weight = DEFAULT_WEIGHT if stated is None else str(getattr(stated, "text", stated))
            if weight in known:
                continue
            fix = f"write one of {', '.join(known)}"
            if stated is None:
                text = f'no weight is stated, and the rule set\'s own weights have no "{DEFAULT_WEIGHT}"'
                yield Flaw((section, index), text, f"{fix}, for example weight: {next(iter(known))}", "word")
            else:
                text = f'no weight "{weight}"{nearest_of(weight, list(known))}'
                yield Flaw((section, index, "weight"), text, f"{fix}, or name it under weights", "word")


Weights = Annotated[
    dict[str, str],
    PlainValidator(parse_weights),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "array", "minItems": 1, "items": {"type": "string"}},
                {"type": "object", "minProperties": 1, "additionalProperties": {"type": "string"}},
            ],
            "examples": [["permit", "plant"], {"permit": "What the permit asks", "plant": "The plant itself"}],
        }
    ),
]
"""The weights that a rule set names itself."""
