"""Findings and skipped work as the text that they are printed as, with what is asked of them before they are printed.

In: what was found of some engines. Out: a `FoundText`, which takes a tenth of the memory of the models and travels as it is. Refuses
nothing. The text is that of a `Found` with two blanks of indent, in which every line stands as it stands in the document of all findings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from intervals.findings import Finding, Found, Skipped
from intervals.occurrences import Occurrence

_FINDINGS, _SKIPPED, _OCCURRENCES, _END = '{\n  "findings": [', '],\n  "skipped": [', '],\n  "occurrences": [', "]\n}"


class FoundText(NamedTuple):
    """What was found of some engines, as text.

    Attributes:
        text: of findings, skipped work and occurrences.
        leads: of each finding the day on which its lead begins, which is not part of the text.
        standings: how many findings there are of each standing.
        skipped: how many occurrences were skipped.
        skipped_open: how many of these are still open.
        engines: the engines that findings are of.
    """

    text: str
    leads: tuple[str | None, ...]
    standings: Mapping[str, int]
    skipped: int
    skipped_open: int
    engines: frozenset[str]

    @classmethod
    def of(cls, findings: Sequence[Finding], skipped: Sequence[Skipped], occurrences: Sequence[Occurrence]) -> FoundText:
        """Return findings, skipped work and occurrences as text."""
        found = Found(findings=tuple(findings), skipped=tuple(skipped), occurrences=tuple(occurrences))
        return cls(
            found.model_dump_json(indent=2, exclude_unset=True),
            tuple(finding.upcoming_from for finding in findings),
            Counter(finding.standing for finding in findings),
            len(skipped),
            sum(entry.open for entry in skipped),
            frozenset(finding.engine for finding in findings),
        )

    @property
    def said_of_it(self) -> list[Any]:
        """What is said of it beside the text, as plain data."""
        return [list(self.leads), dict(self.standings), self.skipped, self.skipped_open, sorted(self.engines)]

    @classmethod
    def kept(cls, text: str, said: Sequence[Any]) -> FoundText:
        """Return what was kept, from its text and `said_of_it`."""
        leads, standings, skipped, skipped_open, engines = said
        return cls(text, tuple(leads), Counter(standings), skipped, skipped_open, frozenset(engines))

    def read(self) -> Found:
        """Return it as models."""
        found = Found.model_validate_json(self.text)
        for finding, day in zip(found.findings, self.leads, strict=True):
            finding.with_lead_from(day)
        return found

    @property
    def lines_of_findings(self) -> str:
        """The lines of its findings, without those around them; empty where there are none."""
        return self._between(_FINDINGS, _SKIPPED)

    @property
    def lines_of_skipped(self) -> str:
        """The lines of what was skipped, without those around them; empty where there is nothing."""
        return self._between(_SKIPPED, _OCCURRENCES)

    def _between(self, head: str, foot: str) -> str:
        """Return the lines between two lines of the text: only these begin with two blanks and a name."""
        begin = self.text.index(head) + len(head)
        return self.text[begin : self.text.index(foot, begin)].strip("\n").removesuffix("\n  ")
