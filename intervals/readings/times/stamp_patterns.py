"""The ways in which a log writes a time, as patterns with named groups.

In: a stamp's text, or the `format` of a site file. Out: a match whose groups are Y y m d b H M S f p z, or first and second
where the order of day and month must come from elsewhere. Refuses a format with a directive that is not understood.
"""

from __future__ import annotations

import re

Pattern = re.Pattern[str]

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            ("jan", "january"), ("feb", "february"), ("mar", "march"), ("apr", "april"), ("may",), ("jun", "june"), ("jul", "july"),
            ("aug", "august"), ("sep", "sept", "september"), ("oct", "october"), ("nov", "november"), ("dec", "december"),
        ),
        start=1,
    )
    for name in names
}  # fmt: skip
"""English month names, small letters, to their number."""

_CLOCK = r"(?P<H>\d{1,2})[:.](?P<M>\d{2})(?:[:.](?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?(?: ?(?P<p>[AaPp])\.?[Mm]\.?)?"
_OFFSET = r"(?: ?(?P<z>Z|z|UTC|GMT|[+-]\d{2}(?::?\d{2})?))?"
_TIME = rf"(?:(?:T|t|,? +){_CLOCK}{_OFFSET})?"
_YEAR = r"(?:(?P<Y>\d{4})|(?P<y>\d{2}))"

UNSTATED: tuple[Pattern, ...] = (
    # 2026-01-31 08:00, 2026-01-31T08:00:00.5+01:00, 2026/1/31
    re.compile(rf"(?P<Y>\d{{4}})[-/.](?P<m>\d{{1,2}})[-/.](?P<d>\d{{1,2}}){_TIME}", re.ASCII),
    # 2026-01-31T08 and 2026-01-31 08: the hour alone, as ISO 8601 allows
    re.compile(rf"(?P<Y>\d{{4}})-(?P<m>\d{{2}})-(?P<d>\d{{2}})[T ](?P<H>\d{{2}}){_OFFSET}", re.ASCII),
    # 20260131T0800, 20260131080000
    re.compile(
        rf"(?P<Y>\d{{4}})(?P<m>\d{{2}})(?P<d>\d{{2}})(?:[T ]?(?P<H>\d{{2}}):?(?P<M>\d{{2}})(?::?(?P<S>\d{{2}}))?{_OFFSET})?", re.ASCII
    ),
    # 31.1.2026 8:00: with points the day comes first
    re.compile(rf"(?P<d>\d{{1,2}})\.(?P<m>\d{{1,2}})\.{_YEAR}{_TIME}", re.ASCII),
    # 31 Jan 2026 08:00, 31-Jan-26
    re.compile(rf"(?P<d>\d{{1,2}})[ ./-]? ?(?P<b>[A-Za-z]{{3,9}})\.?[ ,/-] ?{_YEAR}{_TIME}", re.ASCII),
    # Jan 31, 2026 08:00
    re.compile(rf"(?P<b>[A-Za-z]{{3,9}})\.? (?P<d>\d{{1,2}}),? (?P<Y>\d{{4}}){_TIME}", re.ASCII),
    # 31/01/2026 or 01/31/2026, 31-01-2026; a short year only after slashes, as 26-01-31 may begin with the year
    re.compile(rf"(?P<first>\d{{1,2}})/(?P<second>\d{{1,2}})/{_YEAR}{_TIME}", re.ASCII),
    re.compile(rf"(?P<first>\d{{1,2}})-(?P<second>\d{{1,2}})-(?P<Y>\d{{4}}){_TIME}", re.ASCII),
)
"""What is understood when the site file gives no format, tried in this order."""

CLEAR: tuple[Pattern, ...] = tuple(pattern for pattern in UNSTATED if "first" not in pattern.groupindex)
"""Those of them that leave no doubt which is the day and which the month."""
_DATE_PART = re.compile(r"%[dmbBYy](?:[^%]*%[dmbBYy])*")

_DIRECTIVES = {
    "d": r"(?P<d>\d{1,2})",
    "m": r"(?P<m>\d{1,2})",
    "b": r"(?P<b>[A-Za-z]{3,9})\.?",
    "B": r"(?P<b>[A-Za-z]{3,9})",
    "Y": r"(?P<Y>\d{4})",
    "y": r"(?P<y>\d{2})",
    "H": r"(?P<H>\d{1,2})",
    "I": r"(?P<H>\d{1,2})",
    "M": r"(?P<M>\d{1,2})",
    "S": r"(?P<S>\d{1,2})",
    "f": r"(?P<f>\d{1,9})",
    "p": r"(?P<p>[AaPp])\.?[Mm]\.?",
    "z": r"(?P<z>Z|z|[+-]\d{2}(?::?\d{2})?)",
    "%": "%",
}


def pattern_of(format_text: str) -> Pattern:
    """Return the pattern of a stated time format.

    Args:
        format_text: a format in the words of `strptime`: %d %m %Y %y %b %B %H %I %M %S %f %p %z %%, and plain text.

    Returns:
        The pattern; it matches a whole stamp.

    Raises:
        ValueError: a directive that is not understood or stands twice, or no day, month and year; the text says which.

    Example:
        >>> pattern_of("%d/%m/%Y %H:%M").fullmatch("31/01/2026 08:00")["m"]
        '01'
    """
    parts: list[str] = []
    for directive, plain in re.findall(r"%(.?)|([^%]+)", format_text):
        if plain:
            parts.append(re.sub(r"(?:\\ )+", " +", re.escape(plain)))
        elif directive in _DIRECTIVES:
            parts.append(_DIRECTIVES[directive])
        else:
            message = f'"%{directive}" is not understood; expected {" ".join("%" + known for known in _DIRECTIVES)}'
            raise ValueError(message)
    try:
        pattern = re.compile("".join(parts), re.ASCII)
    except re.error as error:
        message = f'"{format_text}" names a part of the time twice'
        raise ValueError(message) from error
    groups = set(pattern.groupindex)
    if not ({"Y", "y"} & groups and {"m", "b"} & groups and "d" in groups):
        message = f'"{format_text}" does not give day, month and year'
        raise ValueError(message)
    return pattern


def dated_pattern_of(format_text: str) -> Pattern | None:
    """Return the pattern of a stated format's date with any time of day, or none, behind it; None where its date is not in one piece.

    Args:
        format_text: a format that `pattern_of` takes.

    Example:
        >>> bool(dated_pattern_of("%d/%m/%Y %H:%M").fullmatch("31/01/2026"))
        True
    """
    found = _DATE_PART.search(format_text)
    try:
        return re.compile(pattern_of(found[0]).pattern + _TIME, re.ASCII) if found else None
    except ValueError:
        return None


def match_stamp(text: str, patterns: tuple[Pattern, ...]) -> re.Match[str] | None:
    """Return the match of the first pattern that fits the whole stamp and names a month that exists, or None."""
    for pattern in patterns:
        match = pattern.fullmatch(text)
        if match and (match.groupdict().get("b") or "jan").lower() in MONTHS:
            return match
    return None
