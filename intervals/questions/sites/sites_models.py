"""What is found of several sites: the findings of each, or why it cannot be judged.

In: what each site answered. Out: frozen models, the document `intervals.sites/1`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from intervals.documents import Frozen
from intervals.findings import Finding, Findings
from intervals.problems import Problem
from intervals.urgency import urgency_of


class SiteProblem(Frozen):
    """One thing that keeps a site from being judged."""

    code: str
    file: str
    line: int | None
    path: str | None
    text: str
    fix: str | None

    @classmethod
    def of(cls, problem: Problem) -> SiteProblem:
        """Return a problem as it is printed."""
        return cls(code=problem.code, file=problem.file, line=problem.line, path=problem.path, text=problem.text, fix=problem.fix)


class SiteAnswer(Frozen):
    """One of several sites: its findings, or the problems for which it has none."""

    folder: str
    title: str | None
    engines: int | None
    findings: Findings | None
    problems: tuple[SiteProblem, ...]


class SitesTotals(Frozen):
    """How many sites and findings there are of each kind, and how many skipped occurrences are still open."""

    sites: int
    not_judged: int
    engines: int
    overdue: int
    upcoming: int
    in_interval: int
    unknown: int
    skipped_open: int


class MonthOfSites(NamedTuple):
    """A month over all sites: due points met on time, those decided (on time or late), and their share; None where none was decided."""

    month: str
    on_time: int
    decided: int
    figure: float | None


class SitesFindings(Frozen):
    """The whole answer for several sites at one moment."""

    totals: SitesTotals
    sites: tuple[SiteAnswer, ...]

    @classmethod
    def of(cls, sites: Sequence[SiteAnswer]) -> SitesFindings:
        """Return the answer of some sites, with their totals."""
        found = [site.findings.totals for site in sites if site.findings is not None]
        totals = SitesTotals(
            sites=len(sites),
            not_judged=len(sites) - len(found),
            engines=sum(site.engines or 0 for site in sites),
            overdue=sum(each.overdue for each in found),
            upcoming=sum(each.upcoming for each in found),
            in_interval=sum(each.in_interval for each in found),
            unknown=sum(each.unknown for each in found),
            skipped_open=sum(each.skipped_open for each in found),
        )
        return cls(totals=totals, sites=tuple(sites))

    @property
    def judged(self) -> Iterator[tuple[SiteAnswer, Findings]]:
        """Each site that was judged, with its findings."""
        return ((site, site.findings) for site in self.sites if site.findings is not None)

    @property
    def not_judged(self) -> tuple[SiteAnswer, ...]:
        """Each site that could not be judged."""
        return tuple(site for site in self.sites if site.findings is None)

    @property
    def as_of(self) -> str | None:
        """The moment of judging, as the first site that was judged writes it; None where none was."""
        return next((findings.as_of for _, findings in self.judged), None)

    def by_urgency(self) -> list[tuple[SiteAnswer, Findings, Finding]]:
        """Return every finding with its site, the most urgent first."""
        every = [(site, findings, finding) for site, findings in self.judged for finding in findings.findings]
        return sorted(every, key=lambda each: urgency_of(each[2]))

    @property
    def on_time(self) -> MonthOfSites | None:
        """How the month's work was met over all sites; None where no month was asked for."""
        known = [findings.compliance for _, findings in self.judged if findings.compliance is not None]
        on_time = sum(each.on_time for each in known)
        decided = on_time + sum(each.late for each in known)
        return MonthOfSites(known[0].month, on_time, decided, on_time / decided if decided else None) if known else None
