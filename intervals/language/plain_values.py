"""Plain YAML scalars to values: text, numbers, percentages, days and times, each with a refusal that helps.

In: one scalar of a file. Out: a value. Refuses by `FlawsError` what is of the wrong kind, and says what to write instead.
"""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo, available_timezones

from intervals.language.flaws import flaw_error
from intervals.language.months import YEARS
from intervals.language.scalars import shown_value
from intervals.problems import nearest_of
from intervals.quantities import LARGEST_FIGURE

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_TIME = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})?", re.ASCII)
_LONGEST_TEXT, _LONGEST_LINE, _LONGEST_ID = 2000, 200, 80


def text_of(value: object) -> object:
    """Return text as it was written: a version 2026.10 keeps its zero."""
    if isinstance(value, bool):
        raise flaw_error(text=f"not text; got {shown_value(value)}", fix="put it in quotes")
    if isinstance(value, (int, float)):
        return str(getattr(value, "text", value))
    return value.strip() if isinstance(value, str) else value


def number_of(value: object) -> float:
    """Return a plain number; a truth value or a text is none."""
    if isinstance(value, (int, float, Decimal)) and not isinstance(value, bool):
        if math.isfinite(value):
            if abs(float(value)) > LARGEST_FIGURE:
                raise flaw_error(text=f"out of range; got {shown_value(value)}, and no figure here is beyond {LARGEST_FIGURE:,.0f}")
            return float(value)
        raise flaw_error(text=f"not a finite number; got {shown_value(value)}")
    fix = _number_fix(value) if isinstance(value, str) else None
    raise flaw_error(text=f"not a number; got {shown_value(value)}", fix=fix)


def _number_fix(text: str) -> str:
    """Return what to write instead of a number of another custom: 1,25 is 1.25, 1.500,5 is 1500.5, and 1,500 may be either."""
    bare = re.sub(r"(?<=\d)[ _'\u2019\u00a0\u202f](?=\d{3}(?!\d))", "", text.strip())
    without = "without quotes, unit or thousands separator"
    if re.fullmatch(r"[-+]?\d+(\.\d+)?", bare):
        return f"write {bare}, {without}"
    if re.fullmatch(r"[-+]?\d{1,3},\d{3}", bare):
        return f"write {bare.replace(',', '')} if the comma separates thousands, {bare.replace(',', '.')} if it marks decimals"
    if re.fullmatch(r"[-+]?\d+,\d+", bare) or re.fullmatch(r"[-+]?\d{1,3}(\.\d{3})+,\d+", bare):
        return f"write {bare.replace('.', '').replace(',', '.')}, with a point before the decimals, {without}"
    if re.fullmatch(r"[-+]?\d{1,3}(,\d{3})+(\.\d+)?", bare):
        return f"write {bare.replace(',', '')}, {without}"
    return "write a bare number, without its unit"


def whole_of(value: object) -> int:
    """Return a whole number."""
    number = number_of(value)
    if number != int(number):
        raise flaw_error(text=f"not a whole number; got {shown_value(value)}")
    return int(number)


def percent_of(value: object) -> Decimal:
    """Return a percentage as an exact decimal: 0.1 is a tenth."""
    number_of(value)
    return Decimal(str(getattr(value, "text", value)))


def day_of(value: object) -> date:
    """Return a local date."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    return _parsed_day(value, "expected for example 2024-01-15")


def _parsed_day(value: object, expected: str) -> date:
    """Parse a date that exists and lies in the years of engines."""
    if isinstance(value, str) and _DAY.fullmatch(value.strip()):
        try:
            day = date.fromisoformat(value.strip())
        except ValueError:
            raise flaw_error(text=f"a date that does not exist; got {shown_value(value)}", kind="date") from None
        if day.year in YEARS:
            return day
    raise flaw_error(text=f"not a date; got {shown_value(value)}, {expected}", fix=_date_fix(value), kind="date")


def moment_of(value: object) -> date | datetime:
    """Return a date, which is its first local midnight, or a time, local where it has no offset."""
    if isinstance(value, date):
        return value
    expected = 'expected for example 2024-01-15 or "2024-01-15T08:00"'
    if isinstance(value, str) and _TIME.fullmatch(value.strip()):
        try:
            moment = datetime.fromisoformat(value.strip())
        except ValueError:
            raise flaw_error(text=f"a time that does not exist; got {shown_value(value)}", kind="date") from None
        if moment.year in YEARS:
            return moment
    return _parsed_day(value, expected)


def _date_fix(value: object) -> str:
    """Return what to write instead of a date of another custom."""
    if isinstance(value, str) and (found := re.fullmatch(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", value.strip())):
        return f"write {found[1]}-{int(found[2]):02d}-{int(found[3]):02d}"
    if isinstance(value, str) and (found := re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", value.strip())):
        return f"write {found[3]}-{int(found[2]):02d}-{int(found[1]):02d}"
    return "write year, month, day: YYYY-MM-DD"


def _check_length(value: str, longest: int) -> None:
    """Refuse an empty text, and one that is longer than anyone reads."""
    if not value:
        raise flaw_error(text='an empty text; got ""', fix="leave the key out, or write something")
    if len(value) > longest:
        raise flaw_error(text=f"a text of at most {longest:,} characters is needed; got {len(value):,}", kind="range")


def checked_text(value: str) -> str:
    """Refuse an empty text and an endless one."""
    _check_length(value, _LONGEST_TEXT)
    return value


def checked_id(value: str) -> str:
    """Refuse an id that cannot be typed into a service record."""
    _check_length(value, _LONGEST_ID)
    if any(character.isspace() or not character.isprintable() for character in value):
        raise flaw_error(text=f"an id without spaces is needed; got {shown_value(value)}", fix=f"write {'-'.join(value.split())}")
    return value


def checked_line(value: str) -> str:
    """Refuse a name that does not fit on one line."""
    _check_length(value, _LONGEST_LINE)
    if not value.isprintable():
        raise flaw_error(text=f"one line of text is needed; got {shown_value(value)}")
    return value


def checked_zone(value: str) -> str:
    """Refuse a time zone that is not in the IANA list."""
    try:
        ZoneInfo(value)
    except (OSError, ValueError, KeyError):
        near = nearest_of(value, available_timezones())
        raise flaw_error(
            text=f"not an IANA time zone; got {shown_value(value)}{near}", fix="write for example Europe/Amsterdam or UTC", kind="time_zone"
        ) from None
    return value
