"""Where things stand on the pages of a month: names of places inside a page, names of files, and what links to them.

In: ids, which may hold any character. Out: names that no browser and no file system takes for another's.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from hashlib import sha256

from intervals.findings import Finding, OfRuleSet

ENGINES_FOLDER = "engines"
OVERVIEW = "index.html"
_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9_.-]{0,58}[A-Za-z0-9])?")
# no file may be called so on some systems, whatever follows the dot
_RESERVED = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?", re.IGNORECASE)
_MOST_LETTERS, _DIGITS = 40, 10


class Anchors:
    """Names of places in a page, from ids that may hold any character."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, ...], str] = {}
        self._taken: set[str] = set()

    def of(self, *ids: str) -> str:
        """Return the name of a place: the same ids give the same name, others another."""
        if ids not in self._known:
            plain = "-".join(re.sub(r"[^A-Za-z0-9]+", "-", part).strip("-") for part in ids)
            name, number = plain, 2
            while name in self._taken:
                name, number = f"{plain}-{number}", number + 1
            self._known[ids] = name
            self._taken.add(name)
        return self._known[ids]


class PagePlaces:
    """The places of one page, or of an overview and the pages of its engines.

    Args:
        name_of: says how a task is named.
        pages: for an overview: the address of each engine's page. What is of an engine that has one stands there.
        findings: every finding that has a place, in the order in which pages have them.
    """

    def __init__(
        self, name_of: Callable[[OfRuleSet], str], pages: Mapping[str, str] | None = None, findings: Iterable[Finding] = ()
    ) -> None:
        self.name_of = name_of
        self.pages = pages or {}
        self._anchors = Anchors()
        self._of_pages: dict[str, Anchors] = {}
        for finding in findings:
            self.anchor_of(finding)

    def anchor(self, *ids: str) -> str:
        """Return the name of a place of this page."""
        return self._anchors.of(*ids)

    def anchor_of(self, entry: OfRuleSet) -> str:
        """Return the name of the place at which a task is explained, on whichever page that is."""
        if entry.engine in self.pages:
            return self._of_pages.setdefault(entry.engine, Anchors()).of(entry.engine, self.name_of(entry))
        return self._anchors.of(entry.engine, self.name_of(entry))

    def link(self, entry: OfRuleSet) -> str:
        """Return the address of the place at which a task is explained."""
        page = self.pages.get(entry.engine)
        return f"{page or ''}#{self.anchor_of(entry)}"


def page_names(engines: Iterable[str]) -> dict[str, str]:
    """Return the name of the file of each engine's page: its id where that is a plain name, else what is left of it and a digest.

    Names differ in more than capital letters, are no longer than 60 characters, and an engine that comes or goes changes no other's
    name, unless the two differ in capital letters alone.

    Args:
        engines: ids, each once.

    Example:
        >>> page_names(["G1", "West/2"])
        {'G1': 'G1.html', 'West/2': 'West-2-70b0991166.html'}
    """
    ids = list(engines)
    alike = Counter(engine.casefold() for engine in ids)
    names: dict[str, str] = {}
    taken: set[str] = set()
    for engine in sorted(ids, key=lambda engine: not _is_plain(engine, alike)):
        name, digits = engine if _is_plain(engine, alike) else _digested(engine, _DIGITS), _DIGITS
        while name.casefold() in taken:
            digits += 1
            name = _digested(engine, digits)
        taken.add(name.casefold())
        names[engine] = f"{name}.html"
    return {engine: names[engine] for engine in ids}


def _digested(engine: str, digits: int) -> str:
    """Return what is left of an id in a name, and so many digits of its digest."""
    left = re.sub(r"[^A-Za-z0-9]+", "-", engine).strip("-")[:_MOST_LETTERS]
    return f"{left or 'engine'}-{sha256(engine.encode('utf-8', 'surrogatepass')).hexdigest()[:digits]}"


def _is_plain(engine: str, alike: Counter[str]) -> bool:
    """Tell whether an id may be the name of a file as it is."""
    return alike[engine.casefold()] == 1 and _PLAIN.fullmatch(engine) is not None and _RESERVED.fullmatch(engine) is None
