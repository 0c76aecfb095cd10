"""`intervals statement`: state a month so that it can be proved later, and see whether what was stated still holds."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.options import RulesetOption, SiteArgument

if TYPE_CHECKING:
    from intervals.judge.inputs import Inputs
    from intervals.judge.statement_check import StatementCheck
    from intervals.judge.statements import Previous, Statement
    from intervals.site.model import Site


def statement(
    *,
    site: SiteArgument,
    month: Annotated[
        str,
        typer.Option("--month", metavar="YYYY-MM", help="The month to state; with --verify, the last one to look at.", show_default=False),
    ],
    verify: Annotated[bool, typer.Option("--verify", help="Write nothing: say which statements up to the month still hold.")] = False,
    ruleset: RulesetOption = None,
) -> None:
    """State a month, or see whether what was stated still holds.

    Writes statements/YYYY-MM.json into the site's folder: the month's findings, SHA-256 digests of every file and rule set as they
    are, of each service record and of each engine's rows by day, and of the statement before. --verify reads everything again and
    says which statement no longer matches and what changed since: a record dated back, a row of the log, a rule, a statement itself.
    Rows and records that came after a month's end do not touch its statement.

    \b
    Exit codes:
      0  stated; with --verify, every statement holds
      1  with --verify only: a statement no longer matches
      2  cannot judge, read or write; every problem is listed on standard error

    \b
    Examples:
      intervals statement my-site --month 2026-10
      intervals statement my-site --month 2026-10 --verify
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.gathered import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.cli.output import deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.progress import progress_told  # noqa: PLC0415 - not needed for --help
    from intervals.judge.months import last_day_of  # noqa: PLC0415 - not needed for --help
    from intervals.reports.folding import fold_lines  # noqa: PLC0415 - not needed for --help
    from intervals.reports.lines import line_of, printable  # noqa: PLC0415 - not needed for --help
    from intervals.reports.sections import warning_lines  # noqa: PLC0415 - not needed for --help
    from intervals.reports.statement_text import check_lines  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    now_us = microseconds_of(now)
    wrong = Gathered(ruleset)
    last_day = wrong.of(lambda: last_day_of(month))
    described = wrong.site_of(site)
    if last_day is not None:
        wrong.of(lambda: _check_request(described, month, now_us, verify=verify))
    wrong.refuse(described, last_day or now, now)
    from intervals.judge.statements import read_for  # noqa: PLC0415 - loads the judge only once there is a site to judge

    with progress_told() as progress:
        inputs = read_for(described, month, now_us=now_us, ruleset=ruleset, progress=progress)
        if verify:
            checks = _verify(inputs, month, ruleset)
        else:
            told = _state(inputs, month, ruleset)
    if not verify:
        deliver_lines(lambda width: fold_lines([*warning_lines(inputs.warnings), line_of(printable(told))], width))
        return
    deliver_lines(lambda width: check_lines(checks, width=width))
    raise typer.Exit(int(any(not check.holds for check in checks)))


def _check_request(site: Site, month: str, now_us: int, *, verify: bool) -> None:
    """Refuse to state a month that has not ended, and to verify where nothing was stated."""
    from datetime import timedelta  # noqa: PLC0415 - not needed for --help

    from intervals.judge.months import last_day_of  # noqa: PLC0415 - not needed for --help
    from intervals.problems import Problem, RequestProblemError  # noqa: PLC0415 - not needed for --help

    if verify and not _stated_months(site, month):
        text = f"there is no statement up to {month} in {_folder(site)}"
        raise RequestProblemError([Problem("CLI122", "--verify", None, None, text, "state a month first: leave --verify out")])
    if not verify and site.instant_us(last_day_of(month) + timedelta(days=1)) > now_us:
        raise RequestProblemError([Problem("CLI120", "--month", None, None, f"{month} has not ended", "state a month once it is over")])


def _folder(site: Site) -> Path:
    """Return the folder of the statements."""
    from intervals.site.model import STATEMENTS_FOLDER  # noqa: PLC0415 - not needed for --help

    return site.folder / STATEMENTS_FOLDER


def _stated_months(site: Site, up_to: str) -> list[str]:
    """Return the months that were stated, up to one, in order."""
    return sorted(path.stem for path in _folder(site).glob("[0-9][0-9][0-9][0-9]-[0-1][0-9].json") if path.stem <= up_to)


def _digest(path: Path) -> str:
    """Return the digest of a file's bytes."""
    from hashlib import sha256  # noqa: PLC0415 - not needed for --help

    return sha256(path.read_bytes()).hexdigest()


def _previous(site: Site, month: str) -> Previous | None:
    """Return the statement before a month."""
    from intervals.judge.statements import Previous  # noqa: PLC0415 - not needed for --help

    earlier = [stated for stated in _stated_months(site, month) if stated < month]
    return Previous(month=earlier[-1], sha256=_digest(_folder(site) / f"{earlier[-1]}.json")) if earlier else None


def _state(inputs: Inputs, month: str, ruleset: str | None) -> str:
    """Write a month's statement, and say what was done; one that is there already is never overwritten."""
    from intervals import __version__  # noqa: PLC0415 - not needed for --help
    from intervals.judge.statements import state_month  # noqa: PLC0415 - not needed for --help
    from intervals.problems import Problem, RequestProblemError  # noqa: PLC0415 - not needed for --help
    from intervals.reports.statement_text import statement_text  # noqa: PLC0415 - not needed for --help
    from intervals.writing import write_whole  # noqa: PLC0415 - not needed for --help

    folder = _folder(inputs.site)
    path = folder / f"{month}.json"
    text = statement_text(state_month(inputs, month, _previous(inputs.site, month), version=__version__, ruleset=ruleset))
    if path.exists():
        if path.read_bytes() == text.encode("utf-8"):
            return f"{path}: stated already, and nothing has changed"
        found = "the month was stated already, and the files are no longer what they were"
        fix = "see what changed with --verify; to state it anew, move the old statement away first"
        raise RequestProblemError([Problem("CLI121", str(path), None, None, found, fix)])
    folder.mkdir(exist_ok=True)
    write_whole(path, text)
    return f"{path}: stated, SHA-256 {_digest(path)}"


def _verify(inputs: Inputs, month: str, ruleset: str | None) -> list[StatementCheck]:
    """Return what became of every statement up to a month."""
    from intervals import __version__  # noqa: PLC0415 - not needed for --help
    from intervals.judge.digests import place_of_day  # noqa: PLC0415 - not needed for --help
    from intervals.judge.statement_check import check_statement  # noqa: PLC0415 - not needed for --help
    from intervals.judge.statements import state_month  # noqa: PLC0415 - not needed for --help
    from intervals.reports.statement_text import read_statement  # noqa: PLC0415 - not needed for --help

    checks = []
    for stated_month in _stated_months(inputs.site, month):
        path = _folder(inputs.site) / f"{stated_month}.json"
        stated = read_statement(path.read_text("utf-8"), str(path))
        now = state_month(inputs, stated_month, None, version=__version__, ruleset=ruleset)
        checks.append(check_statement(stated, now, _chain_faults(inputs.site, stated), partial(place_of_day, inputs)))
    return checks


def _chain_faults(site: Site, stated: Statement) -> list[str]:
    """Return what is wrong with a statement's place in the row: the one before must be the file that it followed."""
    before = stated.previous
    if before is None:
        return []
    path = _folder(site) / f"{before.month}.json"
    if not path.is_file():
        return [f"the statement of {before.month}, which it followed, is gone"]
    return [] if _digest(path) == before.sha256 else [f"the statement of {before.month} is not the file that it followed"]
