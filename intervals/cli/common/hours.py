"""Readings of an hour meter as a person types them.

In: an option and its figure. Out: what is wrong with it. Refuses (CLI161) what no hour meter shows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intervals.problems import Problem


def hours_problems(option: str, hours: float | None) -> list[Problem]:
    """Return what is wrong with a reading of an hour meter, h; nothing where none was typed.

    Args:
        option: the option that it was typed for.
        hours: the reading.
    """
    if hours is None:
        return []
    from intervals.problems import Problem
    from intervals.questions.record.stated_values import MOST_H, is_meter_reading

    if is_meter_reading(hours):
        return []
    return [Problem("CLI161", option, None, None, f"no hour meter shows {hours:g} h", f"write hours between 0 and {MOST_H:,.0f}")]
