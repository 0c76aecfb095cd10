"""The cards that a site keeps, `cards/CODE.json`: found by their code, and by nothing else that a request says.

In: a code. Out: the card, if it is there and as it was made. A file is only opened under a name that was made here from a code, so no
request can lead to another file.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from pydantic import ValidationError

from intervals.problems import ProblemsError
from intervals.questions.card.card_code import is_genuine, read_code
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import CARDS_FOLDER, card_file
from intervals.questions.record.recorded_cards import standing_refs
from intervals.readings import read_records
from intervals.site.model import load_site

MOST_LISTED = 200
"""So many cards are listed, the latest first."""
_MOST_BYTES = 4_000_000


class ListedCard(NamedTuple):
    """A card, and whether it was handed in."""

    card: Card
    is_handed_in: bool


class CardShelf:
    """The cards of a site.

    Args:
        folder: the site's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._seen: dict[str, tuple[int, int, Card | None]] = {}
        self._recorded: tuple[tuple[int, int], frozenset[str]] | None = None

    def card(self, code: str) -> Card | None:
        """Return the card of a code; None where there is none, or where it was altered since it was made.

        Args:
            code: as it was typed or asked for.
        """
        known = read_code(code)
        return None if known is None else self._read(card_file(self._folder, known), known)

    def is_handed_in(self, code: str) -> bool:
        """Return whether a record of a card stands: what was taken back, or never written, was not handed in."""
        known = read_code(code)
        return known is not None and known in self._standing()

    def listed(self) -> list[ListedCard]:
        """Return the cards, those that were made last first."""
        paths = [path for path in (self._folder / CARDS_FOLDER).glob("*.json") if read_code(path.stem) == path.stem and path.is_file()]
        latest = sorted(paths, key=lambda path: (path.stat().st_mtime_ns, path.name), reverse=True)[:MOST_LISTED]
        cards = [card for path in latest if (card := self._read(path, path.stem)) is not None]
        standing = self._standing()
        return [ListedCard(card, card.code in standing) for card in cards]

    def _standing(self) -> frozenset[str]:
        """Return the references of the records that stand, read once as long as their file stays as it is; none where it cannot be read."""
        try:
            site = load_site(self._folder)
            state = (site.folder / site.services.file).stat()
            key = (state.st_mtime_ns, state.st_size)
            if self._recorded is None or self._recorded[0] != key:
                self._recorded = (key, standing_refs(read_records(site, now_us=None).records))
        except (OSError, ProblemsError):
            return frozenset()
        return self._recorded[1]

    def _read(self, path: Path, code: str) -> Card | None:
        """Return the card of a file, read once as long as the file stays as it is."""
        try:
            state = path.stat()
            seen = self._seen.get(code)
            if seen is None or seen[:2] != (state.st_mtime_ns, state.st_size):
                card = _card_of(path.read_bytes(), code) if state.st_size <= _MOST_BYTES else None
                seen = self._seen[code] = (state.st_mtime_ns, state.st_size, card)
        except OSError:
            return None
        return seen[2]


def _card_of(data: bytes, code: str) -> Card | None:
    """Return the card that some bytes hold, if it is the one of the code and as it was made."""
    try:
        card = Card.model_validate_json(data)
    except ValidationError:
        return None
    return card if card.code == code and is_genuine(card) else None
