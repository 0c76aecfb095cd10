"""The part of one engine in a month's report: judged once, looked at from all sides, and let go.

In: a site's inputs, which engine. Out: an `EnginePart`: what was found of it now and a month ago, what twelve months came to, its month
and the arithmetic behind its findings. Parts travel between processes as plain values; parts of many engines make one report.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.history.inputs import Inputs, moment_of
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import JudgedEngine, judge_engine
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.questions.explain.explain import explanation_of
from intervals.questions.explain.explanation_models import Explanation
from intervals.questions.month.month_engine import EngineFound, engine_month
from intervals.questions.month.month_history import Asked, Counts, history_of, months_up_to
from intervals.questions.month.month_models import EngineMonth
from intervals.rules.tasks import Task

MONTHS_BACK = 12


@dataclass(frozen=True)
class MonthAsked:
    """What is asked of every engine.

    Attributes:
        inputs: what was read, at the month's end.
        earlier: the same at the end of the month before.
        months: twelve months, the one that is reported last.
        asked: rule set, engines and tasks.
        most_saws: how many sawteeth are drawn of an engine.
        faults: faults of files, rows and records, by engine.
    """

    inputs: Inputs
    earlier: Inputs
    months: tuple[Month, ...]
    asked: Asked
    most_saws: int
    faults: Mapping[str | None, Sequence[Fault]] = field(default_factory=dict)

    @classmethod
    def of(cls, inputs: Inputs, month: str, asked: Asked, most_saws: int) -> MonthAsked:
        """Return what is asked of a month.

        Args:
            inputs: what was read.
            month: `YYYY-MM`.
            asked: rule set, engines and tasks.
            most_saws: how many sawteeth are drawn of an engine.
        """
        last_day = date.fromisoformat(f"{month}-01") - timedelta(days=1)
        months = tuple(Month.of(text, inputs.site, inputs.moment.at_us) for text in months_up_to(month, MONTHS_BACK))
        faults: dict[str | None, list[Fault]] = {}
        for fault in inputs.faults:
            faults.setdefault(fault.engine, []).append(fault)
        return cls(inputs, replace(inputs, moment=moment_of(inputs.site, last_day)), months, asked, most_saws, faults)

    @property
    def month_before(self) -> Month:
        """The month before the one that is reported, up to its own end."""
        return Month.of(self.months[-2].text, self.inputs.site, self.earlier.moment.at_us)

    @property
    def units(self) -> list[int]:
        """Which engines and components are judged."""
        wanted = self.asked.engines
        return [index for index, unit in enumerate(self.inputs.site.judged_units) if not wanted or unit.id in wanted]


@dataclass
class EnginePart:
    """What one engine or component adds to a month's report.

    Attributes:
        index: which of the site's.
        found: its findings, everything skipped ever, its faults; occurrences are those of the month.
        before: the same at the end of the month before.
        counts: its twelve months.
        since_us: from when on the records are complete, by each rule set that judges it.
        tasks: the tasks that judge it, by rule set and id, with the tolerance of each.
        month: its month; None where it was not in service yet.
        explanations: the arithmetic behind its findings.
    """

    index: int
    found: JudgedSoFar
    before: JudgedSoFar
    counts: Counts = field(default_factory=dict)
    since_us: tuple[int | None, ...] = ()
    tasks: Mapping[tuple[str, str], str] = field(default_factory=dict)
    month: EngineMonth | None = None
    explanations: tuple[Explanation, ...] = ()

    @property
    def standings(self) -> Counter[str]:
        """How many of its tasks stand how."""
        return Counter(finding.standing for finding in self.found.findings)


def part_of(asked: MonthAsked, index: int) -> EnginePart:
    """Return the part of one engine.

    Args:
        asked: what is asked of every engine.
        index: which engine or component.
    """
    inputs, (ruleset, _, tasks) = asked.inputs, asked.asked
    found, before = JudgedSoFar([]), JudgedSoFar([])
    judged = judge_engine(inputs, index, ruleset, tasks, None, found)
    # what was decided in the month before is among the twelve months
    judge_engine(asked.earlier, index, ruleset, tasks, None, before)
    if not judged:
        return EnginePart(index, found, before)
    wanted = {(entry.ruleset, entry.task) for entry in found.findings} if tasks else None
    past = history_of(inputs, index, judged, asked.months, asked.asked, wanted)
    found.occurrences += past.last
    faults = len(asked.faults.get(inputs.site.judged_units[index].id, ())) + len(found.faults)
    span_us = (asked.months[0].start_us, inputs.moment.at_us)
    about = EngineFound(found.findings, found.skipped, faults, past.late_days, asked.most_saws)
    return EnginePart(
        index,
        found,
        before,
        past.counts,
        tuple(engine.case.records_from_us for engine in judged),
        {(engine.case.ruleset, task): _tolerance(chain.task) for engine in judged for task, chain in engine.chains.items()},
        engine_month(judged, asked.months, span_us, about),
        tuple(_explanations(inputs, found.findings, judged)),
    )


def _explanations(inputs: Inputs, findings: Collection[Finding], judged: Sequence[JudgedEngine]) -> Iterator[Explanation]:
    """Yield the arithmetic behind each finding whose windows are known."""
    chains = {(engine.case.ruleset, task): chain for engine in judged for task, chain in engine.chains.items()}
    for finding in findings:
        chain = chains.get((finding.ruleset, finding.task))
        if chain is not None:
            yield explanation_of(inputs, chain, chain.open_window, finding)


def _tolerance(task: Task) -> str:
    """Return what a task states of its tolerance."""
    stated = [f"{float(task.tolerance_pct):g} %"] if task.tolerance_pct or task.tolerance is None else []
    if task.tolerance is not None:
        stated += [f"{float(task.tolerance.pct):g} %"] if task.tolerance.pct is not None else []
        stated += [f"{value} {leg.replace('_', ' ')}" for leg, value in task.tolerance.legs.items()]
    if task.window is not None:
        stated.append("a window")
    return " or ".join(stated)
