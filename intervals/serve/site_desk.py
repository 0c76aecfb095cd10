"""The cards of a site made, judged and written, as `intervals card` and `intervals record` do it.

In: an engine and tasks, or the bytes of a card that was handed in. Out: the code of a card, or a verdict. Refuses what these commands
refuse, and an engine that the site does not have (CLI010).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from intervals.history.unknown_names import engine_problems
from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import card_text
from intervals.questions.card.kept_cards import CARDS_FOLDER
from intervals.questions.card.make_card import CardsAsked, make_cards
from intervals.questions.record.handed_in import handed_in_of
from intervals.questions.record.record_models import RecordDocument, verdicts_of
from intervals.questions.record.record_site import Given, Recording
from intervals.reports.card.card_page import card_page
from intervals.site.model import load_site
from intervals.writing import write_together

_NAME = "the card"


class SiteDesk:
    """Makes, judges and writes the cards of one site; asked in the judge's thread only.

    Args:
        folder: the folder of the site.
        clock: yields this moment, with its offset.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self._folder, self._clock = folder, clock

    def make_card(self, engine: str, tasks: Sequence[str], language: str) -> str:
        """Make the card of an engine and some of its tasks, keep it in `cards/`, and return its code.

        Raises:
            ProblemsError: it cannot be made or written.
        """
        site, now = load_site(self._folder), self._clock()
        problems = engine_problems(site, (engine,))
        if problems:
            raise RequestProblemError(problems)
        asked = CardsAsked(engines=(engine,), tasks=tuple(tasks), language=language)
        cards = make_cards(site, now, asked, now_us=to_us(now)).cards
        if len(cards) != 1:
            raise RequestProblemError([Problem("CLI015", engine, None, None, "none of these tasks is work on this engine")])
        code = cards[0].code
        write_together(site.folder / CARDS_FOLDER, {f"{code}.json": card_text(cards[0]), f"{code}.html": card_page(cards[0])})
        return code

    def judge(self, handed_in: bytes) -> RecordDocument:
        """Return the verdict on a card; nothing is written.

        Raises:
            ProblemsError: it cannot be judged.
        """
        return self._recording(handed_in).judge()[0]

    def write(self, handed_in: bytes, shown: RecordDocument) -> RecordDocument:
        """Judge a card again, and write what can be credited if the verdict is the one that was shown; else return the one of now.

        Raises:
            ProblemsError: it cannot be judged or written, or somebody else wrote records between the two.
        """
        recording = self._recording(handed_in)
        recording.judge((verdicts_of(shown.tasks),))
        done = recording.write()[0]
        return done if done.written else recording.judge()[0]

    def _recording(self, handed_in: bytes) -> Recording:
        """Return a card on its way into the records, beside the site as its file is now."""
        return Recording(load_site(self._folder), (Given(handed_in_of(handed_in, _NAME), handed_in),), self._clock())
