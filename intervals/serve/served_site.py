"""A site as the server asks it: what is due, a month's page, and its cards, judged in one thread and kept for a moment.

In: the site's folder and a clock. Out: findings and pages. Refuses what `intervals check` and `intervals report` refuse.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import NamedTuple, TypeVar

from intervals.findings import Findings
from intervals.judge.months import last_day_of
from intervals.questions.check.assess import assess_site
from intervals.questions.month.month_wording import day_name
from intervals.questions.month.monthly import report_month
from intervals.reports.month.month_files import MonthFolder, page_file
from intervals.serve.card_shelf import CardShelf
from intervals.serve.judge_thread import JudgeThread
from intervals.site.model import Site, load_site

Kept = TypeVar("Kept")
KEPT_S = 60.0
"""What was judged is shown again for so long, s; a card that is written ends that at once."""
_MOST_KEPT = 12
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class DueList(NamedTuple):
    """What was found of a site, its title, and when."""

    title: str
    judged_at: str
    findings: Findings


class ServedSite:
    """A site that is served.

    Args:
        folder: the folder of the site.
        clock: yields this moment, with its offset.
        thread: the thread that judges.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime], thread: JudgeThread) -> None:
        self.folder, self._clock, self._thread = folder, clock, thread
        self.shelf = CardShelf(folder)
        self._kept: OrderedDict[str, tuple[float, object]] = OrderedDict()
        self._lock = Lock()

    def site(self) -> Site:
        """Return the site as its file is now.

        Raises:
            SiteProblemError: the file cannot be used.
        """
        return load_site(self.folder)

    def due(self) -> DueList:
        """Return what is due now.

        Raises:
            ProblemsError: the site cannot be judged.
            BusyError: too many wait for the judge.
        """
        return self._kept_or("due", self._judge_now)

    def month(self, month: str) -> str:
        """Return the page of a month, as `intervals report` makes it; of this month as of now.

        Args:
            month: `YYYY-MM`.

        Raises:
            ProblemsError: there is no such month, or it cannot be judged.
            BusyError: too many wait for the judge.
        """
        return self._kept_or(f"month {month}", lambda: self._draw_month(month))

    def this_month(self) -> str:
        """Return the month that it is at the site, `YYYY-MM`."""
        return self._local(self.site()).strftime("%Y-%m")

    def hand_in(self, step: Callable[[], Kept]) -> Kept:
        """Return what a step returns that judges a card or writes records, done in the judge's thread; what was judged before is forgotten.

        Raises:
            BusyError: too many wait for the judge.
            Exception: what the step raises.
        """

        def done() -> Kept:
            try:
                return step()
            finally:
                with self._lock:
                    self._kept.clear()

        return self._thread.do(done)

    def _judge_now(self) -> DueList:
        """Judge the site as of now."""
        site = self.site()
        # another process of this one would lack its threads
        findings = assess_site(site, self._clock(), now_us=self._now_us(), jobs=1)
        return DueList(site.title, self._shown_now(site), findings)

    def _draw_month(self, month: str) -> str:
        """Judge a month and draw its page."""
        site = self.site()
        now = self._clock()
        as_of = now if month == self._local(site).strftime("%Y-%m") else last_day_of(month)
        report = report_month(site, as_of, month, now_us=self._now_us())
        return page_file(MonthFolder(report, site.title, self._shown_now(site)))

    def _kept_or(self, name: str, make: Callable[[], Kept]) -> Kept:
        """Return what is kept under a name, or make it in the judge's thread and keep it."""
        found = self._find(name)
        return self._thread.do(lambda: self._made(name, make)) if found is None else found  # type: ignore[return-value]  # by its name

    def _made(self, name: str, make: Callable[[], Kept]) -> Kept:
        """Make something, unless somebody before in the queue has made it just now."""
        found = self._find(name)
        if found is not None:
            return found  # type: ignore[return-value]  # what is kept under a name was made for it
        made = make()
        with self._lock:
            self._kept[name] = (monotonic(), made)
            if len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
        return made

    def _find(self, name: str) -> object | None:
        """Return what is kept under a name and not too old."""
        with self._lock:
            made_at_s, found = self._kept.get(name, (0.0, None))
        return found if found is not None and monotonic() - made_at_s < KEPT_S else None

    def _local(self, site: Site) -> datetime:
        """Return this moment by the site's clock."""
        return self._clock().astimezone(site.zone)

    def _now_us(self) -> int:
        """Return this moment, UTC microseconds."""
        return (self._clock() - _EPOCH) // timedelta(microseconds=1)

    def _shown_now(self, site: Site) -> str:
        """Return this moment as a page shows it."""
        local = self._local(site)
        return f"{day_name(local.date())}, {local:%H:%M} ({site.zone.key})"
