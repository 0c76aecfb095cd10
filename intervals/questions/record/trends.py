"""Measured values over the cards of an engine: where they are going, and whether they reach a limit before the task is due again.

In: `MeasureLine` values of one measure in order of time, its limits, the day on which it is due. Out: sentences. Whether a limit is reached
first is put to the rules. The slope is the median of the slopes between each two results (Theil and Sen): one odd value moves it little.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import combinations
from math import isfinite
from statistics import median
from typing import NamedTuple

from intervals.language.legs import rounded
from intervals.questions.record.record_models import MeasureLine
from intervals.rulebook.evidence_rules import evidence_rules
from intervals.shown_numbers import figure

LAST_RESULTS = 8
"""So many of the last results make the slope."""
LEAST_RESULTS = 3
_DAY = timedelta(days=1)
_FURTHEST_DAYS = 36525.0
_UPPER = ("at_most", "below")


class Result(NamedTuple):
    """A result: when, its value, and the code of its card."""

    at: datetime
    value: float
    card: str


def results_of(lines: Sequence[MeasureLine], measure: str, unit: str) -> list[Result]:
    """Return the results of a measure in order of time; lines that are none, or in another unit, are passed over.

    Args:
        lines: of one engine.
        measure: its name.
        unit: its unit.
    """
    found = []
    for line in lines:
        if line.measure != measure or line.unit != unit:
            continue
        try:
            at, value = datetime.fromisoformat(line.at), float(line.value)
        except ValueError:
            continue
        if isfinite(value):
            found.append(Result(at.replace(tzinfo=None), value, line.card))
    return sorted(found)


def slope_per_day(results: Sequence[Result]) -> float | None:
    """Return the robust slope of the last results, in their unit a day; None of fewer than three, or all of one moment.

    Example:
        >>> day = [datetime(2026, 1, number) for number in (1, 11, 21, 31)]
        >>> slope_per_day([Result(at, value, "") for at, value in zip(day, (0.30, 0.31, 0.90, 0.33))])
        0.001...
    """
    last = results[-LAST_RESULTS:]
    slopes = [(other.value - one.value) / ((other.at - one.at) / _DAY) for one, other in combinations(last, 2) if other.at > one.at]
    return median(slopes) if len(last) >= LEAST_RESULTS and slopes else None


def trend_cautions(
    results: Sequence[Result], name: str, unit: str, limits: Mapping[str, float | None], due_on: date | None
) -> Iterator[str]:
    """Yield a sentence for each limit that the trend of a measure reaches before its task is due again.

    Args:
        results: in order of time.
        name: the measure's name.
        unit: its unit.
        limits: bounds by their word; None where one is not known.
        due_on: when the task is due again; None where that is not known.
    """
    slope = slope_per_day(results)
    if slope is None or due_on is None:
        return
    last = results[-1]
    for word, bound in limits.items():
        if bound is None or slope == 0 or (slope > 0) != (word in _UPPER):
            continue
        days = rounded(min(max(0.0, (bound - last.value) / slope), _FURTHEST_DAYS))
        reached = last.at.date() + timedelta(days=int(days))
        if evidence_rules().trends.fire({"limit_before_due_d": float((due_on - reached).days)}).holds:
            per_year = f"{figure(abs(slope) * 365)} {unit}".rstrip()
            yield (
                f"{name} {'rises' if slope > 0 else 'falls'} by {per_year} a year over its last {min(len(results), LAST_RESULTS)} results: "
                f"at that it reaches {figure(bound)} {unit}".rstrip()
                + f" on {reached.isoformat()}, before the task is due again"
            )
