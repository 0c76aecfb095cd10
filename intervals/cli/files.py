"""The files that go to the meeting and into the file: page, workbook and calendar, made from one judgement.

In: a `MonthReport` or `Findings`. Out: the content of each file. It only puts together what `reports/` draws.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from intervals.findings import Findings
    from intervals.language.durations import CalendarStep
    from intervals.questions.month.month_models import MonthReport
    from intervals.questions.what_if.what_if_models import WhatIf
    from intervals.site.model import Site


FOLDER_FILES = ("index.html", "findings.xlsx", "due.ics", "findings.csv", "findings.json")
"""What `folder_files` makes, known before it is made."""


def page_of(report: MonthReport, now: datetime, zone: ZoneInfo) -> str:
    """Return the page of a month.

    Args:
        report: the month.
        now: when the page is made.
        zone: the site's time zone, in which that is told.
    """
    from intervals.reports.month.page import month_page
    from intervals.version import __version__

    return month_page(report, made_at=_made_at(now, zone), version=__version__)


def page_of_what_if(found: WhatIf, site: Site, now: datetime) -> str:
    """Return the page of a what-if."""
    from intervals.reports.what_if.what_if_page import what_if_page
    from intervals.version import __version__

    return what_if_page(found, title=site.title, made_at=_made_at(now, site.zone), version=__version__)


def _made_at(now: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a page tells it, by the site's clock."""
    from intervals.questions.month.month_wording import day_name

    local = now.astimezone(zone)
    return f"{day_name(local.date())}, {local:%H:%M} ({zone.key})"


def folder_files(report: MonthReport, now: datetime, site: Site, until: date | CalendarStep | None = None) -> dict[str, str | bytes]:
    """Return every file of a month's folder by its name.

    Args:
        report: the month.
        now: when the files are made.
        site: the site.
        until: how far ahead the calendar reaches; None: as far as it does of itself.
    """
    from intervals.questions.month.monthly import narrowed
    from intervals.reports.check.calendar import FURTHEST, findings_calendar
    from intervals.reports.check.sheet import findings_csv
    from intervals.reports.check.workbook import findings_workbook
    from intervals.reports.document import findings_text

    of_month = narrowed(report.findings, report.month)
    shown = report.findings.model_copy(update={"skipped": report.skipped})
    return {
        "index.html": page_of(report, now, site.zone),
        "findings.xlsx": findings_workbook(shown, report.history),
        "due.ics": findings_calendar(report.findings, site.title, until=until or FURTHEST),
        "findings.csv": findings_csv(of_month),
        "findings.json": findings_text(of_month),
    }


def write_beside(
    findings: Findings,
    report: MonthReport | None,
    site: Site,
    now: datetime,
    html: Path | None,
    xlsx: Path | None,
    ics: Path | None,
    until: date | CalendarStep | None = None,
) -> None:
    """Write the files that `check` was asked for beside what it prints, each whole or not at all; made first, then written."""
    from intervals.writing import write_whole

    made: list[tuple[Path, str | bytes]] = []
    if html is not None and report is not None:
        made.append((html, page_of(report, now, site.zone)))
    if xlsx is not None:
        from intervals.reports.check.workbook import findings_workbook

        made.append((xlsx, findings_workbook(findings)))
    if ics is not None:
        from intervals.reports.check.calendar import FURTHEST, findings_calendar

        made.append((ics, findings_calendar(findings, site.title, until=until or FURTHEST)))
    for path, content in made:
        write_whole(path, content)
