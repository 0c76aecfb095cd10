"""`intervals statement`: state a month so that it can be proved later, see whether what was stated still holds, and amend it."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.options import RulesetOption, SiteArgument, typed_again

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from intervals.problems import Problem
    from intervals.site.model import Site

_STEERING = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Kinds of characters that steer a terminal or break a line."""
_STATEMENT = "[0-9][0-9][0-9][0-9]-[0-1][0-9]*.json"
_MONTH_LENGTH = 7


def statement(
    *,
    site: SiteArgument,
    month: Annotated[
        str | None,
        typer.Option(
            "--month",
            metavar="YYYY-MM",
            help="The month to state or amend; with --verify, the last one to look at, by default the last one stated.",
            show_default=False,
        ),
    ] = None,
    verify: Annotated[bool, typer.Option("--verify", help="Write nothing: say which statements up to the month still hold.")] = False,
    amend: Annotated[
        bool, typer.Option("--amend", help="Take in what changed since the month was stated, for example a record that came late.")
    ] = False,
    reason: Annotated[
        str | None, typer.Option("--reason", metavar="TEXT", help="Why it is amended; only with --amend.", show_default=False)
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who amends it; only with --amend.", show_default=False)] = None,
    ruleset: RulesetOption = None,
) -> None:
    """State a month, verify what was stated, or amend it.

    Writes statements/YYYY-MM.json into the site's folder: the month's findings, SHA-256 digests of every file and rule set as they
    are, of each service record and of each engine's rows by day, and of what was stated before. Each rule set has statements of its
    own; those of a further one go to statements/RULESET/. --verify reads everything again and says which statement no longer
    matches and what changed since: a record dated back, a row of the log, a rule, a statement itself. Rows and records that came
    after a month's end do not touch its statement.

    A record that came late, such as a paper card typed after the month, is taken in with --amend. The statement stays as it is;
    statements/YYYY-MM.amended-1.json holds the new one, what changed, why, by whom and when. Later months that the same change
    touches are amended with it. --verify then says that they hold as amended.

    \b
    Exit codes:
      0  stated, amended, or nothing to amend; with --verify, every statement holds, some perhaps as amended
      1  with --verify only: a statement no longer matches
      2  cannot judge, read or write; every problem is listed on standard error

    \b
    Examples:
      intervals statement my-site --month 2026-10
      intervals statement my-site --verify
      intervals statement my-site --month 2026-10 --amend --reason "paper card typed late" --by "A. Person"
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.progress import progress_told  # noqa: PLC0415 - not needed for --help
    from intervals.judge.months import last_day_of  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    now_us = microseconds_of(now)
    wrong = Gathered(ruleset)
    if month is None and verify:
        month = max(_months_stated(site), default=now.strftime("%Y-%m"))
    asked_month = month or ""
    wrong.note(_option_problems(month=month, verify=verify, amend=amend, reason=reason, by=by))
    last_day = None if month is None else wrong.of(lambda: last_day_of(asked_month))
    described = wrong.site_of(site)
    if last_day is not None:
        wrong.of(lambda: _check_request(described, asked_month, now_us, verify=verify, amend=amend))
    wrong.refuse(described, last_day or now, now)
    from intervals.cli.statements.statement_answers import Asked, amended, stated, verified  # noqa: PLC0415 - loads the judge, once there is a site

    asked = Asked(described, asked_month, ruleset, now, f"intervals statement {typed_again(site)}")
    with progress_told() as progress:
        if verify:
            answer = verified(asked, progress)
        elif amend:
            answer = amended(asked, str(reason), str(by), progress)
        else:
            answer = stated(asked, progress)
    deliver_lines(answer.draw)
    raise typer.Exit(int(not answer.holds))


def _months_stated(folder: Path) -> list[str]:
    """Return the months of all statements of a site, by the names of their files."""
    from intervals.site.model import STATEMENTS_FOLDER  # noqa: PLC0415 - not needed for --help

    statements = folder / STATEMENTS_FOLDER
    return [path.name[:_MONTH_LENGTH] for path in (*statements.glob(_STATEMENT), *statements.glob(f"*/{_STATEMENT}"))]


def _option_problems(*, month: str | None, verify: bool, amend: bool, reason: str | None, by: str | None) -> Iterator[Problem]:
    """Yield what is wrong with the options beside one another."""
    from intervals.problems import Problem  # noqa: PLC0415 - not needed for --help

    if month is None:
        yield Problem("CLI125", "--month", None, None, "it is not given", "write for example --month 2026-10")
    example = 'write for example --amend --reason "paper card typed late" --by "A. Person"'
    if verify and amend:
        yield Problem("CLI125", "--amend", None, None, "--verify writes nothing, and --amend writes", "leave one of them out")
    for option, text in (("--reason", reason), ("--by", by)):
        if text is None and amend:
            yield Problem("CLI125", option, None, None, "it is missing; an amendment must say why and by whom", example)
        elif text is not None and not amend:
            yield Problem("CLI125", option, None, None, "it can be used only with --amend", "leave it out, or add --amend")
        elif text is not None and not text.strip():
            yield Problem("CLI125", option, None, None, "it is empty", example)
        elif text is not None and any(unicodedata.category(character) in _STEERING for character in text):
            yield Problem("CLI125", option, None, None, "it holds control characters; one line of plain text is expected", example)


def _check_request(site: Site, month: str, now_us: int, *, verify: bool, amend: bool) -> None:
    """Refuse to state a month that has not ended, and to verify or amend where nothing was stated."""
    from datetime import timedelta  # noqa: PLC0415 - not needed for --help

    from intervals.judge.months import last_day_of  # noqa: PLC0415 - not needed for --help
    from intervals.problems import Problem, RequestProblemError  # noqa: PLC0415 - not needed for --help
    from intervals.site.model import STATEMENTS_FOLDER  # noqa: PLC0415 - not needed for --help

    folder = site.folder / STATEMENTS_FOLDER
    names = _months_stated(site.folder)
    if verify and not any(name <= month for name in names):
        text = f"there is no statement up to {month} in {folder}"
        raise RequestProblemError([Problem("CLI122", "--verify", None, None, text, "state a month first: leave --verify out")])
    if amend and month not in names:
        text = f"there is no statement of {month} in {folder}"
        raise RequestProblemError([Problem("CLI122", "--amend", None, None, text, "state the month first: leave --amend out")])
    if not verify and not amend and site.instant_us(last_day_of(month) + timedelta(days=1)) > now_us:
        raise RequestProblemError([Problem("CLI120", "--month", None, None, f"{month} has not ended", "state a month once it is over")])
