"""What a source says, taken apart: document, edition, place, and how sure a value is.

In: the text of a `source`, as rule sets write it: parts divided by semicolons, each naming a document with its place, or "common
practice", "chosen here", "from memory", "worked", "the user's own". Out: `Citation` values. Refuses nothing: what is not understood
is kept as it is written, and says so.
"""

from __future__ import annotations

import re
from typing import NamedTuple

READ, TOLD, MEMORY, WORKED, PRACTICE, OWN = "read", "told", "from memory", "worked", "common practice", "the user's own"
CHOSEN = "chosen here"
"""The rule set's own choice, which no text gives: a lead, a factor, a bound."""
NOT_SAID = "not said"
"""A part that names neither a document nor how it is known."""

_DOCUMENT = re.compile(
    r"\b(?:"
    r"\d+ CFR (?:\d+ subpart [A-Z]+|[\d.]*\d(?:-\d+)?(?:\(\w+\))*)"
    r"|\d+ FR \d+"
    r"|MARPOL Annex [IVX]+"
    r"|SOLAS chapter [IVX]+-\d+"
    r"|Directive \(EU\) \d+/\d+"
    r"|US NRC Regulatory Guide \d+\.\d+"
    r"|hospital accreditation practice"
    r"|(?:[A-Z]{2,6}|DA Pam|SMRP metric) (?:[A-Z]{1,4}-?)?\d[\w.&-]*\w(?: / [A-Z]{2,8} [A-Z\d][\w.&-]*\w)?"
    r")(?!\w)"
)
_EDITION = re.compile(r",? ?(?:(\d{4}) edition|edition (unknown))")
_KNOWN_BY = re.compile(r",? ?\((read|told)\)")
_WORDS = (
    (MEMORY, r"memory"),
    (CHOSEN, r"chosen here"),
    (PRACTICE, r"common practice"),
    (WORKED, r"worked"),
    (OWN, r"(?:user|plant|site|hospital)'s own|own experience"),
)
_GIVES_WAY = re.compile(r"\bcome first\b")
_NO_DOCUMENT = re.compile(r"\bno [a-z' ]*(?:text|manual|value)\b[^;]*")
_POINTS_ON = re.compile(r",? as each rule says")
_PARTS = re.compile(r";\s*(?![^()]*\))")
_NEXT_DOCUMENT = re.compile(r"(?<=\((?:read|told)\)),?\s+")


class Citation(NamedTuple):
    """One part of a source.

    Attributes:
        about: what of the rule it is the source of, such as `six months`; empty where it is of all.
        document: the document, or an empty string where there is none.
        edition: its edition, such as `2015`, or an empty string.
        place: where in the document, such as `table 2d row 4`, or an empty string.
        known_by: `read`, `told`, `from memory`, `worked`, `common practice`, `chosen here`, `the user's own`, or `not said`.
    """

    about: str
    document: str
    edition: str
    place: str
    known_by: str


def citations_of(source: str) -> list[Citation]:
    """Return the parts of a source.

    Args:
        source: the text as a rule set writes it; a part that only says what comes first is no source.

    Example:
        >>> citations_of("six months TM 9-6115-464-12 2-13 (read); 300 h common practice")[0]
        Citation(about='six months', document='TM 9-6115-464-12', edition='', place='2-13', known_by='read')
        >>> citations_of("500 h, 40 CFR 63 subpart ZZZZ table 2d row 1, 2015 edition (read)")[0].edition
        '2015'
    """
    parts = [piece.strip(" ,") for part in _PARTS.split(" ".join(source.split())) for piece in _NEXT_DOCUMENT.split(part)]
    return [_citation(part) for part in parts if part and not _GIVES_WAY.search(part)]


def _citation(part: str) -> Citation:
    """Return one part, taken apart."""
    found = _DOCUMENT.search(part)
    known_by = _known_by(part)
    if found is None:
        return Citation(_KNOWN_BY.sub("", part), "", "", "", known_by)
    rest = part[found.end() :]
    edition = _EDITION.search(rest)
    stated = "" if edition is None else edition.group(1) or edition.group(2)
    place = _POINTS_ON.sub("", _KNOWN_BY.sub("", _EDITION.sub("", rest)))
    if known_by == MEMORY:
        place = re.sub(r",? ?(?:formula )?from memory[^;]*", "", place)
    return Citation(part[: found.start()].strip(" ,"), found.group(), stated, place.strip(" ,."), known_by)


def _known_by(part: str) -> str:
    """Return how what a part says is known."""
    stated = _KNOWN_BY.search(part)
    if stated is not None:
        return stated.group(1)
    said = _NO_DOCUMENT.sub("", part)
    by_word = next((known_by for known_by, word in _WORDS if re.search(rf"\b(?:{word})\b", said)), None)
    if by_word is None and said != part:
        return PRACTICE
    return by_word or NOT_SAID
