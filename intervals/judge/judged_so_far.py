"""What was found of some engines, in a form that can be joined with what was found of others, here or in another process.

In: findings and their like, as they are found. Out: a `JudgedSoFar`, and faults and rule sets as they are printed. It pickles as plain text
and values: models are made anew where they arrive, when somebody asks for them, which is quicker than pickling each of them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from intervals.faults import Fault
from intervals.findings import Finding, RuleSetUsed, Skipped
from intervals.judge.budget_site import SiteShare
from intervals.judge.found_text import FoundText
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
        is_for_text: whether findings are only printed: what is not part of their document is not worked out.
        texts: what was found before all this, as text; it is read as soon as somebody asks for models.
    """

    faults: list[Fault]
    findings: list[Finding] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    occurrences: list[Occurrence] = field(default_factory=list)
    fitted: set[tuple[str, str]] = field(default_factory=set)
    shares: list[SiteShare] = field(default_factory=list)
    is_for_text: bool = False
    texts: list[FoundText] = field(default_factory=list)

    @property
    def is_of_something(self) -> bool:
        """Whether anything was judged."""
        return bool(self.findings or self.skipped) or any(each.standings or each.skipped for each in self.texts)

    @property
    def engines(self) -> set[str]:
        """The engines that findings are of."""
        return {finding.engine for finding in self.findings}.union(*(each.engines for each in self.texts))

    @property
    def standings(self) -> Counter[str]:
        """How many findings there are of each standing."""
        return sum((Counter(each.standings) for each in self.texts), Counter(finding.standing for finding in self.findings))

    def add(self, other: JudgedSoFar) -> None:
        """Add what was found of further engines, as text where it came as text and nothing was found before."""
        if self.findings or self.skipped or self.occurrences:
            other.read()
        self.texts += other.texts
        self.faults += other.faults
        self.findings += other.findings
        self.skipped += other.skipped
        self.occurrences += other.occurrences
        self.fitted |= other.fitted
        self.shares += other.shares

    def write(self) -> None:
        """Turn what was found into text."""
        if self.findings or self.skipped or self.occurrences:
            self.texts.append(FoundText.of(self.findings, self.skipped, self.occurrences))
            self.findings, self.skipped, self.occurrences = [], [], []

    def read(self) -> None:
        """Turn all text into models."""
        found = [each.read() for each in self.texts]
        self.texts = []
        self.findings = [*(entry for each in found for entry in each.findings), *self.findings]
        self.skipped = [*(entry for each in found for entry in each.skipped), *self.skipped]
        self.occurrences = [*(entry for each in found for entry in each.occurrences), *self.occurrences]

    def __getstate__(self) -> dict[str, Any]:
        """Return what travels to another process: text."""
        self.write()
        return self.__dict__


def ruleset_used(ruleset: RuleSet) -> RuleSetUsed:
    """Return a rule set as it is named in the answer."""
    return RuleSetUsed(ruleset=ruleset.ruleset, version=str(ruleset.version), sha256=ruleset.sha256)
