"""Words that differ by little: another spelling of a known one.

In: a word and known words. Out: the known one that is meant, or None. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable

from intervals.problems import nearest_word

_SAME_WORD = 0.85
"""From this likeness on, a word that no rule names is taken for another spelling of one that rules name."""


def near_word(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that differs from one by little and not by its figures, or None."""
    alike = {_bare(each): each for each in known if _figures(each) == _figures(word)}
    return alike.get(_bare(word)) or nearest_word(word, alike.values(), _SAME_WORD)


def is_same_letters(word: str, other: str) -> bool:
    """Return whether two words have the same letters and figures, whatever stands between them: `dusty-air` and `dusty_air`."""
    return _bare(word) == _bare(other)


def _figures(word: str) -> str:
    """Return the digits of a word: what ends in 1 is not what ends in 2."""
    return "".join(letter for letter in word if letter.isdecimal())


def _bare(word: str) -> str:
    """Return the letters and digits of a word, small."""
    return "".join(letter for letter in word.casefold() if letter.isalnum())
