"""What becomes of work that was handed in, of a record taken back, and of a deferral, as text.

In: the answers of `questions/record/`. Out: lines. It computes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from intervals.questions.record.deferral import DeferralVerdict
from intervals.questions.record.record_models import RecordDocument, RecordReason
from intervals.questions.record.undo import Undoing
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.rulebook.evidence_rules import VerdictWord
from intervals.shown_numbers import figure

_STYLES: dict[VerdictWord, str] = {"credited": "green", "partial": "yellow", "refused": "bold red"}


def record_lines(found: Sequence[RecordDocument], *, width: int | None = None) -> list[Line]:
    """Return what becomes of cards: a verdict for each task with its reasons, then the rows.

    Args:
        found: one entry for each card.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines: list[Line] = []
    for each in found:
        lines += [BLANK] if lines else []
        done = f", done {each.at}" if each.at else ""
        lines.append(line_of(printable(f"card {each.card}  {each.engine}{done}"), "bold"))
        for task in each.tasks:
            lines.append((Span(f"  {task.verdict:<9} ", _STYLES[task.verdict]), Span(printable(f"{task.task}: {task.title}"))))
            lines += _reason_lines(task.reasons)
            if task.verdict == "partial":
                lines.append(line_of(printable(f"      to complete it: {'; '.join(task.completes_with)}")))
        lines += _row_lines(each.file, each.rows, written=each.written, lines=each.lines)
    return fold_lines(lines, width)


def undo_lines(asked: Undoing, file: str, rows: Sequence[str], lines: Sequence[int], *, width: int | None = None) -> list[Line]:
    """Return what takes a record back.

    Args:
        asked: who and why.
        file: the file of service records.
        rows: the rows.
        lines: their lines, once they are written.
        width: columns of the terminal, or None.
    """
    head = line_of(printable(f"{asked.ref} is taken back by {asked.by}: {asked.reason}"), "bold")
    return fold_lines([head, *_row_lines(file, rows, written=bool(lines), lines=lines)], width)


def deferral_lines(verdict: DeferralVerdict, file: str, rows: Sequence[str], *, width: int | None = None) -> list[Line]:
    """Return what becomes of a deferral.

    Args:
        verdict: the verdict.
        file: the file of service records.
        rows: the row as it stands in the file, or would.
        width: columns of the terminal, or None.
    """
    asked = verdict.asked
    until = [f"{figure(asked.until_h)} h" if asked.until_h is not None else "", asked.until_date.isoformat() if asked.until_date else ""]
    word = "refused" if verdict.is_refused else "allowed"
    text = f"{word}: {asked.engine} {verdict.name} deferred until {' or '.join(each for each in until if each)}"
    if verdict.past_pct is not None:
        far = f"{figure(verdict.past_pct)} % of its interval past its line" if verdict.past_pct > 0 else "not past its line"
        text += f", {far}"
    lines = [line_of(printable(text), "bold"), *_reason_lines(verdict.reasons)]
    if not verdict.is_refused:
        lines += _row_lines(file, rows, written=verdict.written is not None, lines=verdict.written.lines if verdict.written else ())
    return fold_lines(lines, width)


def _reason_lines(reasons: Iterable[RecordReason]) -> list[Line]:
    """Return reasons: first what refuses, then what is missing, what is unknown, what is only noted."""
    order = ("refuses", "lacks", "unknown", "told", "fine")
    ordered = sorted(reasons, key=lambda reason: order.index(reason.outcome))
    return [line_of(printable(f"      {reason.text}")) for reason in ordered]


def _row_lines(file: str, rows: Sequence[str], *, written: bool, lines: Sequence[int]) -> list[Line]:
    """Return the rows, with where they stand."""
    if not rows:
        return [line_of("  nothing is written")]
    where = f"{file}:{lines[0]}" if lines else file
    said = f"  written to {where}" if written else f"  to be written to {where}"
    return [line_of(printable(said)), *(line_of(printable(f"      {row}")) for row in rows)]
