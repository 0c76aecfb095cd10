"""What becomes of work that was handed in, as a document: a verdict for each task, and the rows that go into the service records.

In: plain values. Out: frozen models, `intervals.record/1`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from intervals.documents import Frozen, plain_data
from intervals.rulebook.evidence_rules import Outcome, VerdictWord

RECORD_SCHEMA = "intervals.record/1"


class RecordReason(Frozen):
    """A rule that fired: its name, the step that it is about (empty where it is about no single one), what it means, one sentence."""

    rule: str
    outcome: Outcome
    step: str
    text: str


class RecordTask(Frozen):
    """The verdict on one task.

    `missing` names the steps that keep it from being credited, `completes_with` says what would complete it, in words.
    """

    task: str
    title: str
    verdict: VerdictWord
    reasons: tuple[RecordReason, ...]
    missing: tuple[str, ...]
    completes_with: tuple[str, ...]


def verdicts_of(tasks: Iterable[RecordTask]) -> tuple[tuple[str, str], ...]:
    """Return each task of a card with its verdict: what may not change between showing and writing.

    Args:
        tasks: the verdicts.
    """
    return tuple((task.task, task.verdict) for task in tasks)


class MeasureLine(Frozen):
    """A measured value that is kept, or how the part was found (`as_found`: the value is a word then)."""

    at: str
    engine: str
    task: str
    measure: str
    value: str
    unit: str
    card: str


class RecordDocument(Frozen):
    """What became of one card. `rows` are as they stand in the service records, or would; `at` is when the work counts as done."""

    card: str
    engine: str
    at: str | None
    written: bool
    tasks: tuple[RecordTask, ...]
    rows: tuple[str, ...]
    file: str
    lines: tuple[int, ...]
    measures: tuple[MeasureLine, ...]

    @property
    def is_all_credited(self) -> bool:
        """Whether every task is credited."""
        return all(task.verdict == "credited" for task in self.tasks)


def record_document(found: tuple[RecordDocument, ...]) -> dict[str, Any]:
    """Return the document of what became of cards as plain data: of one card its own keys, of several a list of them.

    Args:
        found: one entry for each card.
    """
    entries = [plain_data(each.model_dump(mode="python")) for each in found]
    return {"schema": RECORD_SCHEMA, **(entries[0] if len(entries) == 1 else {"cards": entries})}
