"""Statements written, and amended: a month by each rule set that it is stated by.

In: the chains of a site, and what judges them. Out: files, and what was done in words. A file that is there is never written over. Refuses
(CLI121) a month that was stated already and no longer is as it was, and (CLI126) to amend what was tampered with.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from intervals.problems import Problem, ProblemsError, RequestProblemError, error_of
from intervals.questions.statement.statement_chains import Chain, Chains
from intervals.questions.statement.statement_check import StatementCheck
from intervals.questions.statement.statement_documents import Amendment, amendment_text, statement_text
from intervals.questions.statement.statement_judge import NotJudgedError, StatementJudge
from intervals.questions.statement.statement_scopes import Scope, first_ruleset
from intervals.questions.statement.statements import Previous, state_month
from intervals.version import __version__
from intervals.writing import write_together, write_whole

_NOTHING_TO_STATE = frozenset({"CLI013", "RUL090"})
"""Codes of a rule set none of whose engines was in service yet, or none of whose tasks fits them."""


@dataclass(frozen=True)
class Reason:
    """Why a month is amended.

    Attributes:
        text: the reason.
        by: who amends.
        at: when, ISO 8601 with offset.
    """

    text: str
    by: str
    at: str


def state(judge: StatementJudge, chains: Chains, month: str) -> list[str]:
    """State a month by each rule set, and return what was done: all that can be stated is written, or nothing.

    Args:
        judge: what judges.
        chains: what was stated so far.
        month: `YYYY-MM`.

    Raises:
        ProblemsError: it was stated already and no longer is as it was (code CLI121); what the judge refuses.
    """
    lines, texts, problems, left_out = list[str](), dict[Path, str](), list[Problem](), list[Problem]()
    for scope in judge.scopes:
        try:
            line = _stated_already(judge, chains, scope, month)
            if line is None:
                path, texts[path] = _new_statement(judge, chains, scope, month)
                line = f"{path}: stated, SHA-256 {digest_of_text(texts[path])}"
            lines.append(line)
        except ProblemsError as error:
            if all(problem.code in _NOTHING_TO_STATE for problem in error.problems):
                lines.append(f"not stated by {scope.ruleset}: {error.problems[0].text}")
                left_out += error.problems
            else:
                problems += error.problems
    if problems or len(left_out) == len(judge.scopes):
        raise error_of([*problems, *left_out])
    for path, text in texts.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text)
    return lines


def _stated_already(judge: StatementJudge, chains: Chains, scope: Scope, month: str) -> str | None:
    """Return what to say of a month that a rule set was stated by already, or None; refuse one that no longer is as it was."""
    ruleset = str(scope.ruleset)
    chain = next((each for each in (chains.of(ruleset), chains.joint(ruleset)) if each is not None and each.of_month(month)), None)
    if chain is None:
        return None
    documents = chain.of_month(month)
    path = documents[-1].path
    if judge.check(chains, chain, month).holds:
        as_amended = " as amended" if documents[-1].number else ""
        together = f", with {', '.join(each for each in chain.rulesets if each != ruleset)}" if len(chain.rulesets) > 1 else ""
        return f"{path}: stated already{as_amended}{together}, and nothing has changed"
    raise RequestProblemError([_no_longer(path)])


def _no_longer(path: Path) -> Problem:
    """Return the problem of a month that was stated already and is no longer as it was."""
    found = "the month was stated already, and the files have changed since"
    fix = "see what changed with --verify; take in a record that came late with --amend --reason TEXT --by NAME"
    return Problem("CLI121", str(path), None, None, found, fix)


def _new_statement(judge: StatementJudge, chains: Chains, scope: Scope, month: str) -> tuple[Path, str]:
    """Return file and text of a statement; refuse one whose place is taken."""
    ruleset = str(scope.ruleset)
    folder = chains.folder_for(ruleset, is_first=ruleset == first_ruleset(judge.inputs))
    head = chains.head_for(ruleset)
    previous = None if head is None else head.link(beside=folder)
    path = folder / f"{month}.json"
    if path.exists():
        raise RequestProblemError([_no_longer(path)])
    statement = state_month(judge.inputs, month, scope, previous, version=__version__)
    if not (statement.findings.findings or statement.findings.skipped):
        text, fix = f"no task of {ruleset} fits {', '.join(scope.engines)}", "look at applies_to of its tasks and at what the engines state"
        raise RequestProblemError([Problem("RUL090", judge.inputs.site.file, None, "$.ruleset", text, fix)])
    return path, statement_text(statement)


@dataclass(frozen=True)
class Amended:
    """What was amended in one chain.

    Attributes:
        chain: the chain.
        texts: file and text of each amendment, by month; none where there was nothing to amend.
        checks: what became of each month of the chain.
    """

    chain: Chain
    texts: dict[str, tuple[Path, str]]
    checks: dict[str, StatementCheck]

    def left(self) -> list[str]:
        """Return the months that do not hold and that are not amended."""
        return [month for month, check in self.checks.items() if not check.holds and month not in self.texts]


def amend(judge: StatementJudge, chains: Chains, looked_at: Sequence[Chain], month: str, reason: Reason) -> list[Amended]:
    """Amend a month, and every later one that the same change touches, in each chain; nothing is written if one of them is refused.

    Args:
        judge: what judges.
        chains: what was stated so far.
        looked_at: the chains to amend.
        month: `YYYY-MM`.
        reason: why, by whom and when.

    Raises:
        RequestProblemError: a statement was tampered with or cannot be judged again (code CLI126).
    """
    done = []
    for chain in looked_at:
        checks = {check.month: check for check in judge.checks(chains, chain, max(chain.months()))}
        touched = {each: checks[each] for each in _touched(checks, month)}
        problems = [
            problem for each, check in touched.items() if (problem := _cannot_amend(chain.of_month(each)[-1].path, check)) is not None
        ]
        if problems:
            raise RequestProblemError(problems)
        done.append(Amended(chain, _amendments(judge, chains, chain, touched, reason), checks))
    folders: dict[Path, dict[str, str]] = {}
    for path, text in (entry for each in done for entry in each.texts.values()):
        if path.exists():
            raise RequestProblemError([Problem("CLI126", str(path), None, None, "a file of that name exists already", "move it away")])
        folders.setdefault(path.parent, {})[path.name] = text
    for folder, files in folders.items():
        write_together(folder, files)
    return done


def _touched(checks: dict[str, StatementCheck], month: str) -> Iterator[str]:
    """Yield the month to amend, and those after it that the same change touches."""
    first = checks[month]
    if first.holds:
        return
    for later, check in checks.items():
        if later == month or (later > month and not check.changes.are_none and check.changes.are_within(first.changes)):
            yield later


def _cannot_amend(path: Path, check: StatementCheck) -> Problem | None:
    """Return what keeps a month from being amended: an amendment is for what the site's files say, not for a statement that was edited."""
    if not check.chain:
        return None
    return Problem("CLI126", str(path), None, None, check.chain[0], "put the file back as it was; only then can a late record be taken in")


