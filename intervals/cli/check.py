"""`intervals check`: judge a site and give the status of every task."""

from __future__ import annotations

from contextlib import AbstractContextManager, ExitStack
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from intervals.cli.common.options import (
    AsOfOption,
    CalendarUntilOption,
    ClusterOption,
    EnginesOption,
    JobsOption,
    OutputOption,
    RulesetOption,
    SiteArgument,
    TasksOption,
    typed_again,
)

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    from intervals.cluster import Workers
    from intervals.findings import Findings
    from intervals.language.durations import CalendarStep
    from intervals.problems import Problem
    from intervals.questions.month.month_models import MonthReport
    from intervals.site.model import Site


class CheckFormat(StrEnum):
    """What `check` prints."""

    TABLE = "table"
    JSON = "json"
    CSV = "csv"


class GroupBy(StrEnum):
    """How the table of `check` is put together."""

    ENGINE = "engine"
    RULESET = "ruleset"


class FailOn(StrEnum):
    """What makes `check` exit with 1; each includes what comes before it."""

    OVERDUE = "overdue"
    SKIPPED = "skipped"
    UNKNOWN = "unknown"
    UPCOMING = "upcoming"
    NEVER = "never"


def check(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    month: Annotated[
        str | None,
        typer.Option(
            "--month",
            metavar="YYYY-MM",
            help="Judge at the end of this month, and say what share of the work due in it was done on time.",
            show_default=False,
        ),
    ] = None,
    ruleset: RulesetOption = None,
    engine: EnginesOption = None,
    task: TasksOption = None,
    output_format: Annotated[
        CheckFormat, typer.Option("--format", help="A table to read, one JSON document with everything, or CSV with one row per finding.")
    ] = CheckFormat.TABLE,
    show_all: Annotated[bool, typer.Option("--all", help="Show every task in the table, not only what needs doing.")] = False,
    due: Annotated[
        str | None,
        typer.Option(
            "--due",
            metavar="DURATION",
            help="Show in the table what falls due within this span, such as P14D or P2M, and what is overdue.",
            show_default=False,
        ),
    ] = None,
    group: Annotated[
        GroupBy, typer.Option("--group", help="One table by engine, or one for each rule set; it changes only what the table looks like.")
    ] = GroupBy.ENGINE,
    output: OutputOption = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Also write the month's page (one self-contained file).", show_default=False),
    ] = None,
    xlsx: Annotated[
        Path | None, typer.Option("--xlsx", metavar="FILE", help="Also write the findings as a workbook.", show_default=False)
    ] = None,
    ics: Annotated[
        Path | None, typer.Option("--ics", metavar="FILE", help="Also write due and expected dates as a calendar.", show_default=False)
    ] = None,
    calendar_until: CalendarUntilOption = None,
    jobs: JobsOption = None,
    cluster: ClusterOption = None,
    fail_on: Annotated[
        FailOn, typer.Option("--fail-on", help="Exit with 1 if there is any of this, or of what comes before it in the list.")
    ] = FailOn.UNKNOWN,
) -> None:
    """Judge every task of every engine of a site.

    Reads site.yaml, the operating log and the service records. The table begins with what needs doing, the most urgent first:
    the status of each task, how much it is past its line or how much is left, when it is due, and why. Tasks in interval are counted;
    --all shows them too. Below that: what was skipped, and what is wrong in the data. JSON and CSV always hold every task.

    \b
    Exit codes:
      0  nothing of what --fail-on names
      1  something overdue, skipped and still open, or unknown (or what --fail-on says instead)
      2  cannot judge; every problem is listed on standard error

    \b
    Examples:
      intervals check sample_logs/brackwater --as-of 2026-10-31
      intervals check my-site --due P14D
      intervals check my-site --month 2026-10 --format json --output october.json
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import date_of_judging, read_calendar_end  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.ids import engine_ids, task_ids  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_places, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.progress import progress_told  # noqa: PLC0415 - not needed for --help
    from intervals.judge.months import month_problems  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered(ruleset)
    moment = wrong.of(lambda: date_of_judging(as_of, month, now)) or now
    step = wrong.of(lambda: _span_of(due, output_format, show_all=show_all))
    until = wrong.of(lambda: read_calendar_end(calendar_until))
    wrong.of(lambda: guard_places(output, html, xlsx, ics))
    described = wrong.site_of(site)
    engines, tasks = engine_ids(described, engine), task_ids(described, task, ruleset)
    wrong.note(month_problems(described, month, microseconds_of(now)))
    wrong.of(lambda: guard_targets(described, ruleset, output, html, xlsx, ics))
    beside = [option for option, given in (("--html", html), ("--jobs", jobs)) if given is not None and cluster is not None]
    wrong.note(map(_cluster_beside, beside))
    with ExitStack() as held, progress_told() as progress:
        workers = None if cluster is None or beside else wrong.of(lambda: held.enter_context(_connected(cluster)))
        wrong.refuse(described, moment, now, engines=engines, tasks=tasks)
        asked = _Request(microseconds_of(now), ruleset, engines, tasks, month, jobs, workers, progress)
        findings, report = _judge(described, moment, asked, with_report=html is not None)
    if html or xlsx or ics:
        from intervals.cli.files import write_beside  # noqa: PLC0415 - only these options need it

        write_beside(findings, report, described, now, html, xlsx, ics, until)
    judged_at = as_of or (moment.isoformat() if month else None)
    options = [*(["--as-of", judged_at] if judged_at else []), *(["--ruleset", ruleset] if ruleset else [])]
    # a task that was asked for by name is shown however it stands
    shown = _Shown(typed_again(site), tuple(options), shows_all=show_all or bool(tasks), span=step, group=group)
    _deliver(findings, output_format, output, shown)
    raise typer.Exit(exit_code_of(findings, fail_on))


class _Shown(NamedTuple):
    """What the table shows, and how its next command is worded."""

    site: str
    options: tuple[str, ...]
    shows_all: bool
    span: CalendarStep | None
    group: GroupBy


def _span_of(due: str | None, output_format: CheckFormat, *, show_all: bool) -> CalendarStep | None:
    """Return the span that --due names; refuse one that cannot be read, or that is to no purpose beside other options."""
    from intervals.language.durations import DurationProblemError, parse_step  # noqa: PLC0415 - not needed for --help
    from intervals.problems import Problem, RequestProblemError  # noqa: PLC0415 - not needed for --help

    if due is None:
        return None
    if show_all or output_format is not CheckFormat.TABLE:
        other = "--all" if show_all else f"--format {output_format}"
        fix = "leave out one of the two" if show_all else "leave --due out: each row there has its own due_on to filter by"
        raise RequestProblemError(
            [Problem("CLI104", "--due", None, None, f"--due cannot be used with {other}, which always holds every task", fix)]
        )
    try:
        return parse_step(due)
    except DurationProblemError as error:
        raise RequestProblemError([Problem("CLI105", "--due", None, None, str(error), error.fix)]) from error


class _Request(NamedTuple):
    """What was asked for of the judge."""

    now_us: int
    ruleset: str | None
    engines: tuple[str, ...]
    tasks: tuple[str, ...]
    month: str | None
    jobs: int | None
    workers: Workers | None
    progress: Callable[[str, float], None] | None


def _judge(site: Site, moment: date | datetime, asked: _Request, *, with_report: bool) -> tuple[Findings, MonthReport | None]:
    """Return the findings, and with them the month's report where its page is wanted: one judgement serves both."""
    if not with_report:
        from intervals.cli.common.background_read import reading_ahead  # noqa: PLC0415 - not needed for --help

        # a process that talks to a cluster has threads that a copy of it would lack
        with reading_ahead(site, asked.now_us, asked.jobs if asked.workers is None else 1) as ahead:
            from intervals.questions.check.assess import assess_site  # noqa: PLC0415 - loads the judge only once there is a site to judge

            return assess_site(site, moment, ahead=ahead, **asked._asdict()), None
    from intervals.history.inputs import moment_of  # noqa: PLC0415 - loads the judge only once there is a site to judge
    from intervals.questions.month.monthly import narrowed, report_month  # noqa: PLC0415 - only --html needs it

    shown = asked.month or moment_of(site, moment).last_day.isoformat()[:7]
    report = report_month(
        site, moment, shown, **{name: value for name, value in asked._asdict().items() if name not in ("month", "jobs", "workers")}
    )
    return narrowed(report.findings, asked.month), report


