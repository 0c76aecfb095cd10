"""`intervals check`: judge a site and give the status of every task."""

from __future__ import annotations

from contextlib import AbstractContextManager, ExitStack
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import (
    AsOfOption,
    CalendarUntilOption,
    ClusterOption,
    EnginesOption,
    JobsOption,
    NoCacheOption,
    OutputOption,
    RulesetOption,
    SitesArgument,
    TasksOption,
    typed_again,
)
from intervals.cli.common.output import Answer
from intervals.cli.common.planned import has_plan, with_plan
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest
from intervals.cli.common.workers_asked import beside_cluster, connected_workers

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from intervals.cli.common.check_sites import SitesShown
    from intervals.cli.common.problem_collector import ProblemCollector
    from intervals.cluster import Workers
    from intervals.findings import Findings
    from intervals.history.inputs import Progress
    from intervals.language.durations import CalendarStep
    from intervals.problems import Problem
    from intervals.questions.check.findings_document import WrittenFindings
    from intervals.questions.month.month_models import MonthReport
    from intervals.readings import Readings


class CheckFormat(Format):
    """What `check` prints."""

    TABLE = drawn("table", "intervals.reports.check.table:findings_lines")
    JSON = written("json", "intervals.questions.check.findings_document:findings_text")
    CSV = written("csv", "intervals.reports.check.sheet:findings_csv")


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


@answers
def check(
    *,
    sites: SitesArgument,
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
    no_cache: NoCacheOption = False,
    fail_on: Annotated[
        FailOn, typer.Option("--fail-on", help="Exit with 1 if there is any of this, or of what comes before it in the list.")
    ] = FailOn.UNKNOWN,
) -> Answer:
    """Judge every task of every engine of a site.

    Reads site.yaml, the operating log and the service records. The table begins with what needs doing, the most urgent first:
    the status of each task, how much it is past its line or how much is left, when it is due, and why. Tasks in interval are counted;
    --all shows them too. Below that: what was skipped, and what is wrong in the data. JSON and CSV always hold every task.

    Of several sites, or a folder that holds sites, there is one table with a row for each, and below it what is most urgent in all of
    them. --engine and --task then mean those sites that have them. A site that cannot be judged says so and holds up no other.

    \b
    Exit codes:
      0  nothing of what --fail-on names
      1  something overdue, skipped and still open, or unknown (or what --fail-on says instead)
      2  cannot judge, or not every site or task; every problem is listed on standard error, a failure of the inference engine as a fault

    \b
    Examples:
      intervals check sample_logs/brackwater --as-of 2026-10-31
      intervals check my-site --due P14D
      intervals check my-site --month 2026-10 --format json --output october.json
      intervals check sample_logs --as-of 2026-10-31
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.date_arguments import read_calendar_end
    from intervals.questions.sites.site_folders import sites_meant

    meant = sites_meant(sites)
    if meant.are_several:
        from intervals.cli.common.check_sites import SitesAsked, SitesFiles, check_sites
        from intervals.cli.common.problem_collector import ProblemCollector

        asked_of_all = SitesAsked(as_of, month, ruleset, engine, task, jobs)
        shown = partial(_read_shown, output_format, show_all, due, group, calendar_until)
        connect = None if cluster is None else partial(connected_workers, cluster)
        typed = ProblemCollector(ruleset)
        files = SitesFiles(output, html, xlsx, ics)
        return check_sites(
            meant.folders, asked_of_all, files, typed, shown, connect=connect, exit_code_of=partial(exit_code_of, fail_on=fail_on)
        )
    site = meant.folders[0]
    asked = SiteRequest(site, as_of=as_of, month=month, ruleset=ruleset, engine=engine, task=task, writes=[output, html, xlsx, ics])
    span = asked.read(_span_of, due, output_format, show_all=show_all)
    until = asked.read(read_calendar_end, calendar_until)
    asked.load()
    beside = [option for option, given in (("--html", html), ("--jobs", jobs)) if given is not None and cluster is not None]
    asked.problems.note(map(_cluster_beside, beside))
    with ExitStack() as held, progress_bar() as progress:
        workers = None if cluster is None or beside else asked.read(lambda: held.enter_context(connected_workers(cluster)))
        asked.refuse()
        if html is None:
            is_text = output_format is CheckFormat.JSON and workers is None and not (xlsx or ics or has_plan(asked))
            report, findings = None, _found(asked, month, jobs, workers, progress, is_text=is_text)
        else:
            report, findings = _month(asked, month, progress)
    # a task that was asked for by name is shown however it stands
    drawing = _drawing(findings, asked, site, output_format, shows_all=show_all or bool(asked.tasks), span=span)
    answer = output_format.answer(findings, output=output, exit_code=exit_code_of(findings, fail_on), group=group.value, **drawing)
    return answer._replace(beside=_beside(findings, report, asked, html, xlsx, ics, until))


def _read_shown(
    output_format: CheckFormat, show_all: bool, due: str | None, group: GroupBy, calendar_until: str | None, typed: ProblemCollector
) -> SitesShown:
    """Return how the answer of several sites is shown; note what is wrong with what was typed."""
    from intervals.cli.common.check_sites import SitesFormat, SitesShown
    from intervals.cli.common.date_arguments import read_calendar_end
    from intervals.problems import Problem

    if group is not GroupBy.ENGINE:
        text = "--group cannot be used with several sites: their table has a row for each site"
        typed.note([Problem("CLI144", "--group", None, None, text, "leave it out, or check one site")])
    span = typed.collect(_span_of, due, output_format, show_all=show_all)
    until = typed.collect(read_calendar_end, calendar_until)
    return SitesShown(SitesFormat[output_format.name], show_all, span, until)


def _span_of(due: str | None, output_format: CheckFormat, *, show_all: bool) -> CalendarStep | None:
    """Return the span that --due names; refuse one that cannot be read, or that is to no purpose beside other options."""
    from intervals.language.durations import DurationProblemError, parse_step
    from intervals.problems import Problem, RequestProblemError

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


def _findings(asked: SiteRequest, month: str | None, jobs: int | None, workers: Workers | None, progress: Progress | None) -> Findings:
    """Return the findings; the log is read while the judge is loaded."""
    with _log_ahead(asked, jobs, workers) as ahead:
        from intervals.questions.check.assess import assess_site

        return assess_site(
            asked.site, asked.moment, **asked.judging, ahead=ahead, month=month, jobs=jobs, workers=workers, progress=progress
        )


def _found(
    asked: SiteRequest, month: str | None, jobs: int | None, workers: Workers | None, progress: Progress | None, *, is_text: bool
) -> Findings | WrittenFindings:
    """Return the findings; where only their document is asked for and no file is another one, the document that was kept."""
    if not is_text:
        return with_plan(_findings(asked, month, jobs, workers, progress), asked)
    from intervals.questions.check.kept_document import KeptDocument

    def judge() -> Findings | WrittenFindings:
        return _written(asked, jobs, progress) if month is None else _findings(asked, month, jobs, workers, progress)

    judging = asked.judging
    # a document of some engines is made as soon as it is found
    kept = None if asked.engines else KeptDocument.of(asked.site, asked.moment, asked.now_us, judging["ruleset"], judging["tasks"], month)
    return judge() if kept is None else kept.found(judge)


def _written(asked: SiteRequest, jobs: int | None, progress: Progress | None) -> WrittenFindings:
    """Return the document of the findings, where nothing else is wanted of them."""
    with _log_ahead(asked, jobs, None) as ahead:
        from intervals.questions.check.assess import assess_as_text

        return assess_as_text(asked.site, asked.moment, **asked.judging, ahead=ahead, jobs=jobs, progress=progress)


def _log_ahead(asked: SiteRequest, jobs: int | None, workers: Workers | None) -> AbstractContextManager[Callable[[], Readings]]:
    """Return what reads the log in the background."""
    from intervals.cli.common.background_read import background_read

    return background_read(asked.site, asked.now_us, jobs, workers)


def _month(asked: SiteRequest, month: str | None, progress: Progress | None) -> tuple[MonthReport, Findings]:
    """Return the month's report, of which the page is made, and the findings: one judgement serves both."""
    from intervals.history.inputs import moment_of
    from intervals.questions.month.monthly import narrowed, report_month

    shown = month or moment_of(asked.site, asked.moment).last_day.isoformat()[:7]
    report = report_month(asked.site, asked.moment, shown, **asked.judging, progress=progress)
    report = report.model_copy(update={"findings": with_plan(report.findings, asked)})
    return report, narrowed(report.findings, month)


