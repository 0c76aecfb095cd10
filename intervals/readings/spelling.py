"""Names as people and programs spell them, so that two spellings of one name are found to be one.

In: a name as a file or a site has it. Out: what it is looked up by, and what it stands for. Refuses nothing.

A letter such as a u with dots is one code point where one program wrote it, and a u followed by the dots where another one did; nobody
sees which. Unicode calls the two canonically equivalent, and its Normalization Form C (Unicode Standard Annex 15) makes them one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from typing import Generic, TypeVar
from unicodedata import normalize

Named = TypeVar("Named", bound=Hashable)


def composed_name(name: str) -> str:
    r"""Return a name with every letter encoded in the one way of Unicode's Normalization Form C.

    Example:
        >>> composed_name("Su\u0308d") == "S\u00fcd"
        True
    """
    return normalize("NFC", name)


def folded_name(name: str) -> str:
    """Return a name without regard to the encoding of its letters, to case and to surrounding blanks.

    Example:
        >>> folded_name(" North ")
        'north'
    """
    return normalize("NFC", name.strip().casefold())


class Spellings(Generic[Named]):
    """What names stand for: found as they are spelled, else as their letters look, else without regard to case and surrounding blanks.

    Two things whose spellings differ by case alone are distinguished by it, and a third way of writing them is neither.

    Args:
        named: what each spelling stands for.

    Example:
        >>> engines = Spellings({"G1": 1, "g1": 2, "North": 3})
        >>> engines.find("g1"), engines.find(" g1"), engines.find("NORTH ")
        (2, None, 3)
    """

    def __init__(self, named: Mapping[str, Named]) -> None:
        self._exact = dict(named)
        self._composed = _clear_spellings(named, composed_name)
        self._folded = _clear_spellings(named, folded_name)

    def find(self, name: str) -> Named | None:
        """Return what a name stands for, or None."""
        found = self._exact.get(name)
        if found is None:
            found = self._composed.get(composed_name(name))
        return self._folded.get(folded_name(name)) if found is None else found


def _clear_spellings(named: Mapping[str, Named], key: Callable[[str], str]) -> dict[str, Named]:
    """Return what names stand for by what they are looked up by, without what stands for several things."""
    found: dict[str, set[Named]] = {}
    for spelling, thing in named.items():
        found.setdefault(key(spelling), set()).add(thing)
    return {spelling: next(iter(things)) for spelling, things in found.items() if len(things) == 1}
