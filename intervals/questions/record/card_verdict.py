"""What becomes of a card: its verdicts, its rows, its measures, and how a task is judged in the end.

In: what was handed in, the reasons that fired. Out: a `CardRecord`, and the `RecordTask` of each task. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from intervals.questions.record.card_today import TaskToday
from intervals.questions.record.evidence import TaskVerdict
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.record_models import MeasureLine, RecordDocument, RecordReason, RecordTask, verdicts_of
from intervals.questions.record.record_wording import completed_with
from intervals.questions.record.services_dialect import RecordRow
from intervals.rulebook.evidence_rules import VERDICT_OF_RULE, evidence_rules
from intervals.rulebook.inference import FactValue


@dataclass(frozen=True)
class CardRecord:
    """What becomes of one card.

    Attributes:
        handed: what was handed in.
        at: when the work counts as done; None where no time is stated.
        tasks: the verdicts.
        rows: the records of tasks that are credited or partial.
        measures: what was measured.
    """

    handed: HandedIn
    at: datetime | None
    tasks: tuple[RecordTask, ...]
    rows: tuple[RecordRow, ...]
    measures: tuple[MeasureLine, ...]

    @property
    def verdicts(self) -> tuple[tuple[str, str], ...]:
        """Each task with its verdict: what may not change between showing and writing."""
        return verdicts_of(self.tasks)

    def document(self, *, rows: Sequence[str], file: str, lines: Sequence[int] = (), written: bool = False) -> RecordDocument:
        """Return it as a document.

        Args:
            rows: the rows as they stand in the file, or would.
            file: the file of service records.
            lines: their lines, once they are written.
            written: whether they are.
        """
        at = None if self.at is None else self.at.isoformat(timespec="seconds")
        return RecordDocument(
            card=self.handed.code,
            engine=self.handed.card.engine,
            at=at,
            written=written,
            tasks=self.tasks,
            rows=tuple(rows),
            file=file,
            lines=tuple(lines),
            measures=self.measures if self.rows else (),
        )


def task_record(today: TaskToday, verdict: TaskVerdict | None, about: Sequence[RecordReason]) -> RecordTask:
    """Return the verdict on a task out of what its evidence gives and what else was found, put to the rules once more."""
    evidence = () if verdict is None else verdict.reasons
    reasons = [
        *about,
        *(RecordReason(rule=each.rule, outcome=each.outcome, step=each.step, text=each.text) for each in evidence),
    ]
    outcomes = {reason.outcome for reason in reasons}
    facts: dict[str, FactValue] = {
        "any_work": verdict is None or verdict.rule != "nothing-done",
        "any_refuses": "refuses" in outcomes,
        "any_lacks": "lacks" in outcomes,
    }
    rule = evidence_rules().task_rule(facts)
    if rule == "nothing-done":
        reasons.insert(0, RecordReason(rule=rule, outcome="refuses", step="", text="nothing of it was done"))
    # nothing completes what cannot be true
    lacking = [reason for reason in reasons if reason.outcome == "lacks"] if VERDICT_OF_RULE[rule] == "partial" else []
    return RecordTask(
        task=today.named.task,
        title=today.named.title,
        verdict=VERDICT_OF_RULE[rule],
        reasons=tuple(reasons),
        missing=tuple(dict.fromkeys(reason.step or reason.rule for reason in lacking)),
        completes_with=tuple(dict.fromkeys(completed_with(reason.rule, reason.text) for reason in lacking)),
    )


Verdicts = tuple[tuple[str, str], ...]
"""Each task of a card with its verdict."""
