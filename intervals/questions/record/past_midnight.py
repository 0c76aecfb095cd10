"""Times of day alone in a sheet that go on past midnight, and so cannot all be of the card's day.

In: the times of a sheet in the order of its rows. Out: the first that cannot be of that day, with what to type. Nothing is guessed.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

_HALF_A_DAY = timedelta(hours=12)
_STARTED, _ENDED = "started_at", "ended_at"


class TypedTime(NamedTuple):
    """A time of a sheet.

    Attributes:
        line: its line.
        step: the step that it is of; empty where it is of the whole job.
        name: the name of its column, or of its row.
        typed: as it was typed.
        at: ISO 8601.
        is_alone: whether it was typed without a day.
    """

    line: int
    step: str
    name: str
    typed: str
    at: str
    is_alone: bool

    @property
    def instant(self) -> datetime:
        """The time on the site's clock."""
        return datetime.fromisoformat(self.at).replace(tzinfo=None)


def past_midnight(times: Sequence[TypedTime], day: str) -> tuple[int, str, str] | None:
    """Return the line of the first time alone that cannot be of the card's day, what is wrong, and what to type; None where there is none.

    A time alone is of the day of the card. It cannot be where it lies before the beginning of the same work, or more than half a day before
    the step that stands above it.

    Args:
        times: the times, in the order of the rows.
        day: the ISO day of the card.
    """
    head = {each.name: each for each in times if not each.step}
    steps = [each for each in times if each.step]
    one_after_the_other = [*filter(None, [head.get(_STARTED)]), *steps, *filter(None, [head.get(_ENDED)])]
    pairs = [(one, other, timedelta(0)) for one, other in itertools.pairwise(steps) if _is_span(one, other)]
    if _STARTED in head and _ENDED in head:
        pairs.insert(0, (head[_STARTED], head[_ENDED], timedelta(0)))
    pairs += [(one, other, _HALF_A_DAY) for one, other in itertools.pairwise(one_after_the_other)]
    for one, other, least in pairs:
        if other.is_alone and one.instant - other.instant > least:
            next_day = (date.fromisoformat(day) + timedelta(days=1)).isoformat()
            text = (
                f"{other.name} {other.typed} lies before {one.name} {one.typed} of line {one.line}: "
                f"a time without a day is of the card's day, {day}"
            )
            fix = f"type the day with each time after midnight, here {next_day} {other.at[11:16]}, if that is meant"
            return other.line, text, fix
    return None


def _is_span(one: TypedTime, other: TypedTime) -> bool:
    """Tell whether two times are the beginning and the end of the same step."""
    return (one.step, one.name, other.name) == (other.step, _STARTED, _ENDED)
