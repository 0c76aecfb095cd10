"""Events after which tasks are due once: found of an engine, and each set beside the job that followed it.

In: one engine's log and settled records, analyses, grades of what was found, its rule book. Out: for each task done once its `Occasions`.
Whether a result or a level is an event is for durable-rules. A new kind of event is one class here, and one row in `rules/events.py`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import NamedTuple, Protocol

from intervals.history.credited_analyses import figures_found
from intervals.history.engine_records import Completion, EngineRecords, Occasion, Occasions, TaskEvent
from intervals.history.level_events import LevelStretches
from intervals.language.phrases import fact_in_words, name_in_words
from intervals.local_days import HOUR_US, LocalDays
from intervals.readings import Analysis
from intervals.readings.records.found_grades import FoundGrades
from intervals.rulebook.inference import FactValue
from intervals.rulebook.rulebook import RuleBook, event_rule
from intervals.rules.events import START_UP, Event
from intervals.rules.tasks import Task
from intervals.site.model import Site
from intervals.usage.engine_log import EngineLog


@dataclass(frozen=True)
class EventSources:
    """What events of one engine are found in, as one rule set sees it.

    Attributes:
        site: the site, for planned times and values of new fluids.
        log: the engine's log.
        records: its settled records.
        analyses: its analyses, in order of the file.
        grades: how parts were found, of the whole site.
        levels: the stretches of the log on which conditions on levels hold; None where nothing is looked for in it.
        book: the rule book.
        days: the site's local days.
        end_us: the latest instant at which anything counts.
    """

    site: Site
    log: EngineLog
    records: EngineRecords
    analyses: Sequence[Analysis]
    grades: FoundGrades
    levels: LevelStretches | None
    book: RuleBook
    days: LocalDays
    end_us: int


class Found(NamedTuple):
    """Events of one kind: those that are, and those of which it is unknown whether they are."""

    events: tuple[TaskEvent, ...] = ()
    undecided: tuple[TaskEvent, ...] = ()


class EventFinder(Protocol):
    """Finds the events of one kind."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the events of a task's `after` at one place of it, in order of time."""


class StartUp:
    """The engine's first day."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the first day, where the site states it."""
        at_us = sources.log.in_service_us
        return Found() if at_us is None else Found((TaskEvent(at_us, "in service", "", START_UP),))


class Done:
    """Another task was done, by its own record or by that of a task that includes it."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the completions of the other task."""
        done = sources.records.completions.get(event.done or "", ())
        return Found(tuple(TaskEvent(each.at_us, f"{event.done} done{_renewed_by(each)}", each.record, "done") for each in done))


def _renewed_by(completion: Completion) -> str:
    """Return by which other task a task was done, in words, or an empty text."""
    return "" if completion.by in ("", completion.task) else f" with {completion.by}"


class FoundInGrade:
    """A task was done, and its part was found in one of some grades."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the completions whose card says so."""
        name, grades = event.found or "", event.grade or ()
        engine, found = sources.log.engine.id, []
        for completion in sources.records.completions.get(name, ()):
            asked = dict.fromkeys((completion.by, completion.task))
            keys = [(engine, word, completion.card) for each in asked for word in (each, f"{sources.book.ruleset.ruleset}.{each}")]
            known = next((sources.grades[key] for key in keys if completion.card and key in sources.grades), None)
            if known is not None and known.grade in grades:
                text = f"{name} found its part {known.grade.replace('_', ' ')}"
                found.append(TaskEvent(completion.at_us, text, completion.record, "found"))
        return Found(tuple(found))


class Result:
    """A result of an analysis holds a condition."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the results that hold it, at the moment they came."""
        events, undecided = [], []
        for each in sources.analyses:
            if each.kind != event.result or each.result_us > sources.end_us:
                continue
            figures = figures_found(each, event.figures, sources.site.lab.new_oil)
            facts: dict[str, FactValue] = {**sources.log.facts(sources.days), **figures}
            verdict, rule = sources.book.analyses.fire(facts), event_rule(task, number)
            shown = ", ".join(f"{name_in_words(name)} {_shown(figures.get(name))}" for name in event.asked if name in figures)
            made = TaskEvent(each.result_us, f"{event.result} result: {shown}", each.place, "result")
            if rule in verdict.holds:
                events.append(made)
            elif rule in verdict.unknown:
                undecided.append(made)
        return Found(tuple(events), tuple(undecided))


def _shown(value: float | None) -> str:
    """Return a figure of an analysis for a sentence."""
    return "unknown" if value is None else fact_in_words(value)


class Level:
    """A condition on levels of the log came to hold."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the moments at which it had held for long enough."""
        if sources.levels is None or event.when is None:
            return Found()
        return Found(*sources.levels.look(event_rule(task, number), event))


