"""Where a card is handed in: the judge and the writer of `intervals record`, as the server asks them.

In: the bytes of a card that was handed in. Out: the verdict, as the document `intervals.record/1` has it, in the words that a page shows.
Refuses what `intervals record` refuses.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, Protocol


class TaskAnswer(NamedTuple):
    """The verdict on one task: its word, its reasons with their step, what is missing, and what would complete it."""

    task: str
    verdict: str
    reasons: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]
    completes_with: tuple[str, ...]


class RecordAnswer(NamedTuple):
    """What the judge says of a card, and what was written of it.

    Attributes:
        card: the code.
        tasks: the verdict on each task.
        is_written: whether it was written just now.
        rows: the rows as they were or would be written.
    """

    card: str
    tasks: tuple[TaskAnswer, ...]
    is_written: bool
    rows: tuple[str, ...]

    @property
    def verdicts(self) -> tuple[tuple[str, str], ...]:
        """Each task with its verdict: what may not change between showing and writing."""
        return tuple((task.task, task.verdict) for task in self.tasks)

    @property
    def can_be_written(self) -> bool:
        """Whether anything of it can be credited, whole or in part."""
        return bool(self.rows)

    @property
    def in_words(self) -> str:
        """The verdict on each task in one line, for the log."""
        return ", ".join(" ".join(each) for each in self.verdicts)


class RecordDesk(Protocol):
    """Whoever judges and writes; both are only asked in the judge's thread."""

    def judge(self, handed_in: bytes) -> RecordAnswer:
        """Return the verdict on a card; nothing is written.

        Raises:
            ProblemsError: it cannot be judged.
        """

    def write(self, handed_in: bytes, shown: RecordAnswer) -> RecordAnswer:
        """Judge a card again, and write what can be credited if the verdict is the one that was shown; else return the one of now.

        Raises:
            ProblemsError: it cannot be judged or written.
        """


def answer_of(document: Mapping[str, Any]) -> RecordAnswer:
    """Return a document `intervals.record/1` as the pages show it."""
    return RecordAnswer(
        card=str(document["card"]),
        tasks=tuple(
            TaskAnswer(
                str(task["task"]),
                str(task["verdict"]),
                tuple((str(reason.get("step") or ""), str(reason["text"])) for reason in task["reasons"]),
                _texts(task.get("missing")),
                _texts(task.get("completes_with")),
            )
            for task in document["tasks"]
        ),
        is_written=bool(document["written"]),
        rows=_texts(document.get("rows")),
    )


def _texts(values: Sequence[Any] | None) -> tuple[str, ...]:
    """Return each entry as one line of text; one of several fields by its values."""
    return tuple(
        ", ".join(f"{name} {each}" for name, each in value.items() if each not in (None, "")) if isinstance(value, Mapping) else str(value)
        for value in values or ()
    )
