"""`intervals statement`: state a month so that it can be proved later, see whether what was stated still holds, and amend it."""

from __future__ import annotations

import unicodedata
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import RulesetOption, SiteArgument, typed_again
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from intervals.history.inputs import Progress
    from intervals.problems import Problem
    from intervals.questions.statement.statement_answers import StatementRequest

_STEERING = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Kinds of characters that steer a terminal or break a line."""


@answers
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
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head",
            metavar="CODE",
            help="With --verify: a check code that was written down when a month was stated; repeat the option for more.",
            show_default=False,
        ),
    ] = None,
    ruleset: RulesetOption = None,
) -> Answer:
    """State a month, verify what was stated, or amend it.

    Writes statements/YYYY-MM.json into the site's folder: the month's findings, SHA-256 digests of every file and rule set as they
    are, of each service record and of each engine's rows by day, and of what was stated before. Each rule set has statements of its
    own; those of a further one go to statements/RULESET/. --verify reads everything again and says which statement no longer
    matches and what changed since: a record dated back, a row of the log, a rule, a statement itself. Rows and records that came
    after a month's end do not touch its statement.

    A record that came late, such as a paper card typed after the month, is taken in with --amend. The statement stays as it is;
    statements/YYYY-MM.amended-1.json holds the new one, what changed, why, by whom and when. Later months that the same change
    touches are amended with it. --verify then says that they hold as amended.

    Each time a check code is printed. Written into a book that is kept elsewhere, it proves later, with --verify --head CODE, that
    the statements are not made anew: that one and all before it are the same.

    \b
    Exit codes:
      0  stated, amended, or nothing to amend; with --verify, every statement holds, some perhaps as amended
      1  with --verify only: a statement no longer matches
      2  cannot judge, read or write; every problem is listed on standard error

    \b
    Examples:
      intervals statement my-site --month 2026-10
      intervals statement my-site --verify
      intervals statement my-site --verify --head AAAQ-AAIA-AEAA-CAAB
      intervals statement my-site --month 2026-10 --amend --reason "paper card typed late" --by "A. Person"
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.language.months import last_day_of
    from intervals.questions.statement.check_codes import read_code
    from intervals.questions.statement.stated_months import months_stated, refuse_month

    asked = SiteRequest(site, ruleset=ruleset)
    if month is None and verify:
        month = max(months_stated(site), default=asked.now.strftime("%Y-%m"))
    asked.problems.note(_option_problems(month=month, verify=verify, amend=amend, reason=reason, by=by, head=head))
    codes = [code for typed in head or () if (code := asked.read(read_code, typed)) is not None]
    last_day = None if month is None else asked.read(last_day_of, month)
    described = asked.load()
    if month is not None and last_day is not None:
        asked.moment = last_day
        asked.read(refuse_month, described, month, asked.now_us, verify=verify, amend=amend)
    asked.refuse()
    from intervals.questions.statement.statement_answers import StatementRequest

    of_month = StatementRequest(described, str(month), ruleset, asked.now_us)
    with progress_bar() as progress:
        if verify:
            return _verified(of_month, codes, typed_again(site), progress)
        if amend:
            return _amended(of_month, str(reason), str(by), asked.now.isoformat(), typed_again(site), progress)
        return _stated(of_month, progress)


def _stated(asked: StatementRequest, progress: Progress | None) -> Answer:
    """State the month."""
    from intervals.questions.statement.statement_answers import state_now
    from intervals.reports.statement.statement_text import stated_lines

    done = state_now(asked, progress)
    return Answer(lambda width: stated_lines(done, width=width))


def _verified(asked: StatementRequest, codes: Sequence[str], site: str, progress: Progress | None) -> Answer:
    """Say which statements up to the month hold."""
    from intervals.questions.statement.statement_answers import verify
    from intervals.reports.statement.statement_text import check_lines

    found = verify(asked, codes, progress)
    return Answer(lambda width: check_lines(found, partial(_amend_with, site), width=width), exit_code=int(not found.holds))


def _amended(asked: StatementRequest, reason: str, by: str, at: str, site: str, progress: Progress | None) -> Answer:
    """Amend the month, and say what changed."""
    from intervals.questions.statement.statement_answers import amend_now
    from intervals.questions.statement.statement_writing import Reason
    from intervals.reports.statement.statement_text import amended_lines

    done = amend_now(asked, Reason(reason, by, at), progress)
    return Answer(lambda width: amended_lines(done, asked.month, partial(_amend_with, site), width=width))


def _amend_with(site: str, month: str) -> str:
    """Return the command that amends a month, as it can be typed."""
    return f"intervals statement {site} --month {month} --amend --reason TEXT --by NAME"


def _option_problems(
    *, month: str | None, verify: bool, amend: bool, reason: str | None, by: str | None, head: Sequence[str] | None
) -> Iterator[Problem]:
    """Yield what is wrong with the options beside one another."""
    from intervals.problems import Problem

    if month is None:
        yield Problem("CLI125", "--month", None, None, "it is not given", "write for example --month 2026-10")
    example = 'write for example --amend --reason "paper card typed late" --by "A. Person"'
    if head and not verify:
        yield Problem("CLI125", "--head", None, None, "it can be used only with --verify", "leave it out, or add --verify")
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


COMMAND = Command(statement, place=80)
