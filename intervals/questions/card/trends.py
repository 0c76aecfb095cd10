"""Measured values over the cards of an engine: where they are going, and whether they reach a limit before the task is due again.

In: the results of one measure in order of time, its limits, the day on which its task is due. Out: the limits that are reached before that
day, with the figures behind it, for cards and explanations alike. Whether a limit is reached first is put to the rules. The slope is the
median of the slopes between each two results (Theil and Sen): one odd value moves it little.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import combinations
from math import isfinite
from statistics import median
from typing import NamedTuple

from intervals.findings import Finding
from intervals.language.legs import rounded
from intervals.questions.card.card_models import LastResult
from intervals.rulebook.evidence_rules import evidence_rules
from intervals.shown_numbers import figure

LAST_RESULTS = 8
"""So many of the last results make the slope."""
LEAST_RESULTS = 3
_DAY = timedelta(days=1)
_DAYS_A_YEAR = 365
_FURTHEST_DAYS = 36525.0
_UPPER = ("at_most", "below")


class Result(NamedTuple):
    """A result: when, its value, and the code of its card."""

    at: datetime
    value: float
    card: str


class ReachedLimit(NamedTuple):
    """A limit that the trend of a measure reaches before its task is due.

    Attributes:
        limit: the word of the limit.
        bound: its value, in the unit of the results.
        slope_per_year: the robust slope, in that unit per year of 365 days; it rises where it is above zero.
        results: those that make the slope, in order of time.
        reached_on: the day on which the slope, laid on the last result, meets the bound.
        due_on: the day on which the task is due.
    """

    limit: str
    bound: float
    slope_per_year: float
    results: tuple[Result, ...]
    reached_on: date
    due_on: date


def results_of(earlier: Sequence[LastResult]) -> list[Result]:
    """Return earlier results of one measure with their moments, in order of time.

    Args:
        earlier: as `LastResults.of` returns them.
    """
    return sorted(Result(datetime.fromisoformat(each.at).replace(tzinfo=None), each.value, each.card) for each in earlier)


def due_again_on(finding: Finding) -> date | None:
    """Return the day on which a task is due again: its due date, else the day that is foreseen; None where neither is known."""
    day = finding.due_on or (finding.forecast.on if finding.forecast is not None else None)
    return None if day is None else date.fromisoformat(day)


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


def reached_limits(results: Sequence[Result], limits: Mapping[str, float | None], due_on: date | None) -> Iterator[ReachedLimit]:
    """Yield each limit that the trend of a measure reaches before its task is due; a rule decides whether it does.

    Args:
        results: in order of time.
        limits: bounds by their word; None where one is not known.
        due_on: when the task is due; None where that is not known, and nothing is yielded.
    """
    slope = slope_per_day(results)
    # figures that no engine has, such as 1e308, make no slope
    if slope is None or due_on is None or not isfinite(slope * _DAYS_A_YEAR):
        return
    last = results[-1]
    for word, bound in limits.items():
        if bound is None or slope == 0 or (slope > 0) != (word in _UPPER):
            continue
        days = rounded(min(max(0.0, (bound - last.value) / slope), _FURTHEST_DAYS))
        reached = last.at.date() + timedelta(days=int(days))
        if evidence_rules().trends.fire({"limit_before_due_d": float((due_on - reached).days)}).holds:
            yield ReachedLimit(word, bound, slope * _DAYS_A_YEAR, tuple(results[-LAST_RESULTS:]), reached, due_on)


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
    for each in reached_limits(results, limits, due_on):
        per_year = f"{figure(abs(each.slope_per_year))} {unit}".rstrip()
        yield (
            f"{name} {'rises' if each.slope_per_year > 0 else 'falls'} by {per_year} a year over its last {len(each.results)} results: "
            f"at that it reaches {figure(each.bound)} {unit}".rstrip()
            + f" on {each.reached_on.isoformat()}, before the task is due again"
        )
