"""`intervals plan`: on which day which engine is stopped, and for what."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import AsOfOption, EnginesOption, JobsOption, NoCacheOption, OutputOption, SiteArgument
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from datetime import date

    from intervals.questions.plan.part_models import Aim

_YAML = (".yaml", ".yml")
_MOST_YEARS = 10


class PlanFormat(Format):
    """What `plan` shows."""

    TABLE = drawn("table", "intervals.reports.plan.plan_table:plan_lines")
    JSON = written("json", "intervals.reports.document:plan_document")
    HTML = written("html", "intervals.reports.plan.plan_page:plan_page")
    ICS = written("ics", "intervals.reports.plan.plan_calendar:plan_calendar")
    XLSX = written("xlsx", "intervals.reports.plan.plan_workbook:plan_workbook")


class SlotWord(StrEnum):
    """What a plan is made by."""

    WEEK = "week"
    DAY = "day"


@answers
def plan(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    until: Annotated[
        str | None,
        typer.Option(
            "--until", metavar="DATE", help="The last day of the plan, ten years ahead at most. Default: a year ahead.", show_default=False
        ),
    ] = None,
    slots: Annotated[SlotWord, typer.Option("--slots", help="One day of each week, or any working day.")] = SlotWord.WEEK,
    keep: Annotated[bool, typer.Option("--keep", help="Move as little as possible against the plan before, and say what moved.")] = False,
    aims: Annotated[
        str,
        typer.Option("--aims", metavar="AIM,AIM,AIM", help="What is aimed at, the first first: late, stops, life (thrown away)."),
    ] = "late,stops,life",
    engine: EnginesOption = None,
    output_format: Annotated[
        PlanFormat, typer.Option("--format", help="What is shown: a table, one JSON document, a page, a calendar or a workbook.")
    ] = PlanFormat.TABLE,
    output: OutputOption = None,
    jobs: JobsOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
    """Plan the stops of a site's engines, and write them to plan.yaml in its folder.

    Nothing late that need not be, then the fewest stops, then the least life thrown away. On what terms engines stop stands in
    site.yaml: groups, crew, blackouts, prefer. Hours, people, parts and oil come from the procedures. A stop with fixed: true in
    plan.yaml stays. An --output that ends in .yaml takes the plan instead of plan.yaml; any other takes what is shown.
    It tells, it does not decide.

    \b
    Exit codes:
      0  planned
      1  planned, and something is late or has no day
      2  cannot plan; every problem is listed on standard error

    \b
    Examples:
      intervals plan my-site
      intervals plan my-site --keep --slots day --until 2027-03-31
      intervals plan my-site --format html --output stops.html
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    is_plan = output is not None and output.suffix in _YAML
    file = output if is_plan and output is not None else _folder_of(site) / "plan.yaml"
    shown = None if is_plan else output
    asked = SiteRequest(site, as_of=as_of, engine=engine, writes=[file, shown])
    last_day = None if until is None else asked.read(_last_day_of, until, asked.moment)
    order = asked.read(_aims_of, aims)
    asked.ready()
    from intervals.questions.plan.make_plan import make_plan
    from intervals.questions.plan.part_models import AIMS
    from intervals.questions.plan.plan_file import plan_text, read_plan_before
    from intervals.questions.plan.planning import PlanAsked

    before = read_plan_before(file)
    wanted = PlanAsked(last_day, slots.value, asked.engines, (), before, keep, order or AIMS, jobs)
    with progress_bar() as progress:
        found = make_plan(asked.site, asked.moment, wanted, now_us=asked.now_us, progress=progress)
    drawing = {"written_to": str(file)} if output_format is PlanFormat.TABLE else {}
    is_short = bool(found.unplaced) or any(stop.late for stop in found.stops)
    answer = output_format.answer(found, output=shown, exit_code=int(is_short), **drawing)
    return answer._replace(beside={file: plan_text(found)})


def _folder_of(site: Path) -> Path:
    """Return the folder of a site, which may be named by its file."""
    return site.parent if site.suffix in _YAML and not site.is_dir() else site


def _last_day_of(typed: str, moment: date) -> date:
    """Return the last day of the plan.

    Raises:
        RequestProblemError: it is no day (code CLI130), or more than ten years after the moment of judging (CLI157).
    """
    from intervals.cli.common.date_arguments import read_day
    from intervals.problems import Problem, RequestProblemError

    day = read_day(typed, "--until")
    if (day.year - moment.year, day.month, day.day) > (_MOST_YEARS, moment.month, moment.day):
        text = f"a plan until {day.isoformat()} is of more than {_MOST_YEARS} years"
        raise RequestProblemError([Problem("CLI157", "--until", None, None, text, "name an earlier day")])
    return day


def _aims_of(typed: str) -> tuple[Aim, ...]:
    """Return the aims in the order that was typed; those that were left out come last.

    Raises:
        RequestProblemError: a word is no aim (code CLI157).
    """
    from intervals.problems import Problem, RequestProblemError
    from intervals.questions.plan.part_models import AIMS

    words = [word.strip() for word in typed.split(",")]
    unknown = [word for word in words if word not in AIMS]
    if unknown or len(set(words)) < len(words):
        text = f'not an order of aims; got "{typed}"'
        raise RequestProblemError([Problem("CLI157", "--aims", None, None, text, f"write for example {','.join(AIMS)}")])
    return tuple(aim for word in [*words, *(aim for aim in AIMS if aim not in words)] for aim in AIMS if aim == word)


COMMAND = Command(plan, place=33, short_help="Plan on which day which engine is stopped, and for what.")
