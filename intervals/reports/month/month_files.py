"""The files that go to the month's meeting and into the file: page, workbook, calendar and findings, made from one judgement.

In: a month's report. Out: the content of each file. It only puts together what other reports draw.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

from intervals.findings import Findings
from intervals.language.durations import CalendarStep
from intervals.questions.check.findings_document import findings_text
from intervals.questions.month.fleet import EngineReport, FleetReport
from intervals.questions.month.month_models import MonthReport
from intervals.questions.month.monthly import narrowed
from intervals.questions.plan.coming_stops import Coming
from intervals.reports.check.calendar import findings_calendar
from intervals.reports.check.sheet import findings_csv
from intervals.reports.check.workbook import findings_workbook
from intervals.reports.month.fleet_pages import engine_page, overview_page
from intervals.reports.month.page import month_page
from intervals.reports.month.page_places import OVERVIEW
from intervals.version import __version__


class MonthFolder(NamedTuple):
    """What the files of a month are made from.

    Attributes:
        report: the month.
        title: what people call the site.
        made_at: when the files are made, as the page shows it.
        until: how far ahead the calendar reaches; None: as far as it does of itself.
        coming: stops and orders of the next weeks; None where the site has no plan.
    """

    report: MonthReport
    title: str
    made_at: str
    until: date | CalendarStep | None = None
    coming: Coming | None = None

    @property
    def of_month(self) -> Findings:
        """The findings as `check --month` gives them."""
        return narrowed(self.report.findings, self.report.month)


def page_file(folder: MonthFolder) -> str:
    """Return the page: HTML that loads nothing."""
    return month_page(folder.report, made_at=folder.made_at, version=__version__, coming=folder.coming)


def overview_file(fleet: FleetReport, folder: MonthFolder, pages: Mapping[str, str]) -> str:
    """Return the overview of a fleet; `pages` is the address of each engine's page."""
    return overview_page(fleet, pages, made_at=folder.made_at, version=__version__, coming=folder.coming)


def engine_file(engine: EngineReport, made_at: str, overview: str = f"../{OVERVIEW}") -> str:
    """Return the page of one engine of a fleet; `overview` is the address of the overview, as seen from it."""
    return engine_page(engine, made_at=made_at, version=__version__, overview=overview)


def workbook_file(folder: MonthFolder) -> bytes:
    """Return the workbook, with all that was skipped in the month and twelve months of compliance."""
    shown = folder.report.findings.model_copy(update={"skipped": folder.report.skipped})
    return findings_workbook(shown, folder.report.history)


def calendar_file(folder: MonthFolder) -> bytes:
    """Return the calendar of due and expected dates."""
    return findings_calendar(folder.report.findings, folder.title, until=folder.until)


def sheet_file(folder: MonthFolder) -> str:
    """Return the findings as CSV."""
    return findings_csv(folder.of_month)


def document_file(folder: MonthFolder) -> str:
    """Return the findings as JSON."""
    return findings_text(folder.of_month)
