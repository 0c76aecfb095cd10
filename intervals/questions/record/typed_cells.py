"""The cells of a sheet as people and spreadsheets write them: figures, answers, grades, yes and no in the languages of the cards.

In: the text of a cell. Out: the same as a document has it. Refuses (`CellError`) a figure that is none, or that can be read in two ways;
words that are no answer stay as they are.
"""

from __future__ import annotations

import re
from functools import lru_cache

from intervals.language.words import LANGUAGES
from intervals.questions.card.card_words import words_in

_ANSWERS = ("done", "yes", "no", "not_applicable", "left_out")
_GRADES = ("good", "worn", "at_limit", "failed")
_PLAIN = re.compile(r"([+-]?)\s?(\d+(?:[.,]\d+)?|[.,]\d+)", re.ASCII)
_GROUPED = re.compile(r"([+-]?)\s?([1-9][0-9]{0,2}(?:(?P<mark>[.,'\u2019\s])[0-9]{3})(?:(?P=mark)[0-9]{3})*)(?:(?P<point>[.,])([0-9]+))?")
_GROUP = 3


class CellError(Exception):
    """A cell that cannot be used.

    Attributes:
        text: what is wrong with it.
        fix: what to type.
    """

    def __init__(self, text: str, fix: str) -> None:
        super().__init__(text)
        self.text, self.fix = text, fix


class StoredFigure(str):
    """The text of a number as a workbook stores it: a point before its decimals, no mark between thousands, whatever was shown."""

    __slots__ = ()


def figure_cell(text: str) -> str:
    """Return a figure with a point before its decimals and nothing between its thousands.

    Args:
        text: such as `1250.4`, `1250,4`, `46.990,5`, `46,990.5`, `46'990.5` or `46 990,5`.

    Raises:
        CellError: it is no figure, or one mark stands before its last three digits, which may be thousands or decimals.
    """
    if isinstance(text, StoredFigure):
        return text
    plain = text.strip().replace("\u2212", "-")
    found = _GROUPED.fullmatch(plain)
    if found is not None and found["mark"] != found["point"]:
        sign, whole, mark, _, decimals = found.groups()
        if mark in ".," and decimals is None and whole.count(mark) == 1:
            raise _read_in_two_ways(text, sign + whole, mark)
        whole = whole.replace(mark, "") if mark in ".,'\u2019" else "".join(whole.split())
        return f"{sign}{whole}.{decimals}" if decimals else sign + whole
    if (found := _PLAIN.fullmatch(plain)) is None:
        message = f'not a number; got "{text}"'
        raise CellError(message, "write the number alone, without its unit, for example 1250.4 or 1250,4")
    return "".join(found.groups()).replace(",", ".")


def _read_in_two_ways(text: str, figure: str, mark: str) -> CellError:
    """Return the refusal of a figure whose last three digits may be thousands or decimals."""
    whole, decimals = figure.split(mark)
    decimals = decimals.rstrip("0") or "0"
    # a fourth decimal says that they are decimals
    decimals = f"{decimals}0" if len(decimals) == _GROUP else decimals
    message = f'can be read as {whole}{figure[-_GROUP:]} and as {whole}{mark}{decimals}; got "{text}"'
    return CellError(message, f"write {whole}{figure[-_GROUP:]} or {whole}{mark}{decimals}, whichever is meant")


def answer_cell(text: str) -> str:
    """Return an answer by its key, from its word in any language of the cards."""
    return _keys(_ANSWERS).get(_folded(text), _folded(text).replace(" ", "_"))


def grade_cell(text: str) -> str:
    """Return how a part was found by its key, from its word in any language of the cards."""
    return _keys(_GRADES).get(_folded(text), _folded(text).replace(" ", "_"))


def is_yes(text: str) -> bool | None:
    """Tell yes from no, in any language of the cards; None for any other text."""
    return {"yes": True, "x": True, "no": False}.get(answer_cell(text))


def _folded(text: str) -> str:
    """Return a word as it is compared."""
    return " ".join(text.replace("_", " ").split()).casefold()


@lru_cache(maxsize=2)
def _keys(names: tuple[str, ...]) -> dict[str, str]:
    """Return the key of each word, in every language of the cards, the keys themselves among them."""
    keys = {_folded(words_in(language)[name]): name for name in names for language in LANGUAGES}
    return keys | {_folded(name): name for name in names} | ({"true": "yes", "false": "no", "si": "yes"} if "yes" in names else {})


__all__ = ["CellError", "StoredFigure", "answer_cell", "figure_cell", "grade_cell", "is_yes"]
