"""What was found of an engine before a window began: failures among the last attempts, analyses, how a part was found.

In: an engine made ready, a task, the instant at which a window began. Out: for each measure of results that the task's table asks for the
values that it can have: one where it is known, several where the records do not reach back far enough to count, none where nothing is
known. Figures only: which row of a table holds is for the rules. What a measure is called stands in its row of
`language/result_measures.py`; the method that finds it has the name of its kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from intervals.history.credited_analyses import is_spoiled, value_of
from intervals.history.engine_records import Completion, EngineRecords
from intervals.language.result_measures import FAILED, ResultMeasure
from intervals.readings import Analysis
from intervals.readings.records.found_grades import FoundGrades
from intervals.rulebook.inference import FactValue
from intervals.rulebook.standings import Standings
from intervals.rules.tasks import Task
from intervals.usage.engine_log import EngineLog

Values = tuple[FactValue, ...]
"""The values that a measure can have; none where nothing is known of it."""


@dataclass(frozen=True)
class ResultSources:
    """What results are taken from, of one engine.

    Attributes:
        analyses: its analyses, in order of the file.
        new: values of the new fluid, where an analysis does not give them itself.
        grades: how parts were found, of all engines.
        stated: what a worked example says instead of all these; None of a real engine.
    """

    analyses: tuple[Analysis, ...] = ()
    new: Mapping[str, float] = field(default_factory=dict)
    grades: FoundGrades = field(default_factory=dict)
    stated: Mapping[str, FactValue] | None = None


@dataclass(frozen=True)
class TaskResults:
    """The results of one task of one engine.

    Attributes:
        task: the task.
        log: the engine's log.
        records: its settled records.
        records_from_us: from when on they are complete; None where nobody says so.
        sources: the rest of what results are taken from.
        standings: the shared rules.
    """

    task: Task
    log: EngineLog
    records: EngineRecords
    records_from_us: int | None
    sources: ResultSources
    standings: Standings

    def values(self, name: str, measure: ResultMeasure, at_us: int) -> Values:
        """Return the values that a measure can have by what was known at an instant.

        Args:
            name: as the table writes it.
            measure: its row.
            at_us: the instant at which the window begins; what is of that very instant counts.
        """
        if self.sources.stated is not None:
            return (self.sources.stated[name],) if name in self.sources.stated else ()
        found: Values = getattr(self, measure.kind)(measure.of, at_us)
        return found

    def failures(self, of: str, at_us: int) -> Values:
        """Return how many of the last attempts failed; every number that it can be where the records begin too late."""
        most, from_us = int(of), self._known_from_us
        known = [failed for tried_us, failed in self._attempts if tried_us <= at_us and (from_us is None or tried_us >= from_us)][-most:]
        reaches_back = from_us is not None and self.log.in_service_us is not None and from_us <= self.log.in_service_us
        missing = 0 if reaches_back else most - len(known)
        least = sum(known)
        return tuple(float(number) for number in range(least, least + missing + 1))

    def latest(self, of: str, at_us: int) -> Values:
        """Return the latest value of an analysis whose result had come; none where that one cannot be."""
        known = [each for each in self.sources.analyses if each.at_us <= at_us and each.result_us <= at_us]
        for analysis in sorted(known, key=lambda each: (each.at_us, each.result_us), reverse=True):
            if is_spoiled(analysis, of):
                return ()
            value = value_of(analysis.values, of, self.sources.new)
            if value is not None:
                return (value,)
        return ()

    def found(self, of: str, at_us: int) -> Values:
        """Return how the part was found when the task was last done; none where nobody said so."""
        del of
        last = next((each for each in reversed(self.records.completions.get(self.task.id, ())) if each.at_us <= at_us), None)
        grade = None if last is None else self._grade(last)
        return () if grade is None else (grade,)

    @cached_property
    def _known_from_us(self) -> int | None:
        """From when on every attempt is known: the records, and where a run in the log is one, the log."""
        from_us, begins_us = self.records_from_us, self.log.covers_from_us
        if from_us is None or self.task.done_when is None or begins_us is None or begins_us - from_us <= self.log.gap_us:
            return from_us
        return begins_us

    @cached_property
    def _attempts(self) -> list[tuple[int, bool]]:
        """Every attempt at the task in order of time, each with whether it failed.

        An attempt is a completion of its own, a job in part that was found failed, and a run in the log that was begun for the
        task and fell short, however short it was.
        """
        name = self.task.id
        tried = [(each.at_us, self._grade(each) == FAILED) for each in self.records.completions.get(name, ()) if each.by == name]
        tried += [(each.at_us, True) for each in self.records.partials.get(name, ()) if self._grade_of(name, each.card) == FAILED]
        tried += [(run.at_us, True) for run in self.records.short_runs.get(name, ()) if self.standings.is_failed_attempt(run.attempt_facts)]
        return sorted(tried)

    def _grade(self, completion: Completion) -> str | None:
        """Return how the part was found by a completion, under the task's own id or that of the job that it is one with."""
        names = (self.task.id, completion.one_job.rpartition(".")[2])
        grades = (self._grade_of(name, completion.card) for name in names)
        return next((grade for grade in grades if grade is not None), None) if completion.card else None

    def _grade_of(self, task: str, card: str) -> str | None:
        """Return how a card says that the part of a task was found."""
        known = self.sources.grades.get((self.log.engine.id, task, card))
        return None if known is None else known.grade
