"""`intervals report`: what goes to the month's meeting and into the file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, written
from intervals.cli.common.options import (
    CalendarUntilOption,
    ClusterLogOption,
    JobsOption,
    NoCacheOption,
    RulesetOption,
    SiteArgument,
    named_path,
)
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest
from intervals.cli.common.workers_asked import beside_cluster, log_of_workers

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from intervals.history.inputs import Progress
    from intervals.language.durations import CalendarStep
    from intervals.questions.month.month_models import MonthReport
    from intervals.readings.rows import Readings
    from intervals.reports.month.month_files import MonthFolder

    Ahead = Callable[[], Readings] | None


class MonthFile(Format):
    """What `report` writes: the name of each file, and what makes it."""

    PAGE = written("index.html", "intervals.reports.month.month_files:page_file")
    WORKBOOK = written("findings.xlsx", "intervals.reports.month.month_files:workbook_file")
    CALENDAR = written("due.ics", "intervals.reports.month.month_files:calendar_file")
    SHEET = written("findings.csv", "intervals.reports.month.month_files:sheet_file")
    DOCUMENT = written("findings.json", "intervals.reports.month.month_files:document_file")


@answers
def report(
    *,
    site: SiteArgument,
    month: Annotated[
        str, typer.Option("--month", metavar="YYYY-MM", help="The month to report; it is judged at its end.", show_default=False)
    ],
    out: Annotated[
        Path,
        typer.Option(
            "--out",
            metavar="FOLDER",
            parser=named_path,
            help="Folder for the files; made if it does not exist. All files are written, or none.",
            show_default=False,
        ),
    ],
    ruleset: RulesetOption = None,
    calendar_until: CalendarUntilOption = None,
    jobs: JobsOption = None,
    cluster: ClusterLogOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
    """Write a month's report: a page, a workbook, a calendar and the findings.

    index.html is one self-contained page: the verdict, what changed since last month, the fleet at a glance, what to do, each
    engine's month, the reasons with their arithmetic, twelve months of compliance, and what it all rests on. Of more than twelve
    engines it is an overview, and each engine has such a page of its own in engines/. findings.xlsx has the same
    as sheets, due.ics the dates of a year for a calendar, findings.csv and findings.json what check --month prints.

    \b
    Exit codes:
      0  written, whatever was found
      2  cannot judge or write; every problem is listed on standard error

    \b
    Example:
      intervals report sample_logs/brackwater --month 2026-10 --out october
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.date_arguments import read_calendar_end
    from intervals.reports.folding import fold_lines
    from intervals.reports.lines import line_of, printable
    from intervals.reports.sections import warning_lines

    asked = SiteRequest(site, month=month, ruleset=ruleset, writes=[Path(name) for name in MonthFile], into=out)
    until = asked.read(read_calendar_end, calendar_until)
    if jobs is not None and cluster is not None:
        asked.problems.note([beside_cluster("--jobs", "leave out one of the two: of rows that lie with workers one process asks them")])
    asked.ready()
    from intervals.questions.month.fleet import is_fleet

    with log_of_workers(asked.site, asked.now_us, cluster) as ahead, progress_bar() as progress:
        if is_fleet(asked.site):
            # a process that talks to a cluster has threads that a copy of it would lack
            made, names = _write_fleet(asked, month, out, until, jobs if ahead is None else 1, ahead, progress)
        else:
            made, names = _write_one_page(asked, month, out, until, ahead, progress)
    report_lines = [
        *warning_lines(made.findings.warnings),
        line_of(printable(made.sentence)),
        line_of(printable(f"{out}: {', '.join(names)}")),
    ]
    return Answer(lambda width: fold_lines(report_lines, width))


def _write_one_page(
    asked: SiteRequest, month: str, out: Path, until: date | CalendarStep | None, ahead: Ahead, progress: Progress | None
) -> tuple[MonthReport, list[str]]:
    """Write the files of a site of few engines; return its report and their names."""
    from intervals.questions.month.monthly import report_month
    from intervals.writing import write_together

    made = report_month(asked.site, asked.moment, month, **asked.judging, ahead=ahead, progress=progress)
    if progress:
        progress("drawing", 0.0)
    folder = _folder_of(asked, made, until)
    write_together(out, {file.value: file.make(folder) for file in MonthFile})
    return made, [*MonthFile]


def _write_fleet(
    asked: SiteRequest, month: str, out: Path, until: date | CalendarStep | None, jobs: int | None, ahead: Ahead, progress: Progress | None
) -> tuple[MonthReport, list[str]]:
    """Write the files of a fleet, each engine's page as soon as it is made; return its report and their names."""
    from intervals.questions.month.fleet import EngineReport, report_fleet
    from intervals.reports.month.month_files import engine_file, overview_file
    from intervals.reports.month.page_places import ENGINES_FOLDER, page_names
    from intervals.writing import StagedFolder, write_together

    names = page_names(unit.id for unit in asked.site.judged_units)
    made_at = asked.made_at()
    staged = StagedFolder(out, ENGINES_FOLDER, ".html")

    def draw(engine: EngineReport) -> None:
        staged.write(names[engine.unit.engine], engine_file(engine, made_at))

    try:
        fleet = report_fleet(asked.site, asked.moment, month, draw, **asked.judging, jobs=jobs, ahead=ahead, progress=progress)
        if progress:
            progress("writing", 0.0)
        folder = _folder_of(asked, fleet.report, until)
        drawn = {engine: f"{ENGINES_FOLDER}/{name}" for engine, name in names.items() if (staged.part / name).is_file()}
        others = [file for file in MonthFile if file is not MonthFile.PAGE]
        files = {MonthFile.PAGE.value: overview_file(fleet, folder, drawn), **{file.value: file.make(folder) for file in others}}
        write_together(out, files, staged)
    finally:
        staged.drop()
    return fleet.report, [*MonthFile, f"{ENGINES_FOLDER}/ ({len(drawn)} pages)"]


def _folder_of(asked: SiteRequest, made: MonthReport, until: date | CalendarStep | None) -> MonthFolder:
    """Return what the files of a month are made from."""
    from intervals.questions.plan.beyond_line import with_planned_late
    from intervals.questions.plan.coming_stops import coming_stops
    from intervals.reports.check.due_words import last_day_of
    from intervals.reports.month.month_files import MonthFolder

    today = last_day_of(made.findings.as_of)
    findings = with_planned_late(made.findings, asked.site, today, ruleset=asked.judging["ruleset"])
    made = made.model_copy(update={"findings": findings})
    return MonthFolder(made, asked.site.title, asked.made_at(), until, coming_stops(asked.site.folder, today))


COMMAND = Command(report, place=70, short_help="Write a month's page, workbook, calendar and findings.")
