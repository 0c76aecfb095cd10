"""`intervals report`: what goes to the month's meeting and into the file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, written
from intervals.cli.common.options import CalendarUntilOption, ClusterLogOption, RulesetOption, SiteArgument, named_path
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest
from intervals.cli.common.workers_asked import log_of_workers


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
    cluster: ClusterLogOption = None,
) -> Answer:
    """Write a month's report: a page, a workbook, a calendar and the findings.

    index.html is one self-contained page: the verdict, what changed since last month, the fleet at a glance, what to do, each
    engine's month, the reasons with their arithmetic, twelve months of compliance, and what it all rests on. findings.xlsx has the same
    as sheets, due.ics the dates for a calendar, findings.csv and findings.json what check --month prints.

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
    asked.ready()
    from intervals.questions.month.monthly import report_month
    from intervals.questions.plan.coming_stops import coming_stops
    from intervals.reports.check.due_words import last_day_of
    from intervals.reports.month.month_files import MonthFolder
    from intervals.writing import write_together

    with log_of_workers(asked.site, asked.now_us, cluster) as ahead, progress_bar() as progress:
        made = report_month(asked.site, asked.moment, month, **asked.judging, ahead=ahead, progress=progress)
        if progress:
            progress("drawing", 0.0)
        coming = coming_stops(asked.site.folder, last_day_of(made.findings.as_of))
        folder = MonthFolder(made, asked.site.title, asked.made_at(), until, coming)
        files = {file.value: file.make(folder) for file in MonthFile}
    write_together(out, files)
    report_lines = [
        *warning_lines(made.findings.warnings),
        line_of(printable(made.sentence)),
        line_of(printable(f"{out}: {', '.join(files)}")),
    ]
    return Answer(lambda width: fold_lines(report_lines, width))


COMMAND = Command(report, place=70, short_help="Write a month's page, workbook, calendar and findings.")
