"""What is wrong with a value that was handed in, in plain words and not in those of the library that found it.

In: an error of pydantic. Out: a sentence, and what to do. Refuses nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from intervals.language.scalars import shown_value

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

_LIMITS = {"less_than_equal": ("le", "more than"), "greater_than_equal": ("ge", "less than")}
_NOT = {
    "float_parsing": "a number",
    "float_type": "a number",
    "finite_number": "a number",
    "string_type": "text",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list",
    "dict_type": "names with their values",
    "model_type": "names with their values",
    "model_attributes_type": "names with their values",
}


def unfit_text(details: ErrorDetails) -> str:
    """Return what is wrong with a value.

    Args:
        details: one of pydantic's errors.
    """
    kind, context, got = details["type"], details.get("ctx", {}), shown_value(details["input"])
    raised = context.get("error")
    if isinstance(raised, ValueError):
        return str(raised)
    if kind in _LIMITS:
        key, word = _LIMITS[kind]
        return f"{word} {float(context[key]):,.0f} cannot be; got {got}"
    said = {
        "literal_error": f"not {context.get('expected')}; got {got}",
        "string_too_long": f"longer than {context.get('max_length')} characters; got {got}",
        "json_invalid": f"no text of JSON, as a card saves it ({context.get('error')})",
        "missing": "it is missing",
    }
    return said.get(kind) or (f"not {_NOT[kind]}; got {got}" if kind in _NOT else f"it cannot be used; got {got}")
