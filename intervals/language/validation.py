"""Pydantic's errors in the project's words: what was found, what was expected, where, and what to do.

In: pydantic's error for a whole document, and the document's marks. Out: `Problem` values. The fields of the models say
which keys are allowed where and what a missing one is for.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, get_args

import yaml

from intervals.language.flaws import Flaw, flaws_of, problems_from_flaws
from intervals.language.scalars import shown_value
from intervals.language.yamlmarks import Marked, YamlPath
from intervals.problems import Problem, nearest_of

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails


def problems_from_validation(error: ValidationError, marked: Marked, model: type[BaseModel]) -> list[Problem]:
    """Return one problem for each thing that pydantic found wrong.

    Args:
        error: pydantic's error for the whole document.
        marked: the document.
        model: the model of the document, whose fields say which keys are allowed where.

    Returns:
        Problems with code, file, line, `$.path`, what was found, what was expected, and the nearest allowed key.
    """
    problems: list[Problem] = []
    for details in error.errors(include_url=False):
        if details["type"] == "too_short" and isinstance(details["input"], list) and details["input"]:
            continue  # the list is long enough: its entries are wrong, and each has a problem of its own
        place = _place_in(marked.data, details["loc"], keep_last=details["type"] in ("missing", "extra_forbidden"))
        raised = details.get("ctx", {}).get("error")
        flaws = flaws_of(raised) if isinstance(raised, ValueError) else (_flaw_of(details, model),)
        problems.extend(problems_from_flaws([flaw.below(*place) for flaw in flaws], marked))
    return problems


_NOTHING = object()


def _place_in(data: object, loc: tuple[int | str, ...], *, keep_last: bool) -> YamlPath:
    """Return pydantic's location as a path of the document: names of validators and of lists of one are left out."""
    place: list[str | int] = []
    here = data
    for index, part in enumerate(loc):
        is_missing_key = keep_last and isinstance(here, Mapping) and isinstance(part, str) and index == len(loc) - 1
        if isinstance(here, Mapping):
            inner = here.get(part, _NOTHING)
        else:
            inner = here[part] if isinstance(here, list) and isinstance(part, int) and part < len(here) else _NOTHING
        if inner is not _NOTHING:
            here = inner
        if inner is not _NOTHING or is_missing_key:
            place.append(part)
    return tuple(place)


def _flaw_of(details: ErrorDetails, model: type[BaseModel]) -> Flaw:
    """Return what one of pydantic's own errors says, in the project's words."""
    kind, got, context = details["type"], shown_value(details["input"]), details.get("ctx", {})
    if kind in ("missing", "extra_forbidden"):
        key, here = str(details["loc"][-1]), _model_at(model, details["loc"][:-1])
        return _missing_key(key, here) if kind == "missing" else _unknown_key(key, here)
    if kind == "model_type":
        return Flaw((), f"not {_EXPECTED[kind]}; got {got}", getattr(_model_at(model, details["loc"]), "scalar_hint", None))
    if kind == "literal_error":
        words = [word.strip("'") for word in str(context.get("expected", "")).replace(" or ", ", ").split(", ")]
        near = nearest_of(str(details["input"]), words)
        return Flaw((), f"not an allowed word; got {got}, expected {' or '.join(words)}{near}", None, "word")
    if kind in _BOUNDS:
        template, key = _BOUNDS[kind]
        fix = _example_at(model, details["loc"]) if kind == "too_short" else None
        return Flaw((), f"out of range; got {got}, expected {template.format(context.get(key))}", fix, "range")
    expected = _EXPECTED.get(kind)
    return Flaw((), f"not {expected}; got {got}" if expected else f"{details['msg'][:1].lower()}{details['msg'][1:]}; got {got}")


_EXPECTED = {
    "string_type": "text",
    "model_type": "a mapping of keys and values",
    "model_attributes_type": "a mapping of keys and values",
    "dict_type": "a mapping of keys and values",
    "tuple_type": "a list",
    "list_type": "a list",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a finite number",
}
_BOUNDS = {
    "greater_than": ("more than {:g}", "gt"),
    "greater_than_equal": ("{:g} or more", "ge"),
    "less_than": ("less than {:g}", "lt"),
    "less_than_equal": ("{:g} or less", "le"),
    "too_short": ("{} or more entries", "min_length"),
    "too_long": ("{} entries or fewer", "max_length"),
}


def _model_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> type[BaseModel] | None:
    """Return the model of the mapping at a location, by walking the fields' types."""
    here: type[BaseModel] | None = model
    for part in loc:
        if here is None:
            return None
        if isinstance(part, str):
            field = _field_of(here, part)
            inner = _model_in(field.annotation) if field is not None else None
            here = inner if inner is not None else here if field is None else None
    return here


def _example_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> str | None:
    """Return what may be written at a location: the field's own example, or that of its entries."""
    above = _model_at(model, loc[:-1])
    field = _field_of(above, str(loc[-1])) if above is not None and loc else None
    if field is not None and field.examples:
        return f"write for example {yaml.safe_dump(field.examples[0], default_flow_style=True, width=1000).strip()}"
    return getattr(_model_at(model, loc), "scalar_hint", None)


def _field_of(model: type[BaseModel], key: str) -> FieldInfo | None:
    """Return the field that a key of the file stands for."""
    return next((field for name, field in model.model_fields.items() if key == (field.alias or name)), None)


def _model_in(annotation: object) -> type[BaseModel] | None:
    """Return the first model inside a type such as `tuple[Task, ...] | None`."""
    if isinstance(annotation, type) and hasattr(annotation, "model_fields"):
        return annotation
    return next((found for part in get_args(annotation) if (found := _model_in(part)) is not None), None)


def _unknown_key(key: str, here: type[BaseModel] | None) -> Flaw:
    """Return the flaw of a key that a mapping may not have: with the nearest one, and what to write instead."""
    allowed = [field.alias or name for name, field in here.model_fields.items()] if here is not None else []
    hint = getattr(here, "key_hints", {}).get(key)
    near = "" if hint else nearest_of(key, allowed)
    return Flaw((), f'unknown key "{key}"{near}', hint or f"allowed here: {', '.join(allowed)}", "unknown_key")


def _missing_key(key: str, here: type[BaseModel] | None) -> Flaw:
    """Return the flaw of a key that a mapping must have, with what it is for."""
    field = _field_of(here, key) if here is not None else None
    described = field.description if field is not None else None
    return Flaw((), f'the key "{key}" is missing', f"add {key}: {described}" if described else None, "missing_key")
