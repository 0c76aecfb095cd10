"""`intervals check` of several sites: what was typed is refused once, then each site is judged by itself.

In: folders of sites and what was typed. Out: an `Answer` of all of them. Refuses (ProblemsError) what is wrong with the command line; what
is wrong with a site is said of that site.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, ExitStack, suppress
from datetime import date, datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from intervals.cli.common.clock import read_clock, shown_moment
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.output import Answer
from intervals.cli.common.planned import with_plan
from intervals.cli.common.problem_collector import ProblemCollector
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from intervals.cluster import Workers
    from intervals.findings import Findings
    from intervals.language.durations import CalendarStep
    from intervals.questions.sites.judge_sites import SiteFound
    from intervals.questions.sites.sites_models import SitesFindings

_UNFITTED, _OUTPUT = "CLI015", "CLI110"


class SitesFormat(Format):
    """What `check` prints of several sites."""

    TABLE = drawn("table", "intervals.reports.sites.sites_table:sites_lines")
    JSON = written("json", "intervals.questions.sites.sites_document:sites_text")
    CSV = written("csv", "intervals.reports.sites.sites_sheets:sites_csv")


class SitesAsked(NamedTuple):
    """What was typed about all sites; the fields are the options of `check`."""

    as_of: str | None
    month: str | None
    ruleset: str | None
    engine: Sequence[str] | None
    task: Sequence[str] | None
    jobs: int | None


class SitesFiles(NamedTuple):
    """The files to write; None where there is none."""

    output: Path | None
    html: Path | None
    xlsx: Path | None
    ics: Path | None


class SitesShown(NamedTuple):
    """How it is shown: the form, whether all tasks are, the span of those that fall due, how far a calendar reaches."""

    output_format: SitesFormat
    shows_all: bool
    span: CalendarStep | None
    calendar_until: date | CalendarStep | None


def check_sites(
    folders: Sequence[Path],
    asked: SitesAsked,
    files: SitesFiles,
    typed: ProblemCollector,
    read_shown: Callable[[ProblemCollector], SitesShown],
    *,
    connect: Callable[[], AbstractContextManager[Workers]] | None,
    exit_code_of: Callable[[Findings], int],
) -> Answer:
    """Return the answer of several sites.

    Args:
        folders: of the sites.
        asked: what was typed.
        files: what is written.
        typed: what is wrong so far.
        read_shown: reads how it is shown, and notes what is wrong with that.
        connect: connects to the workers of a cluster, which share the engines of one site after the other; None where there are none.
        exit_code_of: gives the exit code of one site that was judged.

    Raises:
        ProblemsError: what is wrong with the command line.
    """
    from intervals.cli.common.print_problems import EXIT_CANNOT

    now = read_clock()
    shown = read_shown(typed)
    _refuse_typed(asked, files, typed, now)
    from intervals.questions.sites.judge_sites import judge_sites

    _warm_up(folders[0])
    with ExitStack() as held, progress_bar() as progress:
        workers = None if connect is None else held.enter_context(connect())
        found = judge_sites(
            folders,
            lambda folder: _judge_site(folder, asked, files, now, workers),
            names=[*(("--engine", name) for name in asked.engine or ()), *(("--task", name) for name in asked.task or ())],
            jobs=asked.jobs,
            is_shared=workers is None,
            progress=progress,
        )
    _say_problems(found)
    code = max([EXIT_CANNOT if found.not_judged else 0, *(exit_code_of(findings) for _, findings in found.judged)])
    answer = shown.output_format.answer(found, output=files.output, exit_code=code, **_drawing(found, asked, shown))
    return answer._replace(beside=_beside(found, files, shown, now))


def _refuse_typed(asked: SitesAsked, files: SitesFiles, typed: ProblemCollector, now: datetime) -> None:
    """Refuse what is wrong whatever the sites are."""
    from intervals.cli.common.date_arguments import date_of_judging
    from intervals.cli.common.output_guards import guard_files, guard_places
    from intervals.rules.ruleset import find_ruleset, load_ruleset

    typed.collect(date_of_judging, asked.as_of, asked.month, now)
    typed.collect(guard_places, *files)
    typed.collect(guard_files, [], *files)
    if asked.ruleset is not None:
        typed.collect(lambda: load_ruleset(find_ruleset(asked.ruleset or "", Path.cwd())))
    typed.refuse_alone()


def _warm_up(folder: Path) -> None:
    """Load what every site needs before there are processes that would each load it: modules, and models that are built when first used."""
    from intervals.documents import Frozen
    from intervals.problems import ProblemsError
    from intervals.rules.ruleset import find_ruleset, load_ruleset
    from intervals.site.model import load_site

    import_module("intervals.questions.check.assess")
    for model in Frozen.__subclasses__():
        model.model_rebuild()
    # whatever is wrong with the site is said where it is judged
    with suppress(ProblemsError, OSError):
        site = load_site(folder)
        for name in site.rulesets:
            load_ruleset(find_ruleset(name, site.folder))


def _judge_site(folder: Path, asked: SitesAsked, files: SitesFiles, now: datetime, workers: Workers | None) -> SiteFound:
    """Return what is found of one site."""
    from intervals.cli.common.background_read import background_read
    from intervals.problems import RequestProblemError
    from intervals.questions.check.assess import assess_site
    from intervals.questions.sites.judge_sites import SiteFound

    request = SiteRequest(
        folder, as_of=asked.as_of, month=asked.month, ruleset=asked.ruleset, engine=asked.engine, task=asked.task, writes=files, now=now
    )
    site = request.load()
    known = {unit.id for unit in site.judged_units}
    names = _names_here(request, asked, known)
    request.engines = tuple(each for each in request.engines if each in known)
    request.tasks = tuple(each for each in request.tasks if each in names.tasks)
    request.refuse()
    has_none = SiteFound(site.title, 0, None, names.typed)
    if (asked.engine and not request.engines) or (asked.task and not request.tasks):
        return has_none
    try:
        with background_read(site, request.now_us, 1, workers) as ahead:
            findings = assess_site(
                site,
                request.moment,
                **request.judging,
                ahead=ahead,
                month=asked.month,
                jobs=1 if workers is None else None,
                workers=workers,
            )
    except RequestProblemError as error:
        if {problem.code for problem in error.problems} == {_UNFITTED}:
            return has_none
        raise
    return SiteFound(site.title, len(request.engines) or len(known), with_plan(findings, request), names.typed)


class _NamesHere(NamedTuple):
    """The tasks that a site has, and which names were typed that it has."""

    tasks: frozenset[str]
    typed: frozenset[str]


def _names_here(request: SiteRequest, asked: SitesAsked, engines: set[str]) -> _NamesHere:
    """Return which of what was asked for by name a site has."""
    from intervals.cli.common.ids import engine_ids, known_tasks, task_ids

    tasks = known_tasks(request.site, asked.ruleset) if asked.task else frozenset()
    typed = {name for name in asked.engine or () if set(engine_ids(request.site, [name])) & engines}
    typed |= {name for name in asked.task or () if set(task_ids(request.site, [name], asked.ruleset)) & tasks}
    return _NamesHere(tasks, frozenset(typed))


def _say_problems(found: SitesFindings) -> None:
    """Say on standard error why sites cannot be judged; refuse all where a file would be written over that a site is judged by.

    Raises:
        RequestProblemError: an output is an input (code CLI110).
    """
    from intervals.cli.common.print_problems import write_problems
    from intervals.problems import Problem, RequestProblemError

    problems = [
        Problem(each.code, each.file, each.line, each.path, each.text, each.fix) for site in found.not_judged for each in site.problems
    ]
    over = [problem for problem in problems if problem.code == _OUTPUT]
    if over:
        raise RequestProblemError(dict.fromkeys(over))
    if problems:
        write_problems(problems)


def _drawing(found: SitesFindings, asked: SitesAsked, shown: SitesShown) -> dict[str, object]:
    """Return what the table shows, and how its next command is worded; nothing for what is no table."""
    if shown.output_format is not SitesFormat.TABLE:
        return {}
    from intervals.cli.common.date_arguments import date_of_judging
    from intervals.reports.check.due_words import last_day_of
    from intervals.reports.sites.sites_table import AskedOfSites

    judged_at = asked.as_of or (date_of_judging(None, asked.month, read_clock()).isoformat() if asked.month else None)
    again = (*(["--as-of", judged_at] if judged_at else []), *(["--ruleset", asked.ruleset] if asked.ruleset else []))
    due_by = None if shown.span is None or found.as_of is None else shown.span.after(last_day_of(found.as_of))
    return {"asked": AskedOfSites(again, shows_all=shown.shows_all or bool(asked.task), due_by=due_by)}


def _beside(found: SitesFindings, files: SitesFiles, shown: SitesShown, now: datetime) -> dict[Path, str | bytes]:
    """Return the files that were asked for beside what is printed."""
    made: dict[Path, str | bytes] = {}
    if files.html is not None:
        from zoneinfo import ZoneInfo

        from intervals.reports.sites.sites_page import sites_page
        from intervals.version import __version__

        made[files.html] = sites_page(found, made_at=shown_moment(now, ZoneInfo("UTC")), version=__version__)
    if files.xlsx is not None:
        from intervals.reports.sites.sites_sheets import sites_workbook

        made[files.xlsx] = sites_workbook(found)
    if files.ics is not None:
        from intervals.reports.check.calendar import calendar_of
        from intervals.shown_numbers import count_of

        several = [findings for _, findings in found.judged]
        made[files.ics] = calendar_of(several, count_of(len(several), "site"), until=shown.calendar_until)
    return made
