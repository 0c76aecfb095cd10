"""The cells of a sheet as people and spreadsheets write them: times, figures, yes and no in the languages of the cards.

In: the text of a cell. Out: the same as a document has it. Refuses nothing: what cannot be read stays as it is.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import lru_cache

from intervals.language.words import LANGUAGES
from intervals.questions.card.card_words import words_in

_EXCEL_DAY_0 = datetime(1899, 12, 30)  # noqa: DTZ001 - a spreadsheet counts days of the site's own clock
_SERIALS = (20_000.0, 80_000.0)
"""Days of a spreadsheet that a job can lie on: 1954 to 2119."""
_CLOCK = r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?"
_TIME = re.compile(_CLOCK)
_DAY_AND_TIME = re.compile(rf"(\d{{1,2}})([./])(\d{{1,2}})\2(\d{{4}}|\d{{2}}),?[ T]+{_CLOCK}")
_NUMBER = re.compile(r"\d+([.,]\d+)?")
_ANSWERS = ("done", "yes", "no", "not_applicable", "left_out")
_GRADES = ("good", "worn", "at_limit", "failed")
_LAST_MONTH = 12


def figure_cell(text: str) -> str:
    """Return a figure with a point before its decimals and without blanks."""
    return "".join(text.split()).replace(",", ".")


def answer_cell(text: str) -> str:
    """Return an answer by its key, from its word in any language of the cards."""
    return _keys(_ANSWERS).get(_folded(text), _folded(text).replace(" ", "_"))


def grade_cell(text: str) -> str:
    """Return how a part was found by its key, from its word in any language of the cards."""
    return _keys(_GRADES).get(_folded(text), _folded(text).replace(" ", "_"))


def is_yes(text: str) -> bool | None:
    """Tell yes from no, in any language of the cards; None for any other text."""
    return {"yes": True, "x": True, "no": False}.get(answer_cell(text))


def time_cell(text: str, day: str, is_month_first: Callable[[], bool | None]) -> str:
    """Return a time as ISO 8601.

    Args:
        text: ISO 8601, a day with its time such as `02.11.2026 07:14`, a time of day, or the number of a spreadsheet.
        day: the ISO day of a time of day alone.
        is_month_first: tells how the site writes days with slashes; None where it writes none. Asked only of a day that could be two.

    Returns:
        The time; the text as it is where it is none, or could be two.
    """
    plain = " ".join(text.split())
    if found := _TIME.fullmatch(plain):
        hour, minute, second = found.groups()
        return f"{day}T{int(hour):02}:{minute}" + (f":{second}" if second else "")
    if _NUMBER.fullmatch(plain):
        return _of_serial(float(plain.replace(",", ".")), day) or text
    found = _DAY_AND_TIME.fullmatch(plain)
    if found is None:
        return text
    first, mark, other, year, hour, minute, second = found.groups()
    day_number, month = int(first), int(other)
    if mark == "/" and _is_month(day_number) and day_number != month:
        is_other_way = True if month > _LAST_MONTH else is_month_first()
        if is_other_way is None:
            return text
        day_number, month = (month, day_number) if is_other_way else (day_number, month)
    whole_year = int(year) if len(year) > len("26") else 2000 + int(year)
    return f"{whole_year:04}-{month:02}-{day_number:02}T{int(hour):02}:{minute}" + (f":{second}" if second else "")


def _is_month(number: int) -> bool:
    """Tell whether a number can be a month."""
    return 1 <= number <= _LAST_MONTH


def _of_serial(serial: float, day: str) -> str | None:
    """Return the time of a spreadsheet's number, to the second: days since its day 0, or a part of a day alone; None of any other."""
    if 0 <= serial < 1:
        at = datetime.fromisoformat(day) + timedelta(days=serial)
    elif _SERIALS[0] <= serial <= _SERIALS[1]:
        at = _EXCEL_DAY_0 + timedelta(days=serial)
    else:
        return None
    return (at + timedelta(milliseconds=500)).replace(microsecond=0).isoformat()


def _folded(text: str) -> str:
    """Return a word as it is compared."""
    return " ".join(text.replace("_", " ").split()).casefold()


@lru_cache(maxsize=2)
def _keys(names: tuple[str, ...]) -> dict[str, str]:
    """Return the key of each word, in every language of the cards, the keys themselves among them."""
    keys = {_folded(words_in(language)[name]): name for name in names for language in LANGUAGES}
    return keys | {_folded(name): name for name in names} | ({"true": "yes", "false": "no", "si": "yes"} if "yes" in names else {})


__all__ = ["answer_cell", "figure_cell", "grade_cell", "is_yes", "time_cell"]
