"""Plain YAML scalars: what an unquoted word stands for by YAML 1.2, and numbers that remember how they were written.

In: the text of a scalar. Out: None, a truth value, a number or the text, and for messages its text again. Refuses nothing: what
is no number is text.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

Scalar = str | int | float | bool | None

_NULLS = frozenset({"", "~", "null", "Null", "NULL"})
_BOOLS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}
_INT = re.compile(r"[-+]?[0-9]{1,300}")
_BASED_INT = re.compile(r"0o[0-7]{1,100}|0x[0-9a-fA-F]{1,100}")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NUMBERS_BEGIN = frozenset("+-.0123456789")
_SPECIAL = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")


class WrittenInt(int):
    """A whole number that remembers the text it was written as."""

    text: str

    def __new__(cls, value: int, text: str) -> WrittenInt:
        """Make the number and keep its text."""
        made = super().__new__(cls, value)
        made.text = text
        return made

    def __reduce__(self) -> tuple[type[WrittenInt], tuple[int, str]]:
        """Copy and pickle with the text."""
        return WrittenInt, (int(self), self.text)


class WrittenFloat(float):
    """A decimal number that remembers the text it was written as."""

    text: str

    def __new__(cls, value: float, text: str) -> WrittenFloat:
        """Make the number and keep its text."""
        made = super().__new__(cls, value)
        made.text = text
        return made

    def __reduce__(self) -> tuple[type[WrittenFloat], tuple[float, str]]:
        """Copy and pickle with the text."""
        return WrittenFloat, (float(self), self.text)


def resolve_scalar(text: str) -> Scalar:
    """Return what an unquoted scalar stands for by YAML 1.2: null, a truth value, a number, or its text.

    Example:
        >>> [resolve_scalar(text) for text in ("true", "yes", "010", "12:30", "2026-01-31")]
        [True, 'yes', 10, '12:30', '2026-01-31']
        >>> resolve_scalar("2026.10").text
        '2026.10'
    """
    if text in _NULLS:
        return None
    if text in _BOOLS:
        return _BOOLS[text]
    return _number_or_text(text) if text[0] in _NUMBERS_BEGIN else text


def _number_or_text(text: str) -> int | float | str:
    """Return the number that a text is, or the text."""
    if _INT.fullmatch(text) or _BASED_INT.fullmatch(text):
        return WrittenInt(int(text, 0) if _BASED_INT.fullmatch(text) else int(text), text)
    if _SPECIAL.fullmatch(text):
        return WrittenFloat(float(text.replace(".", "")), text)
    if _FLOAT.fullmatch(text) and math.isfinite(float(text)):
        return WrittenFloat(float(text), text)
    return text


_LONGEST_SHOWN = 60


def shown_value(value: object) -> str:
    """Return a value as it stands in the file, short enough for one line."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        line = " ".join(value.split())
        return f'"{line[: _LONGEST_SHOWN - 3]}..."' if len(line) > _LONGEST_SHOWN else f'"{line}"'
    if isinstance(value, Mapping):
        return f"a mapping ({', '.join(map(str, list(value)[:3]))})" if value else "an empty mapping"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}" if value else "an empty list"
    return str(getattr(value, "text", value))