def _connected(address: str) -> AbstractContextManager[Workers]:
    """Return what connects to the workers of a cluster."""
    from intervals.cluster import connected  # noqa: PLC0415 - only --cluster needs it
    from intervals.questions.check.engine_groups import program  # noqa: PLC0415 - only --cluster needs it

    return connected(address, program)


def _cluster_beside(option: str) -> Problem:
    """Return the problem of an option that cannot be used with --cluster."""
    from intervals.problems import Problem  # noqa: PLC0415 - only a refusal needs it

    fix = "leave out --jobs: the workers judge" if option == "--jobs" else "make the page without --cluster, on this machine"
    return Problem("CLI141", option, None, None, f"{option} cannot be used with --cluster", fix)


def exit_code_of(findings: Findings, fail_on: FailOn) -> int:
    """Return 1 where something stands at the line drawn or before it, else 0.

    Args:
        findings: what was found.
        fail_on: the line, on the scale overdue, skipped, unknown, upcoming, never.
    """
    if fail_on is FailOn.NEVER:
        return 0
    totals = findings.totals
    counts = {
        FailOn.OVERDUE: totals.overdue,
        FailOn.SKIPPED: totals.skipped_open,
        FailOn.UNKNOWN: totals.unknown,
        FailOn.UPCOMING: totals.upcoming,
    }
    scale = list(FailOn)
    return int(any(counts[each] for each in scale[: scale.index(fail_on) + 1]))


def _deliver(findings: Findings, output_format: CheckFormat, output: Path | None, shown: _Shown) -> None:
    """Print the findings in the form asked for."""
    from intervals.cli.common.output import deliver_document, deliver_lines  # noqa: PLC0415 - not needed for --help

    if output_format is CheckFormat.TABLE:
        from intervals.reports.check.due_words import last_day_of  # noqa: PLC0415 - loads only the report that is drawn
        from intervals.reports.check.table import Asked, findings_lines  # noqa: PLC0415 - loads only the report that is drawn

        due_by = None if shown.span is None else shown.span.after(last_day_of(findings.as_of))
        asked = Asked(shown.site, shown.options, shows_all=shown.shows_all, due_by=due_by)
        deliver_lines(lambda width: findings_lines(findings, asked, width=width, group=shown.group.value), output)
    elif output_format is CheckFormat.JSON:
        from intervals.reports.document import findings_text  # noqa: PLC0415 - loads only the report that is drawn

        deliver_document(findings_text(findings), output)
    else:
        from intervals.reports.check.sheet import findings_csv  # noqa: PLC0415 - loads only the report that is drawn

        deliver_document(findings_csv(findings), output)
