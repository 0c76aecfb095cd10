"""The verdict on a card that was handed in: each task credited, partial or refused, with every reason, and the rows that follow.

In: what was handed in, the site's `Inputs`. Out: a `CardRecord`. Every reason is a rule that fired; nothing is written here. Refuses what
cannot be read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cached_property

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases
from intervals.history.inputs import Inputs
from intervals.history.placed_records import place_record
from intervals.local_days import to_us
from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import is_genuine
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card
from intervals.questions.record.card_today import TaskToday, tasks_today
from intervals.questions.record.card_verdict import CardRecord, Verdicts, task_record
from intervals.questions.record.evidence import TaskVerdict, judge_evidence
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.jobs_in_parts import altered_parts, cards_that_complete, earlier_parts, facts_of_parts, joined_evidence
from intervals.questions.record.record_models import RecordReason, RecordTask
from intervals.questions.record.record_wording import logged_text, record_text
from intervals.questions.record.recorded_cards import measures_of, standing_tasks
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.questions.record.work_in_log import meter_off_h, surely_ran_min
from intervals.readings import ServiceRecord
from intervals.rulebook.evidence_rules import OUTCOME_OF_RULE, evidence_rules
from intervals.rulebook.inference import FactValue
from intervals.site.model import Engine, Site
from intervals.site.sources import OutcomeWord
from intervals.usage.meter.meter_course import Course

_MINUTE = timedelta(minutes=1)
_MOST_NOTE = 200
_LACKING = {"card-missing": "no card", "out-of-balance": "what was filled and drained"}
"""What is missing of a task as a whole, in the note of its record."""
_OUTCOMES: Mapping[str, OutcomeWord] = {"credited": "done", "partial": "partial"}


def judge_card(inputs: Inputs, handed: HandedIn, *, now: datetime, is_typed: bool = False, shown: Verdicts | None = None) -> CardRecord:
    """Return what becomes of a card that was handed in.

    Args:
        inputs: the site's inputs, read at this moment.
        handed: what was handed in.
        now: this moment.
        is_typed: whether it was typed at the terminal, without a card.
        shown: the verdicts that a person was shown before; where they are other ones now, the rules refuse it.

    Raises:
        RequestProblemError: a kept card that it completes cannot be read (CLI160).
        InferenceFaultError: the inference engine failed.
    """
    found = _CardJudge(inputs, handed, now, is_typed=is_typed).judged()
    if shown is None:
        return found
    return _CardJudge(inputs, handed, now, is_typed=is_typed, is_as_shown=found.verdicts == shown).judged()


@dataclass
class _CardJudge:
    """Judges one card."""

    inputs: Inputs
    handed: HandedIn
    now: datetime
    is_typed: bool = False
    is_as_shown: bool | None = None
    cases: list[EngineCase] = field(default_factory=list)

    @property
    def site(self) -> Site:
        """The site."""
        return self.inputs.site

    @cached_property
    def engine(self) -> Engine | None:
        """The engine of the card; None where the site has none of its id."""
        return next((unit for unit in self.site.judged_units if unit.id == self.handed.card.engine), None)

    @cached_property
    def parts(self) -> list[HandedIn]:
        """The cards that it completes."""
        return earlier_parts(self.site, self.handed)

    @cached_property
    def times(self) -> list[datetime]:
        """Every time that is stated, in order."""
        return sorted(self.handed.times(self.site.zone))

    @cached_property
    def at(self) -> datetime | None:
        """When the work counts as done: at its end, else at the last time that is stated."""
        return self.handed.ends_at(self.site.zone)

    def judged(self) -> CardRecord:
        """Return what becomes of the card."""
        todays = self._tasks()
        about_card = list(self._card_reasons(todays))
        tasks: list[RecordTask] = []
        rows: list[RecordRow] = []
        for today in todays:
            own = [*about_card, *self._record_reasons(today)]
            verdict = self._evidence_verdict(today)
            tasks.append(task_record(today, verdict, own))
            if tasks[-1].verdict in _OUTCOMES and self.at is not None:
                # of a clock that is a little ahead the row must not lie in the future
                rows.append(self._row(tasks[-1], min(self.at, self.now)))
        measures = measures_of(self.handed, self.at, self.site.zone) if self.at is not None and rows else ()
        return CardRecord(self.handed, self.at, tuple(tasks), tuple(rows), measures)

    def _tasks(self) -> list[TaskToday]:
        """Return the tasks of the card as the rule sets have them; makes the engine's cases."""
        if self.engine is None:
            return [TaskToday(named, None, None, None, (), asks_for_evidence=False, changed="") for named in self.handed.card.tasks]
        index = [unit.id for unit in self.site.judged_units].index(self.engine.id)
        self.cases = build_cases(self.inputs, index, None)
        return tasks_today(self.handed.card, self.engine, [book.ruleset for book in self.inputs.books_of(self.engine, None)])

    def _card_reasons(self, todays: Sequence[TaskToday]) -> Iterator[RecordReason]:
        """Yield the reasons about the card as a whole."""
        card, zone = self.handed.card, self.site.zone
        records = self.inputs.records.get(card.engine, [])
        started, ended = (self.handed.instant(text, zone) for text in (self.handed.started_at, self.handed.ended_at))
        completes = card.stop.completes
        earlier = records if completes else ()
        recorded = standing_tasks(records, card.code)
        completed_by = cards_that_complete(self.site, records, completes, but=card.code) if completes else ()
        step_times = self.handed.step_times(zone)
        found = set(self.handed.as_found) - {named.task for named in card.tasks}
        facts: dict[str, FactValue] = {
            "is_genuine": is_genuine(card),
            "is_this_site": card.site == self.site.site,
            "is_engine_known": self.engine is not None,
            "is_recorded": bool(recorded),
            "is_completing": bool(completes),
            "is_completed_known": bool(self.parts) and bool(standing_tasks(earlier, completes or "")),
            "is_each_task_once": len({_name_of(today) for today in todays}) == len(todays),
            "is_card_kept": None if self.is_typed else _is_kept(self.site, card),
            **facts_of_parts(self.site, self.handed, self.parts, records, completed_by),
            "has_time": self.at is not None,
            "ahead_min": (self.times[-1] - self.now) / _MINUTE if self.times else None,
            "job_min": None if started is None or ended is None else (ended - started) / _MINUTE,
            "outside_min": self._outside_min(started, ended),
            "end_off_min": None if ended is None or not step_times else abs(ended - step_times[-1]) / _MINUTE,
            "before_card_d": None if self.is_typed else self._days_before_card(),
            "is_signed": bool((self.handed.by or "").strip()),
            "is_found_on_card": not found,
        }
        stated = {
            "code": card.code,
            "of_card": card.site,
            "site": self.site.site,
            "engine": card.engine,
            "recorded": ", ".join(recorded),
            "completes": completes or "",
            "latest": self.times[-1].isoformat(timespec="minutes") if self.times else "",
            "started": self.handed.started_at or "",
            "ended": self.handed.ended_at or "",
            "completed_by": f"by {', '.join(completed_by)}" if completed_by else "it lacks nothing",
            "altered": ", ".join(altered_parts(self.site, self.handed, self.parts)),
            "made": card.made_on,
            "found": ", ".join(sorted(found)),
        }
        for rule in evidence_rules().cards.fire(facts).holds:
            yield RecordReason(rule=rule, outcome=OUTCOME_OF_RULE[rule], step="", text=record_text(rule, facts, stated))

    def _days_before_card(self) -> float | None:
        """Return by how many days the work was done before the day on which the card was made; None where that is not known."""
        try:
            made_on = date.fromisoformat(self.handed.card.made_on)
        except ValueError:
            return None
        return None if self.at is None else float((made_on - self.at.astimezone(self.site.zone).date()).days)

    def _outside_min(self, started: datetime | None, ended: datetime | None) -> float | None:
        """Return by how many minutes a step lies outside of the start and the end of the work; None where these are not stated."""
        if not self.times:
            return None
        before = (started - self.times[0]) / _MINUTE if started is not None else None
        after = (self.times[-1] - ended) / _MINUTE if ended is not None else None
        return max((each for each in (before, after) if each is not None), default=None)

    def _record_reasons(self, today: TaskToday) -> Iterator[RecordReason]:
        """Yield the reasons about a task beside the rule sets, the records and the log."""
        card = self.handed.card
        at_us = None if self.at is None else to_us(self.at)
        digests = {used.ruleset: used.sha256 for used in card.rulesets}
        case = next((each for each in self.cases if today.ruleset is not None and each.ruleset == today.ruleset.ruleset), None)
        later_us, later = self._latest(today, case)
        span = self._standstill(today)
        course = case.log.course if case is not None and self.engine in self.site.engines else None
        off_h = None if course is None or at_us is None else meter_off_h(course, at_us, self.handed.hour_meter_h)
        shown_h = None if course is None or at_us is None else course.meter_at(at_us)
        facts: dict[str, FactValue] = {
            "is_task_known": today.task is not None,
            "is_procedure_same": not today.changed,
            "is_digest_same": today.ruleset is None or digests.get(today.named.ruleset) == today.ruleset.sha256,
            "is_said_not_done": today.named.task in self.handed.not_done,
            "behind_record_min": None if later_us is None or at_us is None else (later_us - self._placed_us(at_us, case)) / 60e6,
            "meter_h": self.handed.hour_meter_h,
            "meter_off_h": off_h,
            "needs_stop": bool(today.steps_of_standstill),
            "is_standstill_stated": None if self.is_typed else span is not None,
            "ran_min": None if span is None or course is None else surely_ran_min(course, to_us(span[0]), to_us(span[1])),
            "is_typed": self.is_typed,
            "is_as_shown": self.is_as_shown,
            "asks_for_evidence": today.asks_for_evidence,
        }
        if self.is_typed:
            # there was no card that could differ
            facts |= {"is_procedure_same": True, "is_digest_same": True}
        stated = {
            "engine": card.engine,
            "task": today.named.task,
            "changed": today.changed,
            "ruleset": today.named.ruleset,
            "later": later,
            "logged": logged_text(shown_h, self._log_ended_before(course, at_us)),
            "span": "" if span is None else " to ".join(each.astimezone(self.site.zone).isoformat(timespec="minutes") for each in span),
        }
        for rule in evidence_rules().records.fire(facts).holds:
            yield RecordReason(rule=rule, outcome=OUTCOME_OF_RULE[rule], step="", text=record_text(rule, facts, stated))

    def _log_ended_before(self, course: Course | None, at_us: int | None) -> str:
        """Return the day on which the log ended, where that is before a moment; else nothing."""
        is_before = course is not None and course.is_known and at_us is not None and course.known_to_us < at_us
        return self.inputs.days.last_day_before(course.known_to_us).isoformat() if is_before and course is not None else ""

    def _latest(self, today: TaskToday, case: EngineCase | None) -> tuple[int | None, str]:
        """Return the latest completion of a task and where its record is; None where there is none."""
        done = case.records.completions.get(today.task.id, ()) if case is not None and today.task is not None else ()
        return (done[-1].at_us, done[-1].record) if done else (None, "")

    def _placed_us(self, at_us: int, case: EngineCase | None) -> int:
        """Return where the record will stand: at its time, or where one of its day stands, in a file of days alone."""
        if case is None or self.at is None or dialect_of(self.site).dates.gives_clock(self.at, self.site.zone, self.now):
            return at_us
        days = self.inputs.days
        dated = ServiceRecord(
            case.engine.id, "", None, days.date_of(at_us), self.handed.hour_meter_h, "done", None, None, "", "", "", self.handed.code, "", 0
        )
        return place_record(dated, case.log.course, days)

    def _standstill(self, today: TaskToday) -> tuple[datetime, datetime] | None:
        """Return from when to when the engine had to stand for a task, as far as its steps tell; None where it need not, or none tells."""
        evidence = self.handed.evidence(self.site.zone)
        times = [at for step in today.steps_of_standstill if step.id in evidence for at in evidence[step.id].times]
        return (min(times), max(times)) if len(times) > 1 else None

    def _evidence_verdict(self, today: TaskToday) -> TaskVerdict | None:
        """Return the verdict on the evidence of a task; None where its procedure is not known, or where there was no card."""
        if today.procedure is None or (self.is_typed and today.asks_for_evidence):
            return None
        return judge_evidence(today.procedure, today.steps, joined_evidence(self.site, [*self.parts, self.handed]))

    def _row(self, task: RecordTask, at: datetime) -> RecordRow:
        """Return the record of a task."""
        notes = [self.handed.remarks or ""]
        grade = self.handed.as_found.get(task.task)
        notes += [f"found {grade.replace('_', ' ')}"] if grade else []
        if task.verdict == "partial":
            notes.insert(0, f"not complete: {', '.join(_LACKING.get(each, each) for each in task.missing)}")
        if self.handed.card.stop.completes and task.verdict == "credited":
            notes.insert(0, f"completes {self.handed.card.stop.completes}")
        note = "; ".join(" ".join(each.split()) for each in notes if each.strip())
        return RecordRow(
            at=at.replace(second=0, microsecond=0) if not self.is_typed else at,
            engine=self.handed.card.engine,
            task=task.task,
            outcome=_OUTCOMES[task.verdict],
            hour_meter_h=self.handed.hour_meter_h,
            done_by=self.handed.by or "",
            note=note if len(note) <= _MOST_NOTE else f"{note[: _MOST_NOTE - 3]}...",
            ref=self.handed.code,
        )


def _name_of(today: TaskToday) -> tuple[str, str]:
    """Return a task's name by which it is the same however the card spells it."""
    return today.named.ruleset, today.named.task if today.task is None else today.task.id


def _is_kept(site: Site, card: Card) -> bool:
    """Return whether the site keeps a card as it is; a file that is another card, or none, is not it."""
    try:
        return kept_card(site.folder, card.code) == card
    except RequestProblemError:
        return False
