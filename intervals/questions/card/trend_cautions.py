"""The caution that stands beside a measure on a card: which limit its trend reaches before the task is next due.

In: earlier results of a measure, its limits, the days on which its tasks are next due. Out: a `TrendCaution` in the card's language, or
None. Whether a limit is reached is decided in `trends.py`, for explanations too. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from intervals.questions.card.card_models import LastResult, TrendCaution
from intervals.questions.card.card_words import number_in, words_in
from intervals.questions.card.trends import ReachedLimit, reached_limits, results_of

_DECIMALS = 6
_SIGNS = 3
"""A slope is shown with three digits that count."""


def trend_caution(
    earlier: Sequence[LastResult], limits: Mapping[str, float | None], unit: str, due_on: Iterable[date | None], language: str
) -> TrendCaution | None:
    """Return the first limit that the trend of a measure reaches before one of its tasks is next due; None where it reaches none.

    Args:
        earlier: its results, the newest last.
        limits: bounds by their word; None where one is not known.
        unit: the unit of results and bounds.
        due_on: when each task of the step is next due.
        language: the code of the card's language.
    """
    days = [day for day in due_on if day is not None]
    reached = list(reached_limits(results_of(earlier), limits, max(days, default=None))) if earlier else []
    if not reached:
        return None
    first = min(reached, key=lambda each: each.reached_on)
    return TrendCaution(
        results=tuple(earlier[-len(first.results) :]),
        slope_per_year=round(first.slope_per_year, _DECIMALS) + 0.0,
        limit=first.limit,  # type: ignore[arg-type]  # a word of a MeasureLimits
        bound=round(first.bound, _DECIMALS) + 0.0,
        reached_on=first.reached_on.isoformat(),
        due_on=first.due_on.isoformat(),
        text=_text_of(first, unit, language),
    )


def _text_of(reached: ReachedLimit, unit: str, language: str) -> str:
    """Return the caution in words."""
    words = words_in(language)
    slope, bound = (f"{number_in(value, language)} {unit}".rstrip() for value in (_shown(abs(reached.slope_per_year)), reached.bound))
    return words["trend_rises" if reached.slope_per_year > 0 else "trend_falls"].format(
        slope=slope,
        count=len(reached.results),
        first=reached.results[0].at.date().isoformat(),
        last=reached.results[-1].at.date().isoformat(),
        bound=words[reached.limit].format(bound=bound),
        day=reached.reached_on.isoformat(),
        due=reached.due_on.isoformat(),
    )


def _shown(slope: float) -> float:
    """Return a slope with the digits that count."""
    return float(f"{slope:.{_SIGNS}g}")
