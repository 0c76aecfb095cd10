"""The lines of a calendar file (RFC 5545): text escaped, long lines folded. A fleet's calendar has tens of thousands of them.

In: property names and values. Out: lines as text, each ended by CR LF. They are those that `icalendar` writes of the same values, which a
test holds, in a small part of its time.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime

_OCTETS = 74
_FOLD = "\r\n "
_ESCAPED = str.maketrans({"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"})
_NOT_LAST = "\\^"


def content_lines(properties: Iterable[tuple[str, str]]) -> str:
    """Return properties as lines.

    Args:
        properties: name, with its parameters, and value, as it is to be written.

    Example:
        >>> content_lines([("BEGIN", "VEVENT"), ("SUMMARY", escaped_text("Due: G1, oil"))]).splitlines()[0]
        'BEGIN:VEVENT'
    """
    return "".join(f"{_folded(f'{name}:{value}')}\r\n" for name, value in properties)


def escaped_text(text: str) -> str:
    """Return a text as the value of a property."""
    return text.replace("\r\n", "\n").translate(_ESCAPED)


def day_value(day: date) -> str:
    """Return a day as the value of a property whose parameter is VALUE=DATE."""
    return f"{day:%Y%m%d}"


def moment_value(at: datetime) -> str:
    """Return a moment as a value in UTC."""
    return f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def _folded(line: str) -> str:
    """Return a line of at most 75 octets, or several: no letter and no escape is cut."""
    is_plain = line.isascii()
    if is_plain and len(line) <= _OCTETS:
        return line
    pieces, at = [], 0
    while at < len(line):
        end = at + (_OCTETS if is_plain else _fitting(line[at : at + _OCTETS]))
        if at + 1 < end < len(line) and line[end - 1] in _NOT_LAST:
            end -= 1
        pieces.append(line[at:end])
        at = end
    return _FOLD.join(pieces)


def _fitting(text: str) -> int:
    """Return how many letters of a text fit into a line."""
    octets = 0
    for count, letter in enumerate(text):
        octets += len(letter.encode())
        if octets > _OCTETS:
            return count
    return len(text)
