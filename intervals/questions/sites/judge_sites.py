"""Several sites judged in one call, each in a process of its own, so that none holds up the others.

In: the folders of sites, and what judges one. Out: `SitesFindings`. Refuses nothing: a site that cannot be judged says so in its answer,
be it that its files are wrong, that the program fails on them, or that its process is ended from outside.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from intervals.findings import Findings
from intervals.history.inputs import Progress
from intervals.problems import Problem, ProblemsError, RequestProblemError
from intervals.processes import LostProcessError, each_in_its_process, processes_for, processors
from intervals.questions.sites.sites_models import SiteAnswer, SiteProblem, SitesFindings

LOST, FAILED, UNFITTED = "CLI142", "CLI143", "CLI015"
CODES = {"--engine": "CLI010", "--task": "CLI011"}


class SiteFound(NamedTuple):
    """What judging one site gives.

    Attributes:
        title: what people call it.
        engines: how many engines and components it has, or how many were asked for.
        findings: what was found; None where it has nothing of what was asked for by name.
        names: of the names that were asked for, those that it has.
    """

    title: str
    engines: int
    findings: Findings | None
    names: frozenset[str] = frozenset()


def judge_sites(  # noqa: PLR0913 - what is judged, how it is shared
    folders: Sequence[Path],
    judge: Callable[[Path], SiteFound],
    *,
    names: Sequence[tuple[str, str]] = (),
    jobs: int | None = None,
    is_shared: bool = True,
    progress: Progress | None = None,
) -> SitesFindings:
    """Return what is found of several sites, in their order; those that have nothing of what was asked for by name are left out.

    Args:
        folders: of the sites.
        judge: judges one; what it raises becomes the problems of that site.
        names: engines and tasks that were asked for, each behind its option; every one must be known to some site.
        jobs: how many sites are judged at once; None: as many as processors.
        is_shared: whether other processes judge; one that is connected to a cluster does it itself.
        progress: called with a few words and the share done.

    Raises:
        RequestProblemError: a name that no site has, or nothing that was asked for is at any site.
    """
    at_once = processes_for(len(folders), jobs or processors())
    answers: dict[int, SiteAnswer | None] = {}
    known: set[str] = set()
    outcomes = each_in_its_process(judge, folders, at_once) if is_shared else _one_by_one(judge, folders)
    for number, outcome in outcomes:
        answers[number] = _answer(folders[number], outcome)
        known |= frozenset() if isinstance(outcome, Exception) else outcome.names
        if progress:
            progress(f"judging {len(folders):,} sites", len(answers) / len(folders))
    of_some = [answer for number in range(len(folders)) if (answer := answers[number]) is not None]
    _refuse_unknown(names, known, of_some)
    return SitesFindings.of(of_some)


def _refuse_unknown(names: Sequence[tuple[str, str]], known: Collection[str], answers: Sequence[SiteAnswer]) -> None:
    """Refuse names that no site has; sites that could not be read might have had them, but then nothing else is wrong."""
    fix = "look at `intervals log SITE` for engines, at `intervals rules show` for tasks"
    problems = [
        Problem(CODES[option], option, None, None, f'"{name}" is at none of these sites', fix)
        for option, name in names
        if name not in known
    ]
    if names and not problems and not answers:
        problems = [Problem(UNFITTED, names[0][0], None, None, "no site has all that was asked for", "ask for less at once")]
    if problems:
        raise RequestProblemError(problems)


def _one_by_one(judge: Callable[[Path], SiteFound], folders: Iterable[Path]) -> Iterator[tuple[int, SiteFound | Exception]]:
    """Yield what is found of each site, or what was raised."""
    for number, folder in enumerate(folders):
        try:
            yield number, judge(folder)
        except Exception as error:  # noqa: BLE001 - whatever it is, it is of this site alone
            yield number, error


def _answer(folder: Path, outcome: SiteFound | Exception) -> SiteAnswer | None:
    """Return the answer of one site, or None where it has nothing of what was asked for."""
    if isinstance(outcome, Exception):
        problems = tuple(map(SiteProblem.of, _problems_of(folder, outcome)))
        return SiteAnswer(folder=str(folder), title=None, engines=None, findings=None, problems=problems)
    if outcome.findings is None:
        return None
    return SiteAnswer(folder=str(folder), title=outcome.title, engines=outcome.engines, findings=outcome.findings, problems=())


def _problems_of(folder: Path, error: Exception) -> tuple[Problem, ...]:
    """Return why a site could not be judged."""
    if isinstance(error, ProblemsError):
        return error.problems
    if isinstance(error, LostProcessError | MemoryError):
        text = "the process that judged it was ended from outside, for want of memory perhaps"
        return (Problem(LOST, str(folder), None, None, text, "judge it alone, or fewer sites at once: --jobs 1"),)
    if isinstance(error, OSError):
        return (Problem("CLI111", str(error.filename or folder), None, None, error.strerror or type(error).__name__),)
    said = " ".join(str(error).split())
    text = f"an error in the program, not in your files: {type(error).__name__}: {said}"
    return (Problem(FAILED, str(folder), None, None, text, "run `intervals --debug check` on this site alone to see where"),)
