"""A site as the server asks it: what is due and its cards, judged in one thread, and the pages of months, drawn by themselves.

In: the site's folder and a clock. Out: findings and pages. Refuses what `intervals check` and `intervals report` refuse, and months
that are too long ago (CLI012).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import NamedTuple, TypeVar

from intervals.findings import Findings
from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError
from intervals.questions.check.assess import assess_site
from intervals.questions.month.month_history import months_up_to
from intervals.serve.card_shelf import CardShelf
from intervals.serve.judge_thread import JudgeThread
from intervals.serve.kept_answers import KeptAnswers
from intervals.serve.month_drawing import shown_moment
from intervals.serve.month_pages import MonthPage, MonthPages
from intervals.serve.month_process import MonthProcess
from intervals.serve.site_files import SiteFiles
from intervals.site.model import Site, load_site

Result = TypeVar("Result")
DUE_LASTS_S, MONTH_LASTS_S = 60.0, 600.0
"""What is due, and the page of a month, are shown again for so long, s; after that, after a card that is written, and when a file that they
are made from is another one, they are made anew."""
MONTHS_SHOWN = 13
"""This month and twelve before it are drawn."""


class DueList(NamedTuple):
    """What was found of a site, and when."""

    judged_at: str
    findings: Findings


class ServedSite:
    """A site that is served.

    Args:
        site: the site as it is when the server starts; its file is read again for each judgement.
        clock: yields this moment, with its offset.
        thread: the thread that judges.
    """

    def __init__(self, site: Site, clock: Callable[[], datetime], thread: JudgeThread) -> None:
        self._folder, self._zone, self._clock, self._thread = site.folder, site.zone, clock, thread
        self.shelf = CardShelf(site.folder)
        files = SiteFiles(site.folder)
        self._due: KeptAnswers[DueList] = KeptAnswers(thread, DUE_LASTS_S, files=files.state)
        self._process = MonthProcess(site.folder, clock, len(site.judged_units))
        self._months = MonthPages(self._process.draw, MONTH_LASTS_S, files=files.state)

    def due(self) -> DueList:
        """Return what is due now.

        Raises:
            ProblemsError: the site cannot be judged.
            BusyError: too many wait for the judge.
        """
        return self._due.answer("now", self._judge_now)

    def month(self, month: str) -> MonthPage:
        """Return the page of a month, as `intervals report` makes it; the last one while a new one is made.

        Args:
            month: `YYYY-MM`, one of `months`.

        Raises:
            ProblemsError: it is none of them, or it cannot be judged.
            BusyError: too many wait for such a page.
        """
        if month not in self.months():
            text, fix = "not one of the months that are shown here", "intervals report makes the page of any month"
            raise RequestProblemError([Problem("CLI012", "month", None, None, text, fix)])
        return self._months.page(month)

    def engine_page(self, month: str, name: str) -> str | None:
        """Return the page of one engine of a fleet, as it was drawn with the page of its month; None where there is none.

        Args:
            month: `YYYY-MM`, one of `months`.
            name: the name of the page.

        Raises:
            ProblemsError: as for `month`, which is drawn first where it was not yet.
            BusyError: likewise.
        """
        found = self._process.engine_page(month, name) if month in self.months() else None
        if found is None:
            self.month(month)
            found = self._process.engine_page(month, name)
        return found

    def months(self) -> list[str]:
        """Return the months that are shown, `YYYY-MM`, this one at the site last."""
        return months_up_to(self._clock().astimezone(self._zone).strftime("%Y-%m"), MONTHS_SHOWN)

    def ask(self, step: Callable[[], Result]) -> Result:
        """Return what a step returns that writes no records, done in the judge's thread.

        Raises:
            BusyError: too many wait for the judge.
            Exception: what the step raises.
        """
        return self._thread.do(step)

    def record(self, step: Callable[[], Result]) -> Result:
        """Return what a step returns that writes records, done in the judge's thread; what was judged before is forgotten.

        Raises:
            BusyError: too many wait for the judge.
            Exception: what the step raises.
        """

        def done() -> Result:
            try:
                return step()
            finally:
                self._due.forget()
                self._months.forget()

        return self._thread.do(done)

    def _judge_now(self) -> DueList:
        """Judge the site as of now."""
        now = self._clock()
        # another process made of this one would lack its threads
        return DueList(shown_moment(now, self._zone), assess_site(load_site(self._folder), now, now_us=to_us(now), jobs=1))

    def close(self) -> None:
        """Draw no more pages; one that is being drawn is given up."""
        self._process.close()
        self._months.close()
