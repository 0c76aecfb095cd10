"""What `intervals statement` answers: what was stated, what still holds, what was amended.

In: what was asked for. Out: what was stated, checked, amended; `reports/statement/` words it. Refuses (CLI122) a rule set by
which nothing was stated.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import NamedTuple

import numpy as np

from intervals.findings import RecordsWarning
from intervals.history.inputs import Inputs, Progress
from intervals.language.months import last_day_of
from intervals.problems import Problem, RequestProblemError
from intervals.questions.month.month_wording import month_name
from intervals.questions.statement.chain_heads import Heads, head_faults, lost_chains, read_heads, refuse_shortened, write_heads
from intervals.questions.statement.check_codes import check_code
from intervals.questions.statement.statement_chains import Chain, Chains
from intervals.questions.statement.statement_check import StatementCheck
from intervals.questions.statement.statement_judge import StatementJudge
from intervals.questions.statement.statement_writing import Amended, Reason, amend, state
from intervals.site.model import Site

HOUR_METER = "hour_meter_h"


class StatementRequest(NamedTuple):
    """What was asked for.

    Attributes:
        site: the site.
        month: `YYYY-MM`.
        ruleset: the rule set asked for, or None for all.
        now_us: the clock, UTC microseconds.
    """

    site: Site
    month: str
    ruleset: str | None
    now_us: int

    def judge(self, last_month: str, progress: Progress | None) -> StatementJudge:
        """Return what judges the months up to one."""
        return StatementJudge(self.site, last_month, now_us=self.now_us, asked=self.ruleset, progress=progress)


class StatedMonth(NamedTuple):
    """What was stated.

    Attributes:
        warnings: what is doubtful in what was read.
        lines: what was done, a sentence for each rule set, and what later readings will change.
    """

    warnings: Sequence[RecordsWarning]
    lines: Sequence[str]


class CheckedChain(NamedTuple):
    """The checks of one chain, with the rule sets that its statements are by, and the check code of its last document."""

    rulesets: tuple[str, ...]
    checks: Sequence[StatementCheck]
    code: str | None = None

    @property
    def is_joint(self) -> bool:
        """Whether a former version stated several rule sets together."""
        return len(self.rulesets) > 1

    @property
    def title(self) -> str:
        """What the chain is called."""
        named = ", ".join(self.rulesets)
        return f"rule sets {named} (stated together by a former version)" if self.is_joint else f"rule set {named}"


class Verified(NamedTuple):
    """What became of the statements up to a month.

    Attributes:
        chains: the checks of each chain.
        strays: files beside the statements that are none.
        amend: the month to amend first.
        lost: chains of which nothing is left.
        codes: each check code that was given, with the file whose code it is; None where no statement has it.
    """

    chains: Sequence[CheckedChain]
    strays: Sequence[str]
    amend: str
    lost: Sequence[str] = ()
    codes: Sequence[tuple[str, str | None]] = ()

    @property
    def holds(self) -> bool:
        """Whether every statement holds, none is missing, and each check code that was given is that of one."""
        every = all(check.holds for chain in self.chains for check in chain.checks)
        return every and not self.lost and all(file is not None for _, file in self.codes)


def state_now(asked: StatementRequest, progress: Progress | None) -> StatedMonth:
    """State the month by each rule set asked for, and return what was done.

    Raises:
        ProblemsError: it was stated already and no longer is as it was (code CLI121); what the judge refuses.
    """
    judge = asked.judge(asked.month, progress)
    chains = Chains(asked.site)
    refuse_shortened(chains)
    lines = state(judge, chains, asked.month)
    lines += _code_lines(write_heads(asked.site), [str(scope.ruleset) for scope in judge.scopes])
    engines = {engine for scope in judge.scopes for engine in scope.engines}
    lines += [text for engine, text in _read_on_after(judge.inputs, asked.month) if engine in engines]
    return StatedMonth(judge.inputs.warnings, lines)


def _code_lines(chains: Chains, rulesets: Sequence[str]) -> Iterator[str]:
    """Yield the check code of what was stated last by each rule set."""
    for ruleset in rulesets:
        head = chains.head_for(ruleset)
        if head is not None:
            by = f" by {ruleset}" if len(rulesets) > 1 else ""
            yield f"check code of all that was stated{by} up to {head.file}: {check_code(head.digest)}"
    yield "write it into a book that is kept elsewhere; later: intervals statement SITE --verify --head CODE"


def verify(asked: StatementRequest, codes: Sequence[str], progress: Progress | None) -> Verified:
    """Return which statements up to the month hold.

    Args:
        asked: what was asked for.
        codes: check codes that somebody has written down.
        progress: called with a few words and the share done.

    Raises:
        RequestProblemError: nothing was stated, or nothing by the rule set asked for (code CLI122).
    """
    chains = Chains(asked.site)
    heads = read_heads(chains.folder)
    judge = asked.judge(asked.month, progress)
    checked = [_checked(judge, chains, chain, asked.month, heads) for chain in judge.chains(chains)]
    checked = [each for each in checked if each.checks]
    lost = lost_chains(chains, heads) if asked.ruleset is None else []
    if not checked and not lost:
        raise _nothing_stated(asked, f"up to {asked.month}", "--verify")
    files = {check_code(document.digest): document.file for chain in chains.all for document in chain.documents}
    known = [(code, files.get(code)) for code in codes]
    broken = [check.month for chain in checked for check in chain.checks if not check.holds and not check.chain]
    return Verified(checked, chains.strays(), min(broken, default=asked.month), lost, known)


def _checked(judge: StatementJudge, chains: Chains, chain: Chain, month: str, heads: Heads | None) -> CheckedChain:
    """Return the checks of one chain; what is missing at its end is said of the last one."""
    checks = list(judge.checks(chains, chain, month))
    missing = tuple(head_faults(chain, heads))
    if checks and missing:
        checks[-1] = checks[-1].model_copy(update={"chain": (*checks[-1].chain, *missing)})
    last = chains.head_of(chain)
    return CheckedChain(chain.rulesets, tuple(checks), None if last is None else check_code(last.digest))


def amend_now(asked: StatementRequest, reason: Reason, progress: Progress | None) -> list[Amended]:
    """Amend the month in each chain that has it, and return what changed.

    Raises:
        RequestProblemError: nothing was stated, or nothing by the rule set asked for (code CLI122); a statement that was tampered with or
            cannot be judged again (code CLI126).
    """
    chains = Chains(asked.site)
    judge = asked.judge(max([asked.month, *(month for chain in chains.all for month in chain.months())]), progress)
    looked_at = [chain for chain in judge.chains(chains) if chain.of_month(asked.month)]
    if not looked_at:
        raise _nothing_stated(asked, f"of {asked.month}", "--amend")
    refuse_shortened(chains)
    done = amend(judge, chains, looked_at, asked.month, reason)
    write_heads(asked.site)
    return done


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


def _nothing_stated(asked: StatementRequest, when: str, option: str) -> RequestProblemError:
    """Return the error where nothing was stated, or nothing by the rule set asked for."""
    if asked.ruleset is None:
        return RequestProblemError([Problem("CLI122", option, None, None, f"there is no statement {when}", "state the month first")])
    text = f"there is no statement by {asked.ruleset} {when}"
    fix = f"state a month by it first: leave {option} out; or leave --ruleset out to look at every rule set"
    return RequestProblemError([Problem("CLI122", "--ruleset", None, None, text, fix)])
