"""The day on which a task is due, as a hand works it out from an even pace, against the range that a finding gives."""

from __future__ import annotations

from typing import Any


def holds_day(finding: dict[str, Any], day: str) -> bool:
    """Tell whether a finding is due on a day, or where that is foreseen, whether its range holds it; a late day that is open holds all."""
    foreseen = finding["forecast"]
    if foreseen is None or finding["due_on"] == day:
        return bool(finding["due_on"] == day)
    return bool(foreseen["early"] <= day <= (foreseen["late"] or day))
