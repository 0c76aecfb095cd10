"""The verdict on a card that was handed in: each task credited, partial or refused, with every reason, and the rows that follow.

In: what was handed in, the site's `Inputs`. Out: a `CardRecord`. Every reason is a rule that fired; nothing is written here. Refuses what
cannot be read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache, cached_property

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases
from intervals.history.inputs import Inputs
from intervals.local_days import to_us
from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import is_genuine
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card
from intervals.questions.record.card_today import TaskToday, tasks_today
from intervals.questions.record.card_verdict import CardRecord, Verdicts, record_row, task_record
from intervals.questions.record.evidence import StepEvidence, TaskVerdict, is_work, judge_evidence
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.job_times import JobTimes
from intervals.questions.record.jobs_in_parts import (
    EarlierPart,
    altered_parts,
    cards_that_complete,
    earlier_part,
    earlier_parts,
    facts_of_parts,
    joined_evidence,
    lost_part,
    unproved_parts,
)
from intervals.questions.record.record_models import RecordReason, RecordTask
from intervals.questions.record.record_moment import latest_completion, open_record_at, written_us
from intervals.questions.record.record_wording import logged_text, record_text
from intervals.questions.record.recorded_cards import measures_of, standing_tasks
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.questions.record.shared_steps import with_shared_steps
from intervals.questions.record.what_completes import steps_after, steps_of_safety, steps_that_lack
from intervals.questions.record.work_in_log import meter_off_h, surely_ran_min
from intervals.readings import ServiceRecord
from intervals.readings.spelling import folded_name
from intervals.rulebook.evidence_rules import OUTCOME_OF_RULE, evidence_rules
from intervals.rulebook.inference import FactValue
from intervals.site.model import Engine, Site
from intervals.usage.meter.meter_course import Course


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
    def completing(self) -> Callable[[str], tuple[str, ...]]:
        """Yields the codes of other cards that complete a card; the kept cards are looked through once for each."""
        return cache(lambda code: cards_that_complete(self.site, self.records, code, but=self.handed.code))

    @cached_property
    def times(self) -> JobTimes:
        """Its times."""
        return JobTimes(self.handed, self.site.zone)

    @cached_property
    def at(self) -> datetime | None:
        """When the work counts as done."""
        return self.times.at

    @cached_property
    def records(self) -> Sequence[ServiceRecord]:
        """The service records of its engine."""
        return self.inputs.records.get(self.handed.card.engine, [])

    def judged(self) -> CardRecord:
        """Return what becomes of the card."""
        todays = self._tasks()
        about_card = list(self._card_reasons(todays))
        tasks: list[RecordTask] = []
        rows: list[RecordRow] = []
        for today in todays:
            earlier = self._earlier(today)
            verdict = self._evidence_verdict(today, earlier)
            own = [*about_card, *self._record_reasons(today, earlier, verdict)]
            tasks.append(task_record(today, verdict, own, is_idle=self._is_idle(today, earlier, verdict)))
            if tasks[-1].verdict != "refused" and self.at is not None:
                # of a clock that is a little ahead the row must not lie in the future
                rows.append(record_row(self.handed, tasks[-1], min(self.at, self.now)))
        measures = measures_of(self.handed, self.at, self.site.zone) if self.at is not None and rows else ()
        shown_at = None if self.at is None else self.at.astimezone(self.site.zone)
        return CardRecord(self.handed, shown_at, tuple(tasks), tuple(rows), measures)

    def _tasks(self) -> list[TaskToday]:
        """Return the tasks of the card as the rule sets have them; makes the engine's cases."""
        if self.engine is None:
            return [TaskToday(named, None, None, None, (), asks_for_evidence=False, changed="") for named in self.handed.card.tasks]
        index = [unit.id for unit in self.site.judged_units].index(self.engine.id)
        self.cases = build_cases(self.inputs, index, None)
        return tasks_today(self.handed.card, self.engine, [book.ruleset for book in self.inputs.books_of(self.engine, None)])

    def _card_reasons(self, todays: Sequence[TaskToday]) -> Iterator[RecordReason]:
        """Yield the reasons about the card as a whole."""
        card, completes = self.handed.card, self.handed.card.stop.completes
        recorded = standing_tasks(self.records, card.code)
        found = set(self.handed.as_found) - {named.task for named in card.tasks}
        strange = set(self.handed.steps) - {step.id for step in card.steps}
        dropped = self._without_column()
        facts: dict[str, FactValue] = {
            "is_genuine": is_genuine(card),
            "is_this_site": card.site == self.site.site,
            "is_engine_known": self.engine is not None,
            "is_recorded": bool(recorded),
            "is_completing": bool(completes),
            "is_completed_known": bool(standing_tasks(self.records, completes or "")),
            "is_each_task_once": len({_name_of(today) for today in todays}) == len(todays),
            "is_card_kept": None if self.is_typed else _is_kept(self.site, card),
            **facts_of_parts(self.site, self.handed, self.parts),
            **self.times.facts(self.now, is_typed=self.is_typed),
            "is_signed": bool((self.handed.by or "").strip()),
            "is_found_on_card": not found,
            "is_each_step_on_card": not strange,
            "is_each_key_known": not self.handed.passed_over,
            "has_each_column": not dropped,
        }
        stated = {
            "code": card.code,
            "of_card": card.site,
            "site": self.site.site,
            "engine": card.engine,
            "recorded": ", ".join(recorded),
            "completes": completes or "",
            "altered": ", ".join(altered_parts(self.site, self.handed, self.parts)),
            "unproved": ", ".join(unproved_parts(self.site, self.handed, self.parts)),
            "lost": lost_part(self.site, self.handed, self.parts),
            "found": ", ".join(sorted(found)),
            "strange": ", ".join(sorted(strange)),
            "passed_over": ", ".join(self.handed.passed_over),
            "dropped": ", ".join(dropped),
            **self.times.stated(),
        }
        for rule in evidence_rules().cards.fire(facts).holds:
            yield RecordReason(rule=rule, outcome=OUTCOME_OF_RULE[rule], step="", text=record_text(rule, facts, stated))

    def _without_column(self) -> list[str]:
        """Return the columns that the file of service records lacks, of what was stated; none of a card that cannot be recorded here."""
        if not self.cases:
            return []
        handed = self.handed
        given = {
            "hour_meter_h": handed.hour_meter_h is not None,
            "done_by": bool(handed.by),
            "note": bool(handed.remarks or handed.as_found),
        }
        return dialect_of(self.site).lacking(name for name, is_given in given.items() if is_given)

    def _earlier(self, today: TaskToday) -> EarlierPart | None:
        """Return what became of a task in the cards that this one completes; None where these have no record of it."""
        names = {today.named.task} | ({today.task.id, f"{today.named.ruleset}.{today.task.id}"} if today.task is not None else set())
        spelled = {folded_name(name) for name in names}
        own = [record for record in self.records if folded_name(record.task) in spelled]
        return earlier_part(self.site, self.handed, self.parts, own, self.completing)

    def _record_reasons(self, today: TaskToday, earlier: EarlierPart | None, verdict: TaskVerdict | None) -> Iterator[RecordReason]:
        """Yield the reasons about a task beside the rule sets, the records and the log."""
        card = self.handed.card
        at_us = None if self.at is None else to_us(self.at)
        digests = {used.ruleset: used.sha256 for used in card.rulesets}
        case = next((each for each in self.cases if today.ruleset is not None and each.ruleset == today.ruleset.ruleset), None)
        record_us = None if case is None or self.at is None else self._written_us(case, self.at)
        taken = "" if case is None or today.task is None or record_us is None else open_record_at(case, today.task.id, record_us)
        later_us, later = latest_completion(case, "" if today.task is None else today.task.id)
        span = self._standstill(today)
        course = case.log.course if case is not None and self.engine in self.site.engines else None
        off_h = None if course is None or at_us is None else meter_off_h(course, at_us, self.handed.hour_meter_h)
        shown_h = None if course is None or at_us is None else course.meter_at(at_us)
        done_since = later_us is not None and earlier is not None and earlier.ended_at is not None and later_us > to_us(earlier.ended_at)
        facts: dict[str, FactValue] = {
            "is_task_known": today.task is not None,
            "is_completing": bool(card.stop.completes),
            "is_completed_before": None if earlier is None else not earlier.is_open or done_since,
            "is_moment_taken": bool(taken),
            "is_made_whole": verdict is not None and verdict.word == "credited",
            "is_procedure_same": not today.changed,
            "is_digest_same": today.ruleset is None or digests.get(today.named.ruleset) == today.ruleset.sha256,
            "is_said_not_done": today.named.task in self.handed.not_done,
            "behind_record_min": None if later_us is None or record_us is None else (later_us - record_us) / 60e6,
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
            "completes": card.stop.completes or "",
            "credited_in": later if done_since else "" if earlier is None else earlier.credited_in,
            "completed_by": "" if earlier is None else earlier.completed_by,
            "taken": taken,
            "logged": logged_text(shown_h, self._log_ended_before(course, at_us)),
            "span": "" if span is None else " to ".join(each.astimezone(self.site.zone).isoformat(timespec="minutes") for each in span),
        }
        for rule in evidence_rules().records.fire(facts).holds:
            yield RecordReason(rule=rule, outcome=OUTCOME_OF_RULE[rule], step="", text=record_text(rule, facts, stated))

    def _log_ended_before(self, course: Course | None, at_us: int | None) -> str:
        """Return the day on which the log ended, where that is before a moment; else nothing."""
        is_before = course is not None and course.is_known and at_us is not None and course.known_to_us < at_us
        return self.inputs.days.last_day_before(course.known_to_us).isoformat() if is_before and course is not None else ""

    def _written_us(self, case: EngineCase, at: datetime) -> int:
        """Return where the record will stand."""
        return written_us(case, dialect_of(self.site), min(at, self.now), self.now, self.handed.hour_meter_h)

    def _standstill(self, today: TaskToday) -> tuple[datetime, datetime] | None:
        """Return from when to when the engine had to stand for a task, as far as its steps tell; None where it need not, or none tells."""
        evidence = self.handed.evidence(self.site.zone)
        times = [at for step in today.steps_of_standstill if step.id in evidence for at in evidence[step.id].times]
        return (min(times), max(times)) if len(times) > 1 else None

    def _evidence_verdict(self, today: TaskToday, earlier: EarlierPart | None) -> TaskVerdict | None:
        """Return the verdict on the evidence of a task; None where its procedure is not known, or where there was no card.

        The evidence of earlier cards is that of a task only where these have a record of it.
        """
        if today.procedure is None or (self.is_typed and today.asks_for_evidence):
            return None
        return judge_evidence(today.procedure, today.steps, self._evidence(today, is_continued=earlier is not None))

    def _evidence(self, today: TaskToday, *, is_continued: bool = True, with_own: bool = True) -> dict[str, StepEvidence]:
        """Return the evidence of a task: that of the cards which this one completes, and its own."""
        parts = []
        if is_continued and self.parts and self.engine is not None:
            rulesets = [book.ruleset for book in self.inputs.books_of(self.engine, None)]
            parts = [with_shared_steps(part, today.steps, self.engine, rulesets, self.site.zone) for part in self.parts]
        return joined_evidence([*parts, *([self.handed.evidence(self.site.zone)] if with_own else [])], today.procedure, today.steps)

    def _is_idle(self, today: TaskToday, earlier: EarlierPart | None, verdict: TaskVerdict | None) -> bool:
        """Tell whether a card that completes others has nothing of a task: no step that is its alone, and nothing less is missing."""
        if earlier is None or not earlier.is_open or today.procedure is None or verdict is None:
            return False
        own, evidence = self.handed.evidence(self.site.zone), self._evidence(today, with_own=False)
        before = judge_evidence(today.procedure, today.steps, evidence)
        lacking = steps_that_lack(today.procedure, today.steps, evidence)
        # to secure the engine is no work on the task
        repeated = steps_of_safety(today.steps) - lacking - steps_after(today.steps, lacking)
        if any(len(step.procedures) == 1 and step.id not in repeated and is_work(step, own) for step in today.steps):
            return False
        return [(each.rule, each.step) for each in before.lacking] == [(each.rule, each.step) for each in verdict.lacking]


def _name_of(today: TaskToday) -> tuple[str, str]:
    """Return a task's name by which it is the same however the card spells it."""
    return today.named.ruleset, today.named.task if today.task is None else today.task.id


def _is_kept(site: Site, card: Card) -> bool:
    """Return whether the site keeps a card as it is; a file that is another card, or none, is not it."""
    try:
        return kept_card(site.folder, card.code) == card
    except RequestProblemError:
        return False