def _amendments(
    judge: StatementJudge, chains: Chains, chain: Chain, checks: dict[str, StatementCheck], reason: Reason
) -> dict[str, tuple[Path, str]]:
    """Return file and text of the amendment of each month; each follows the one before it."""
    head = chains.head_of(chain)
    texts: dict[str, tuple[Path, str]] = {}
    first: str | None = None
    previous: Previous | None = None
    for month, check in checks.items():
        last = chain.of_month(month)[-1]
        folder = last.path.parent
        path = folder / f"{month}.amended-{last.number + 1}.json"
        try:
            _, statement = judge.now(chain, last.written.stated, last.written.stated.previous)
        except (NotJudgedError, ProblemsError) as error:
            why = error.problems[0].text if isinstance(error, ProblemsError) else str(error)
            raise RequestProblemError([Problem("CLI126", str(last.path), None, None, why, "put back what is gone")]) from None
        amendment = Amendment(
            number=last.number + 1,
            reason=reason.text,
            by=reason.by,
            at=reason.at,
            amends=last.link(beside=folder),
            previous=previous or (head or last).link(beside=folder),
            follows_from=first,
            changes=check.changes,
            statement=statement,
        )
        texts[month] = path, amendment_text(amendment)
        file = path.relative_to(chains.folder).as_posix()
        first = first or file
        previous = Previous(month=month, sha256=digest_of_text(texts[month][1]), file=file)
    return texts


def digest_of_text(text: str) -> str:
    """Return the digest of a file that is to be written."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
