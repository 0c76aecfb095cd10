"""Where a card is made, judged and written: what the server asks, whoever does it.

In: an engine and tasks, or the bytes of a card that was handed in. Out: a code, or a verdict. `site_desk.py` is the one of a real site.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from intervals.questions.record.record_models import RecordDocument


class RecordDesk(Protocol):
    """Whoever makes, judges and writes cards; all are only asked in the judge's thread."""

    def make_card(self, engine: str, tasks: Sequence[str], language: str) -> str:
        """Make the card of an engine and some of its tasks, keep it among the site's cards, and return its code.

        Raises:
            ProblemsError: it cannot be made or written.
        """

    def judge(self, handed_in: bytes) -> RecordDocument:
        """Return the verdict on a card; nothing is written.

        Raises:
            ProblemsError: it cannot be judged.
        """

    def write(self, handed_in: bytes, shown: RecordDocument) -> RecordDocument:
        """Judge a card again, and write what can be credited if the verdict is the one that was shown; else return the one of now.

        Raises:
            ProblemsError: it cannot be judged or written, or somebody else wrote records between the two.
        """
