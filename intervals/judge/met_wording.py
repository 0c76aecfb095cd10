"""The sentences of a month's occurrences: how each was met, and until when it could have been.

In: facts that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from datetime import date

from intervals.findings import MetWord


def met_text(  # noqa: PLR0913 - what is said of an occurrence
    title: str,
    met: MetWord,
    *,
    consumed: float | None,
    line_on: str | None,
    until: date | None,
    passed_on: date | None,
    is_open: bool,
    is_deferred: bool,
) -> str:
    """Return the sentence of an occurrence.

    Args:
        title: of the task.
        met: how it was met.
        consumed: used / allowed when it was done, else at the month's end.
        line_on: the last day before its line.
        until: the last day of its tolerance.
        passed_on: when the next due point was reached, where this one was passed over.
        is_open: whether it was still not done at the month's end.
        is_deferred: whether a deferral was approved.
    """
    share = "" if consumed is None else f" at {100 * consumed:,.1f} % of its interval"
    match met:
        case "on_time":
            told = f"done on time{share}"
        case "early":
            told = f"done early{share}; it starts again, and is not counted"
        case "pending":
            told = f"past its line of {line_on}, still inside its tolerance, not done{share}"
        case "deferred":
            told = f"past its line of {line_on}, deferred, not done{share}"
        case "late" | "missed":
            told = _late_text(share, until, passed_on, is_open=is_open)
    return f"{title}: {told}" + (", under a deferral" if is_deferred and met in ("late", "missed", "on_time") else "")


def _late_text(share: str, until: date | None, passed_on: date | None, *, is_open: bool) -> str:
    """Return what is said of an occurrence that is late."""
    ended = "" if until is None else f"; its tolerance ended on {until.isoformat()}"
    if passed_on is not None:
        return f"missed{ended}, and the next due point was reached on {passed_on.isoformat()}"
    return f"late and not done{share}{ended}" if is_open else f"done late{share}{ended}"
