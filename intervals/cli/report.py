"""`intervals report`: what goes to the month's meeting and into the file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.options import CalendarUntilOption, RulesetOption, SiteArgument, named_path


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
) -> None:
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
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import read_calendar_end  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_folder, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.progress import progress_told  # noqa: PLC0415 - not needed for --help
    from intervals.cli.files import FOLDER_FILES, folder_files  # noqa: PLC0415 - not needed for --help
    from intervals.judge.months import last_day_of, month_problems  # noqa: PLC0415 - not needed for --help
    from intervals.reports.folding import fold_lines  # noqa: PLC0415 - not needed for --help
    from intervals.reports.lines import line_of, printable  # noqa: PLC0415 - not needed for --help
    from intervals.reports.sections import warning_lines  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered(ruleset)
    last_day = wrong.of(lambda: last_day_of(month)) or now
    until = wrong.of(lambda: read_calendar_end(calendar_until))
    wrong.of(lambda: guard_folder(out, FOLDER_FILES))
    described = wrong.site_of(site)
    wrong.note(month_problems(described, month, microseconds_of(now)))
    wrong.of(lambda: guard_targets(described, ruleset, *(out / name for name in FOLDER_FILES)))
    wrong.refuse(described, last_day, now)
    from intervals.questions.month.monthly import report_month  # noqa: PLC0415 - loads the judge only once there is a site to judge
    from intervals.writing import write_together  # noqa: PLC0415 - not needed for --help

    with progress_told() as progress:
        made = report_month(described, last_day, month, now_us=microseconds_of(now), ruleset=ruleset, progress=progress)
        if progress:
            progress("drawing", 0.0)
        files = folder_files(made, now, described, until)
    write_together(out, files)
    told = [*warning_lines(made.findings.warnings), line_of(printable(made.sentence)), line_of(printable(f"{out}: {', '.join(files)}"))]
    deliver_lines(lambda width: fold_lines(told, width))