class Planned:
    """A planned time comes near."""

    def find(self, task: Task, number: int, event: Event, sources: EventSources) -> Found:
        """Return the moments so long before each planned time."""
        name, ahead_us = event.planned or "", round(float(event.ahead or 0.0) * HOUR_US)
        found = []
        for planned_us in sources.site.planned_us(name, sources.log.engine.id):
            if planned_us - ahead_us <= sources.end_us:
                text = f"{name} planned for {planned_text(sources.site, planned_us)}"
                found.append(TaskEvent(planned_us - ahead_us, text, "site.yaml", "planned", stands_alone=True))
        return Found(tuple(found))


def next_planned_us(task: Task, site: Site, engine_id: str, after_us: int) -> int | None:
    """Return the next planned time that a task waits for, or None where none lies ahead.

    Args:
        task: the task.
        site: the site, with its planned lists.
        engine_id: the engine or component.
        after_us: the moment of judging.
    """
    ahead = [at_us for event in task.events if event.planned for at_us in site.planned_us(event.planned, engine_id) if at_us >= after_us]
    return min(ahead, default=None)


def planned_text(site: Site, at_us: int) -> str:
    """Return a planned time by the site's clock, to the minute; a midnight is the day alone."""
    return site.moment_of(at_us).strftime("%Y-%m-%d %H:%M").removesuffix(" 00:00")


FINDERS: Mapping[str, EventFinder] = {
    START_UP: StartUp(),
    "done": Done(),
    "found": FoundInGrade(),
    "result": Result(),
    "when": Level(),
    "planned": Planned(),
}
"""What finds the events of each kind, by the key of the kind."""


def with_occasions(sources: EventSources) -> EngineRecords:
    """Return the records with the occasions of every task that is done once.

    Args:
        sources: what the events are found in.
    """
    tasks = [task for task in sources.book.ruleset.tasks if task.is_once]
    if not tasks:
        return sources.records
    stated = sources.site.records_from_of(sources.log.engine)
    since_us = None if stated is None else sources.site.instant_us(stated)
    return replace(sources.records, occasions={task.id: _occasions_of(task, sources, since_us) for task in tasks})


def _occasions_of(task: Task, sources: EventSources, since_us: int | None) -> Occasions:
    """Return the occasions of one task; of events before the records are complete nobody knows what was done after them."""
    found = [FINDERS[event.kind].find(task, number, event, sources) for number, event in enumerate(task.events)]
    born_us = _first_us(sources)
    events = sorted((each for some in found for each in some.events), key=lambda each: each.at_us)
    events = [each for each in events if born_us is not None and each.at_us >= born_us]
    early = tuple(each for each in events if since_us is not None and each.at_us < since_us)
    undecided = sorted((each for some in found for each in some.undecided), key=lambda each: each.at_us)
    done = sources.records.completions.get(task.id, ())
    return Occasions(tuple(pair_with_jobs(events[len(early) :], done)), tuple(undecided), early)


def _first_us(sources: EventSources) -> int | None:
    """Return the first instant of which anything is known of an engine; None where nothing is."""
    log = sources.log
    if log.in_service_us is not None:
        return log.in_service_us
    known = [int(log.rows[0])] if len(log.rows) else []
    known += [completions[0].at_us for completions in sources.records.completions.values() if completions]
    return min(known, default=None)


def pair_with_jobs(events: Iterable[TaskEvent], done: Sequence[Completion]) -> Iterator[Occasion]:
    """Yield the events that a job answers, each with the first one after it; while one is open others do not move it.

    The work that made an event does not answer it, and what was done before it does not either. An event that stands alone, such as a
    departure, is always one of its own.

    Args:
        events: in order of time.
        done: the completions of the task, in order of time.
    """
    opened: Occasion | None = None
    for event in events:
        if event.stands_alone:
            yield Occasion(event, _answer_to(event, done))
            continue
        if opened is not None and (opened.done is None or event.at_us < opened.done.at_us):
            opened = opened._replace(again=opened.again + 1, last_again=event)
            continue
        if opened is not None:
            yield opened
        opened = Occasion(event, _answer_to(event, done))
    if opened is not None:
        yield opened


def _answer_to(event: TaskEvent, done: Sequence[Completion]) -> Completion | None:
    """Return the first completion after an event; one of the same moment counts where it has a record of its own."""
    first = bisect_left(done, event.at_us, key=attrgetter("at_us"))
    answers = (each for each in done[first : first + 2] if each.at_us > event.at_us or _is_own(each, event))
    return next(answers, None)


def _is_own(completion: Completion, event: TaskEvent) -> bool:
    """Tell whether a completion at the moment of an event has a record of its own, and not that of the work that made the event."""
    return completion.by == completion.task and completion.record != event.place


__all__ = ["FINDERS", "EventFinder", "EventSources", "Found", "next_planned_us", "pair_with_jobs", "planned_text", "with_occasions"]