def _drawing(
    findings: Findings | WrittenFindings,
    asked: SiteRequest,
    site: Path,
    output_format: CheckFormat,
    *,
    shows_all: bool,
    span: CalendarStep | None,
) -> dict[str, Any]:
    """Return what the table shows, and how its next command is worded; nothing for what is no table."""
    from intervals.questions.check.findings_document import WrittenFindings

    if output_format is not CheckFormat.TABLE or isinstance(findings, WrittenFindings):
        return {}
    from intervals.reports.check.due_words import last_day_of
    from intervals.reports.check.table import Asked

    due_by = None if span is None else span.after(last_day_of(findings.as_of))
    return {"asked": Asked(typed_again(site), asked.options_again(), shows_all=shows_all, due_by=due_by)}


def _beside(
    findings: Findings | WrittenFindings,
    report: MonthReport | None,
    asked: SiteRequest,
    html: Path | None,
    xlsx: Path | None,
    ics: Path | None,
    until: date | CalendarStep | None,
) -> dict[Path, str | bytes]:
    """Return the files that were asked for beside what is printed."""
    from intervals.questions.check.findings_document import WrittenFindings

    made: dict[Path, str | bytes] = {}
    if isinstance(findings, WrittenFindings):
        return made
    if html is not None and report is not None:
        from intervals.questions.plan.coming_stops import coming_stops
        from intervals.reports.check.due_words import last_day_of
        from intervals.reports.month.month_files import MonthFolder, page_file

        coming = coming_stops(asked.site.folder, last_day_of(findings.as_of))
        made[html] = page_file(MonthFolder(report, asked.site.title, asked.made_at(), coming=coming))
    if xlsx is not None:
        from intervals.reports.check.workbook import findings_workbook

        made[xlsx] = findings_workbook(findings)
    if ics is not None:
        from intervals.reports.check.calendar import findings_calendar

        made[ics] = findings_calendar(findings, asked.site.title, until=until)
    return made


def _cluster_beside(option: str) -> Problem:
    """Return the problem of an option that cannot be used with --cluster."""
    fix = "leave out --jobs: the workers judge" if option == "--jobs" else "make the page without --cluster, on this machine"
    return beside_cluster(option, fix)


def exit_code_of(findings: Findings | WrittenFindings, fail_on: FailOn) -> int:
    """Return 1 where something stands at the line drawn or before it, else 0; 2 where the inference engine failed.

    Args:
        findings: what was found.
        fail_on: the line, on the scale overdue, skipped, unknown, upcoming, never.
    """
    if any(fault.kind == "inference_fault" for fault in findings.faults):
        from intervals.cli.common.print_problems import EXIT_CANNOT

        return EXIT_CANNOT
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


COMMAND = Command(check, place=10)
