"""The page of a month, drawn in a process of its own: a judgement that takes long keeps no other request waiting.

In: a site's folder, a month, this moment. Out: the page; of a fleet the overview, and files with the pages of its engines. As a program
(`python -m`) it writes the page, or the problems, pickled to its standard output, for `month_process.py` to read. Refuses what
`intervals report` refuses.
"""

from __future__ import annotations

import pickle
import sys
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from intervals.language.months import last_day_of
from intervals.local_days import to_us
from intervals.problems import Problem, ProblemsError
from intervals.questions.month.fleet import EngineReport, is_fleet, report_fleet
from intervals.questions.month.month_models import MonthReport
from intervals.questions.month.month_wording import day_name
from intervals.questions.month.monthly import report_month
from intervals.questions.plan.beyond_line import with_planned_late
from intervals.questions.plan.coming_stops import coming_stops
from intervals.reports.check.due_words import last_day_of as last_day_shown
from intervals.reports.month.month_files import MonthFolder, engine_file, overview_file, page_file
from intervals.reports.month.page_places import page_names
from intervals.site.model import Site, load_site

Drawn = tuple[str, tuple[Problem, ...]]
"""A page, or what keeps it from being drawn."""


def draw_month(folder: Path, month: str, now: datetime, engines: Path | None = None) -> str:
    """Return the page of a month, as `intervals report` makes it: of this month as of now, of an earlier one as of its last day.

    Args:
        folder: the site's folder.
        month: `YYYY-MM`.
        now: this moment, with its offset.
        engines: where a fleet's pages of engines are written; the page is then the overview. None: all stands on one page.

    Raises:
        ProblemsError: the site or the month cannot be judged.
    """
    site = load_site(folder)
    as_of = now if month == f"{now.astimezone(site.zone):%Y-%m}" else last_day_of(month)
    made_at = shown_moment(now, site.zone)
    if engines is not None and is_fleet(site):
        return _draw_fleet(site, as_of, month, now, engines)
    report = report_month(site, as_of, month, now_us=to_us(now))
    return page_file(_folder_of(site, report, made_at))


def _folder_of(site: Site, report: MonthReport, made_at: str) -> MonthFolder:
    """Return what the page of a month is made from."""
    today = last_day_shown(report.findings.as_of)
    report = report.model_copy(update={"findings": with_planned_late(report.findings, site, today)})
    return MonthFolder(report, site.title, made_at, coming=coming_stops(site.folder, today))


def _draw_fleet(site: Site, as_of: date | datetime, month: str, now: datetime, engines: Path) -> str:
    """Return the overview of a fleet, and write the page of each engine."""
    names, made_at = page_names(unit.id for unit in site.judged_units), shown_moment(now, site.zone)

    def draw(engine: EngineReport) -> None:
        (engines / names[engine.unit.engine]).write_text(engine_file(engine, made_at, f"/month/{month}"), encoding="utf-8")

    fleet = report_fleet(site, as_of, month, draw, now_us=to_us(now))
    addresses = {engine: f"/month/{month}/engines/{name}" for engine, name in names.items() if (engines / name).is_file()}
    return overview_file(fleet, _folder_of(site, fleet.report, made_at), addresses)


def shown_moment(now: datetime, zone: ZoneInfo) -> str:
    """Return a moment as a page shows it, by the site's clock.

    Args:
        now: the moment, with its offset.
        zone: the site's zone.
    """
    local = now.astimezone(zone)
    return f"{day_name(local.date())}, {local:%H:%M} ({zone.key})"


def drawn(arguments: Sequence[str]) -> Drawn:
    """Return the page of a month, or the problems that keep it from being drawn.

    Args:
        arguments: the site's folder, the month, this moment (ISO 8601, with its offset), and where a fleet's pages of engines go.
    """
    folder, month, now, *engines = arguments
    try:
        return draw_month(Path(folder), month, datetime.fromisoformat(now), *map(Path, engines)), ()
    except ProblemsError as error:
        return "", tuple(error.problems)


if __name__ == "__main__":
    out = sys.stdout.buffer
    # what anything else says goes where the server's own words go
    sys.stdout = sys.stderr
    out.write(pickle.dumps(drawn(sys.argv[1:])))
