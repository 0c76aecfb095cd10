"""What was found of some engines, in a form that can be joined with what was found of others, here or in another process.

In: findings and their like, as they are found. Out: a `JudgedSoFar`, and faults and rule sets as they are printed. It pickles as plain text
and values: models are checked once more where they arrive, which is quicker than pickling each of them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from intervals.faults import Fault
from intervals.findings import Finding, Found, RuleSetUsed, Skipped
from intervals.judge.budget_site import SiteShare
from intervals.occurrences import Occurrence
from intervals.rules.ruleset import RuleSet


@dataclass
class JudgedSoFar:
    """What has been found so far.

    Attributes:
        faults: what is wrong with the data.
        findings: by engine, then task.
        skipped: occurrences that were never done, or not as they should be.
        occurrences: what fell due in the month that was asked for.
        fitted: rule set and task of everything that fits some engine.
        shares: what each engine counted for budgets over the whole site.
    """

    faults: list[Fault]
    findings: list[Finding] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    occurrences: list[Occurrence] = field(default_factory=list)
    fitted: set[tuple[str, str]] = field(default_factory=set)
    shares: list[SiteShare] = field(default_factory=list)

    @property
    def is_of_something(self) -> bool:
        """Whether anything was judged."""
        return bool(self.findings or self.skipped)

    def add(self, other: JudgedSoFar) -> None:
        """Add what was found of further engines."""
        self.faults += other.faults
        self.findings += other.findings
        self.skipped += other.skipped
        self.occurrences += other.occurrences
        self.fitted |= other.fitted
        self.shares += other.shares

    def found_text(self) -> str:
        """Return findings, skipped and occurrences as the text of a `Found`."""
        found = Found(findings=tuple(self.findings), skipped=tuple(self.skipped), occurrences=tuple(self.occurrences))
        return found.model_dump_json(exclude_unset=True)

    def __getstate__(self) -> tuple[list[Fault], str, set[tuple[str, str]], list[SiteShare]]:
        """Return what travels to another process."""
        return self.faults, self.found_text(), self.fitted, self.shares

    def __setstate__(self, state: tuple[list[Fault], str, set[tuple[str, str]], list[SiteShare]]) -> None:
        """Take in what travelled."""
        self.faults, text, self.fitted, self.shares = state
        found = Found.model_validate_json(text)
        self.findings, self.skipped, self.occurrences = list(found.findings), list(found.skipped), list(found.occurrences)


def ruleset_used(ruleset: RuleSet) -> RuleSetUsed:
    """Return a rule set as it is named in the answer."""
    return RuleSetUsed(ruleset=ruleset.ruleset, version=str(ruleset.version), sha256=ruleset.sha256)
