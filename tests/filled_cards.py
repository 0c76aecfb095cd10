"""Cards filled in for tests: every step done as it is written, one after the other, unless a test says otherwise.

Waits take exactly their minutes (ten where the engine does not state them), values lie in the middle of their limits, amounts that have no
limits are 100.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from intervals.questions.card.card_code import card_document
from intervals.questions.card.card_models import Card, StepLine
from intervals.questions.record.handed_in import HandedIn, handed_in_text

STEP_MIN = 1.0
WAIT_MIN = 10.0
AMOUNT = 100.0


def filled(card: Card, started_at: str, *, steps: dict[str, Any] | None = None, **changes: Any) -> HandedIn:  # noqa: ANN401 - any key of what is handed in
    """Return a card as it is handed in: each step done, one minute after the other.

    Args:
        card: the card.
        started_at: when the work begins, local to the site.
        steps: what differs, by the id of the step or the last part of it; None leaves a step out.
        changes: other keys of what is handed in.
    """
    at = datetime.fromisoformat(started_at)
    given: dict[str, Any] = {}
    for step in card.steps:
        minutes = (step.minutes if step.minutes is not None else WAIT_MIN) if step.kind == "wait" else STEP_MIN
        end = at + timedelta(minutes=minutes)
        told: dict[str, Any] | None = _as_written(step, at, end)
        for name, change in (steps or {}).items():
            if step.id == name or step.id.endswith(f".{name}"):
                told = None if change is None else {**(told or {}), **change}
        if told is not None:
            given[step.id] = told
        at = end
    document = {
        "schema": "intervals.handed-in/1",
        "card": card_document(card),
        "started_at": started_at,
        "ended_at": at.isoformat(timespec="minutes"),
        "by": "AB",
        "released_by": "CD",
        "steps": given,
        **changes,
    }
    return HandedIn.model_validate(document)


def write_filled(handed: HandedIn, folder: Path) -> Path:
    """Write what is handed in as a phone saves it, and return the file."""
    path = folder / f"{handed.code}.card.json"
    path.write_text(handed_in_text(handed), "utf-8")
    return path


def _as_written(step: StepLine, at: datetime, end: datetime) -> dict[str, Any]:
    """Return a step done as it is written."""
    if step.kind == "wait":
        return {"started_at": at.isoformat(), "ended_at": end.isoformat()}
    if step.kind == "measure":
        bounds = [value for value in (step.limits or {}).values() if value is not None]
        value = sum(bounds) / len(bounds) if len(bounds) > 1 else bounds[0] * 1.01 if bounds else AMOUNT
        if len(bounds) == 1 and next(iter(step.limits or {})) in ("at_most", "below"):
            value = bounds[0] * 0.99
        return {"value": value, "at": at.isoformat()}
    if step.kind == "sample":
        return {"label": "S-1", "at": at.isoformat()}
    return {"answer": "yes" if step.kind == "check" else "done", "at": at.isoformat()}
