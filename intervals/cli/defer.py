"""`intervals defer`: put a task off, as far as its rule set allows it."""

from __future__ import annotations

from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.confirm import is_yes
from intervals.cli.common.hours import hours_problems
from intervals.cli.common.options import SiteArgument
from intervals.cli.common.output import Answer, deliver_lines
from intervals.cli.common.site_request import SiteRequest


@answers
def defer(
    *,
    site: SiteArgument,
    engine: Annotated[str, typer.Argument(metavar="ENGINE", help="The engine's id, as site.yaml has it.", show_default=False)],
    task: Annotated[str, typer.Argument(metavar="TASK", help="The task's id, as the rule set has it.", show_default=False)],
    until_date: Annotated[
        str | None, typer.Option("--until-date", metavar="DATE", help="The last day to which it is put off.", show_default=False)
    ] = None,
    until_h: Annotated[
        float | None,
        typer.Option("--until-h", metavar="HOURS", min=0, help="The meter reading to put it off to.", show_default=False),
    ] = None,
    approved_by: Annotated[str | None, typer.Option("--approved-by", metavar="NAME", help="Who approved it.", show_default=False)] = None,
    reason: Annotated[str | None, typer.Option("--reason", metavar="TEXT", help="Why.", show_default=False)] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
) -> Answer:
    """Put a task off until a day or a meter reading, whichever comes first.

    The rule set says how far past its line, how many times in a row, and whether somebody has to approve it; where it says
    nothing, an approval is needed and nothing else bounds it. The row goes to the end of the site's own file of service records.

    \b
    Exit codes:
      0  written
      1  refused, with the reasons, or not written
      2  cannot be judged or written; every problem is listed on standard error

    \b
    Example:
      intervals defer my-site G1 oil-change --until-h 18400 --approved-by "A. Person" --reason "no oil until Friday"
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.date_arguments import read_day
    from intervals.cli.common.ids import engine_ids, task_ids
    from intervals.problems import Problem
    from intervals.questions.record.stated_values import is_year

    asked = SiteRequest(site)
    asked.problems.note(hours_problems("--until-h", until_h))
    day = None if until_date is None else asked.read(read_day, until_date, "--until-date")
    if day is not None and not is_year(day):
        fix = "write for example --until-date 2026-11-15"
        asked.problems.note([Problem("CLI161", "--until-date", None, None, f"the year {day.year} cannot be", fix)])
    if until_date is None and until_h is None:
        fix = "write for example --until-date 2026-11-15, or --until-h 18400"
        asked.problems.note([Problem("CLI161", "--until-date", None, None, "an end is missing", fix)])
    if not (reason or "").strip():
        asked.problems.note([Problem("CLI161", "--reason", None, None, "it is missing; say why", 'write for example --reason "no oil"')])
    asked.ready()
    (known_engine,) = engine_ids(asked.site, [engine])
    (known_task,) = task_ids(asked.site, [task], None, engines=[known_engine])
    from intervals.questions.record.deferral import DeferralAsked, judge_deferral, shown_deferral, write_deferral
    from intervals.reports.lines import line_of
    from intervals.reports.record.record_text import deferral_lines

    wanted = DeferralAsked(known_engine, known_task, day, until_h, approved_by or "", str(reason), asked.now)
    verdict = judge_deferral(asked.site, wanted)
    file = asked.site.services.file
    rows = [] if verdict.is_refused else shown_deferral(asked.site, verdict)
    if verdict.is_refused:
        return Answer(lambda width: deferral_lines(verdict, file, rows, width=width), exit_code=1)
    if not yes:
        deliver_lines(lambda width: deferral_lines(verdict, file, rows, width=width))
        if not is_yes("write this row?"):
            return Answer(lambda _: [line_of("nothing was written")], exit_code=1)
    done = write_deferral(asked.site, wanted)
    return Answer(lambda width: deferral_lines(done, file, rows, width=width), exit_code=int(done.is_refused))


COMMAND = Command(defer, place=38, short_help="Put a task off, as far as its rule set allows.")
