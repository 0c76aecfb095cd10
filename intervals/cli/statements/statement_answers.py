"""What `intervals statement` answers: what was stated, what still holds, what was amended.

In: what was asked for. Out: an `Answer`: lines to draw, and whether everything holds. Refuses (CLI122) a rule set by which nothing was
stated.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from intervals.cli.common.clock import microseconds_of
from intervals.cli.statements.statement_chains import Chains
from intervals.cli.statements.statement_judge import StatementJudge
from intervals.cli.statements.statement_writing import Amended, Reason, amend, digest_of_text, state
from intervals.judge.months import last_day_of
from intervals.problems import Problem, RequestProblemError
from intervals.questions.month.month_wording import month_name
from intervals.reports.folding import fold_lines
from intervals.reports.lines import Line, line_of, printable
from intervals.reports.sections import warning_lines
from intervals.reports.statement.statement_text import CheckedChain, change_lines, check_lines

if TYPE_CHECKING:
    from intervals.history.inputs import Inputs, Progress
    from intervals.site.model import Site

HOUR_METER = "hour_meter_h"
Draw = Callable[[int | None], Sequence[Line]]


@dataclass(frozen=True)
class Asked:
    """What was asked for.

    Attributes:
        site: the site.
        month: `YYYY-MM`.
        ruleset: the rule set asked for, or None for all.
        now: the clock.
        command: how the command is typed for this site.
    """

    site: Site
    month: str
    ruleset: str | None
    now: datetime
    command: str

    def judge(self, last_month: str, progress: Progress | None) -> StatementJudge:
        """Return what judges the months up to one."""
        return StatementJudge(self.site, last_month, now_us=microseconds_of(self.now), asked=self.ruleset, progress=progress)

    def amend_with(self, month: str) -> str:
        """Return the command that amends a month."""
        return f"{self.command} --month {month} --amend --reason TEXT --by NAME"


@dataclass(frozen=True)
class Answer:
    """What is answered: the lines for a width, and whether every statement holds."""

    draw: Draw
    holds: bool


def stated(asked: Asked, progress: Progress | None) -> Answer:
    """State the month and say so."""
    judge = asked.judge(asked.month, progress)
    told = state(judge, Chains(asked.site), asked.month)
    engines = {engine for scope in judge.scopes for engine in scope.engines}
    told += [text for engine, text in _read_on_after(judge.inputs, asked.month) if engine in engines]
    lines = [*warning_lines(judge.inputs.warnings), *(line_of(printable(line)) for line in told)]
    return Answer(lambda width: fold_lines(lines, width), holds=True)


def _read_on_after(inputs: Inputs, month: str) -> Iterator[tuple[str, str]]:
    """Yield each engine whose hour meter was not read again since the month's end, and what follows from that."""
    end_us = inputs.site.instant_us(last_day_of(month) + timedelta(days=1))
    for index, engine in enumerate(inputs.site.engines):
        if engine.out_of_service is not None and inputs.site.instant_us(engine.out_of_service) <= end_us:
            continue
        last_us = max(_read_at_us(inputs, index), default=end_us)
        if last_us < end_us:
            read = f"{engine.id}: the hour meter was last read on {inputs.days.iso(last_us)}, before {month_name(month)} ended"
            then = "The next reading shows more of the month and will change its statement"
            yield engine.id, f"{read}. {then}: amend it then, or state a month after that reading"


def _read_at_us(inputs: Inputs, engine: int) -> Iterator[int]:
    """Yield the last reading of an engine's hour meter in each block that has one."""
    for block in inputs.readings.blocks:
        rows = block.of_engine(engine)
        read = None if rows is None else np.flatnonzero(~np.isnan(rows.values.get(HOUR_METER, np.zeros(0))))
        if rows is not None and read is not None and len(read):
            yield int(rows.at_us[read[-1]])


def verified(asked: Asked, progress: Progress | None) -> Answer:
    """Say which statements up to the month hold."""
    chains = Chains(asked.site)
    judge = asked.judge(asked.month, progress)
    checked = [CheckedChain(chain.rulesets, tuple(judge.checks(chains, chain, asked.month))) for chain in judge.chains(chains)]
    checked = [each for each in checked if each.checks]
    if not checked:
        raise _nothing_stated(asked, f"up to {asked.month}", "--verify")
    strays = chains.strays()
    broken = [check.month for chain in checked for check in chain.checks if not check.holds and not check.chain]
    amend_with = asked.amend_with(min(broken, default=asked.month))
    return Answer(
        lambda width: check_lines(checked, strays, amend_with, width=width),
        holds=all(check.holds for chain in checked for check in chain.checks),
    )


def amended(asked: Asked, reason: str, by: str, progress: Progress | None) -> Answer:
    """Amend the month, and say what changed."""
    chains = Chains(asked.site)
    judge = asked.judge(max([asked.month, *(month for chain in chains.all for month in chain.months())]), progress)
    looked_at = [chain for chain in judge.chains(chains) if chain.of_month(asked.month)]
    if not looked_at:
        raise _nothing_stated(asked, f"of {asked.month}", "--amend")
    done = amend(judge, chains, looked_at, asked.month, Reason(reason, by, asked.now.isoformat()))
    lines = [line for each in done for line in _amended_lines(asked, each, several=len(done) > 1)]
    return Answer(lambda width: fold_lines(lines, width), holds=True)


def _nothing_stated(asked: Asked, when: str, option: str) -> RequestProblemError:
    """Return the error where nothing was stated, or nothing by the rule set asked for."""
    if asked.ruleset is None:
        return RequestProblemError([Problem("CLI122", option, None, None, f"there is no statement {when}", "state the month first")])
    text = f"there is no statement by {asked.ruleset} {when}"
    fix = f"state a month by it first: leave {option} out; or leave --ruleset out to look at every rule set"
    return RequestProblemError([Problem("CLI122", "--ruleset", None, None, text, fix)])


def _amended_lines(asked: Asked, done: Amended, *, several: bool) -> list[Line]:
    """Return what was amended in one chain."""
    by = f" by {', '.join(done.chain.rulesets)}" if several else ""
    lines: list[Line] = []
    if not done.texts:
        lines.append(line_of(printable(f"nothing to amend: the statement of {month_name(asked.month)}{by} holds")))
    for month, (path, text) in done.texts.items():
        number = done.chain.of_month(month)[-1].number + 1
        follows = "" if month == asked.month else ", affected by the same change"
        told = f"{path}: amendment {number} of {month_name(month)}{by}{follows}, SHA-256 {digest_of_text(text)}"
        lines += [line_of(printable(told)), *change_lines("", done.checks[month].changes)]
    for month in done.left():
        told = f"{month}{by} does not match either, and is not amended by this; see --verify, or: {asked.amend_with(month)}"
        lines.append(line_of(printable(told)))
    return lines
