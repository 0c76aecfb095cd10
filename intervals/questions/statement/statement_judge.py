"""What each chain of statements comes to now: its rule set found, its months judged again.

In: a site, its chains, the last month to look at. Out: `StatementCheck` values, and statements to write. Refuses what the judge refuses.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from intervals.history.inputs import Inputs, Progress
from intervals.problems import ProblemsError
from intervals.questions.input_digests import place_of_day
from intervals.questions.statement.stated import Stated, StatedAmendment
from intervals.questions.statement.stated_findings import finding_changes
from intervals.questions.statement.statement_chains import Chain, Chains
from intervals.questions.statement.statement_check import StatementCheck, check_statement, not_judged
from intervals.questions.statement.statement_documents import as_stated
from intervals.questions.statement.statement_scopes import Scope, own_ruleset, scopes_of
from intervals.questions.statement.statements import Previous, Statement, known_then, read_for, state_month
from intervals.rules.ruleset import find_ruleset, load_ruleset
from intervals.site.model import Site
from intervals.version import __version__


class NotJudgedError(Exception):
    """A statement cannot be made again, since its rule set or its engines are gone."""


class StatementJudge:
    """Judges the months of chains again; each rule set's inputs are read once.

    Args:
        site: the site.
        last_month: the last month that is looked at.
        now_us: the clock, UTC microseconds.
        asked: the rule set that was asked for, or None for those of the site.
        progress: called with a few words and the share done.
    """

    def __init__(self, site: Site, last_month: str, *, now_us: int, asked: str | None, progress: Progress | None) -> None:
        self._site, self._last_month, self._now_us, self._asked, self._progress = site, last_month, now_us, asked, progress
        own = None if asked is None else own_ruleset(site, asked)
        other = asked if own is None else None
        self.inputs = self._read(other)
        self.scopes = tuple(scope for scope in scopes_of(self.inputs, other) if own in (None, scope.ruleset))
        self._others: dict[str, tuple[Inputs, Scope]] = {}

    def chains(self, chains: Chains) -> list[Chain]:
        """Return the chains that are looked at: all of them, or the one of the rule set asked for."""
        return list(chains.all) if self._asked is None else [chain for chain in chains.all if chain.rulesets == (self.scopes[0].ruleset,)]

    def checks(self, chains: Chains, chain: Chain, last_month: str) -> Iterator[StatementCheck]:
        """Yield what became of each month of a chain; one that differs only by what an earlier month was amended for says so."""
        amended: list[StatedAmendment] = []
        for month in chain.months():
            if month <= last_month:
                check = self.check(chains, chain, month)
                yield check.following(amended)
                amended += check.amendments

    def check(self, chains: Chains, chain: Chain, month: str) -> StatementCheck:
        """Return what became of a month: of its statement, or of what it was amended to last."""
        documents = chain.of_month(month)
        stated, faults = documents[-1].written.stated, chains.faults(chain, month)
        amendments = [document.written.amendment for document in documents if document.written.amendment is not None]
        # a file that says that it is of another month stays in the month of its name
        stated = stated.model_copy(update={"month": month})
        try:
            inputs, now = self.now(chain, stated)
        except NotJudgedError as error:
            return not_judged(stated, str(error), faults, amendments)
        except ProblemsError as error:
            # files that leave nothing to judge at all were refused when they were read; this month alone cannot be judged
            return not_judged(stated, f"it cannot be judged any more: {error.problems[0].text}", faults, amendments)
        check = check_statement(stated, as_stated(now), faults, partial(place_of_day, inputs), amendments)
        if check.differs_in_findings_alone and self._holds_as_known_then(chain, stated):
            check = check.with_later_readings()
        if documents[0].written.is_sealed:
            return check
        return check.model_copy(update={"notes": (*check.notes, "stated by a former version: it carries no digest of its own content")})

    def _holds_as_known_then(self, chain: Chain, stated: Stated) -> bool:
        """Tell whether a month comes to what was stated by what was known at its end: later readings tell more of its last hours."""
        inputs, scope = self._judged_by(chain, stated)
        try:
            then = state_month(known_then(inputs, stated.month), stated.month, scope, None, version=__version__)
        except ProblemsError:
            return False
        return not any(finding_changes(stated, as_stated(then)))

    def now(self, chain: Chain, stated: Stated, previous: Previous | None = None) -> tuple[Inputs, Statement]:
        """Return the inputs that a statement is judged from, and the statement that its month comes to now.

        Args:
            chain: the chain that it is of.
            stated: the statement, as it was written or amended last.
            previous: what the new statement is to say that it followed.

        Raises:
            NotJudgedError: the rule set or the engines are gone.
        """
        inputs, scope = self._judged_by(chain, stated)
        return inputs, state_month(inputs, stated.month, scope, previous, version=__version__)

    def _read(self, asked: str | None) -> Inputs:
        """Return the inputs of the site for its own rule sets, or for another one."""
        return read_for(self._site, self._last_month, now_us=self._now_us, ruleset=asked, progress=self._progress)

    def _judged_by(self, chain: Chain, stated: Stated) -> tuple[Inputs, Scope]:
        """Return what a statement is judged from and by: the same rule set, the same engines."""
        all_engines = [unit.id for unit in self._site.judged_units]
        if len(chain.rulesets) != 1:
            if (own_ids := {scope.ruleset for scope in self.scopes}) != set(chain.rulesets):
                message = f"it was judged by {', '.join(chain.rulesets)} together, and the site uses {', '.join(map(str, own_ids))}"
                raise NotJudgedError(message)
            return self.inputs, Scope(None, None, None, tuple(all_engines))
        own = next((scope for scope in self.scopes if scope.ruleset == chain.rulesets[0]), None)
        inputs, scope = (self.inputs, own) if own is not None else self._found(chain.rulesets[0], stated.ruleset_from)
        judged = stated.engines
        if judged is None:
            # a former version named no engines: those that it found something of, and those that go by the rule set now
            judged = (*scope.engines, *stated.rows, *(entry["engine"] for entry in stated.findings.findings))
        engines = tuple(engine for engine in all_engines if engine in judged)
        if not engines:
            message = f"none of the engines that it judged is at the site any more: {', '.join(judged)}"
            raise NotJudgedError(message)
        return inputs, Scope(scope.ruleset, scope.name, scope.named, engines)

    def _found(self, ruleset: str, named: str | None) -> tuple[Inputs, Scope]:
        """Return inputs and scope of a rule set that the site does not use, found by the name that the statement keeps."""
        name = named or ruleset
        if name not in self._others:
            try:
                file = find_ruleset(name, self._site.folder)
                found = load_ruleset(file).ruleset
            except ProblemsError as error:
                message = f"rule set {ruleset} is gone or cannot be used, it was found as {name}: {error.problems[0].text}"
                raise NotJudgedError(message) from None
            if found != ruleset:
                message = f"rule set {ruleset} is gone: {name} is rule set {found} now"
                raise NotJudgedError(message)
            path = str(file.resolve())
            (scope,) = scopes_of(inputs := self._read(path), path)
            self._others[name] = inputs, Scope(ruleset, path, named or name, scope.engines)
        return self._others[name]
