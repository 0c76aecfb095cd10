"""Documents for other programs: the base of their models, a model's plain data, and JSON text that is the same bytes for the same input.

In: what a model dumps. Out: plain data with figures of six decimals, JSON text with two blanks of indent and keys in the order given. A
figure that is a number with a unit stays a float (`2000.0`). Refuses (`ValueError`) a figure that is not finite.
"""

from __future__ import annotations

import re
from typing import Any

from pydantic import BaseModel, ConfigDict
from pydantic_core import to_json

_DECIMALS = 6
_AS_IS = frozenset({str, int, bool, type(None)})
# text ends with a quotation mark, so that a bare word at a line's end is a figure
_NOT_FINITE = re.compile(r"(NaN|Infinity),?$", re.MULTILINE)


class Frozen(BaseModel):
    """Base of every output model: frozen, nothing extra.

    A field has no default unless the document is to do without it: what was not stated is not printed.
    """

    # built when first used: a check needs no explanation
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)


def plain_data(value: Any) -> Any:  # noqa: ANN401 - walks whatever a model dumps
    """Return plain data with lists for tuples and figures rounded to six decimals.

    Args:
        value: what a model dumps: mappings, lists, tuples, text, numbers.
    """
    if isinstance(value, dict):
        return {
            key: item if (kind := type(item)) in _AS_IS else _rounded(item) if kind is float else plain_data(item)
            for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return [item if (kind := type(item)) in _AS_IS else _rounded(item) if kind is float else plain_data(item) for item in value]
    return _rounded(value) if isinstance(value, float) else value


def json_text(document: dict[str, Any]) -> str:
    """Return a document as text, ended by a line feed.

    Args:
        document: plain data.

    Returns:
        JSON as UTF-8 holds it, keys in the order given.

    Raises:
        ValueError: a figure is not finite.
    """
    text = to_json(document, indent=2, inf_nan_mode="constants").decode() + "\n"
    if ("NaN" in text or "Infinity" in text) and _NOT_FINITE.search(text):
        message = "a figure that is not finite is not JSON compliant"
        raise ValueError(message)
    return text


def _rounded(value: float) -> float:
    """Return a figure as it is printed; adding zero turns -0.0 into 0.0."""
    return round(value, _DECIMALS) + 0.0
