"""Names as people and programs spell them, so that two spellings of one name are found to be one.

In: a name as a file or a site has it. Out: what it is looked up by. Refuses nothing.

A letter such as a u with dots is one code point where one program wrote it, and a u followed by the dots where another one did; nobody
sees which. Unicode calls the two canonically equivalent, and its Normalization Form C (Unicode Standard Annex 15) makes them one.
"""

from __future__ import annotations

from unicodedata import normalize


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
