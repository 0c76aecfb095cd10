"""The code of a card: four groups of four letters and digits that only this card has.

In: a card. Out: its code, and the card's document as plain data or as text. Refuses nothing.
"""

from __future__ import annotations

import json
import re
from hashlib import sha256
from typing import Any

from intervals.questions.card.card_models import Card

_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""The 32 signs of a code: without I, L, O and U, which are read for others or make words."""
_READ_AS = str.maketrans({"I": "1", "L": "1", "O": "0"})
_BITS, _BITS_PER_SIGN, _GROUP = 80, 5, 4
_SEPARATORS = re.compile(r"[\s\-\u2010-\u2015]+")


def code_of(card: Card) -> str:
    """Return the code that a card must have: the first 80 bits of SHA-256 over its document without `code`.

    The document is taken with its keys sorted, without blanks, as UTF-8, and figures as this program writes them, so that it is the same
    after another program has read and written it.

    Args:
        card: the card; the code that it has is not looked at.

    Returns:
        `XXXX-XXXX-XXXX-XXXX`, of digits and capital letters without I, L, O and U.
    """
    document = {key: value for key, value in card_document(card).items() if key != "code"}
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    number = int.from_bytes(sha256(text.encode("utf-8")).digest()[: _BITS // 8])
    signs = "".join(_ALPHABET[number >> shift & 31] for shift in range(_BITS - _BITS_PER_SIGN, -1, -_BITS_PER_SIGN))
    return "-".join(signs[at : at + _GROUP] for at in range(0, len(signs), _GROUP))


def is_genuine(card: Card) -> bool:
    """Return whether a card has the code of what it says: it is as it was made."""
    return card.code == code_of(card)


def read_code(typed: str) -> str | None:
    """Return a code as cards have it, from what a person typed; None where it is none.

    Small letters, blanks and missing hyphens do not matter, and I, L and O are read as the digits that they were taken for.

    Example:
        >>> read_code("7k3m 9qxt-o2hd l5wv"), read_code("7K3M")
        ('7K3M-9QXT-02HD-15WV', None)
    """
    signs = _SEPARATORS.sub("", typed).upper().translate(_READ_AS)
    if len(signs) != _BITS // _BITS_PER_SIGN or not set(signs) <= set(_ALPHABET):
        return None
    return "-".join(signs[at : at + _GROUP] for at in range(0, len(signs), _GROUP))


def card_document(card: Card) -> dict[str, Any]:
    """Return a card as plain data, `schema` first; its figures have six decimals at most, as they were put in.

    A key that the card was made without, by an earlier version, stays away, so that its code stays the same.
    """
    return card.model_dump(mode="json", by_alias=True, exclude_unset=True)


def card_text(card: Card) -> str:
    """Return a card as JSON text with two blanks of indent, the same bytes for the same card; the models write it themselves."""
    return card.model_dump_json(by_alias=True, exclude_unset=True, indent=2) + "\n"


def card_line(card: Card) -> str:
    """Return a card as JSON text without blanks, as its page carries it."""
    return card.model_dump_json(by_alias=True, exclude_unset=True)
