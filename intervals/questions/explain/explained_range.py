"""How the expected days of a leg come about, in lines: what is left, the range, what it rests on, how such ranges held before.

In: what of a leg was used and is left. Out: `Step`s, and the sentence about the engine's own earlier forecasts.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from intervals.language.legs import rounded
from intervals.language.phrases import name_in_words
from intervals.questions.explain.explanation_models import Step
from intervals.shown_numbers import exact
from intervals.windows.ranges_ahead import LegUse
from intervals.windows.use_ahead import FEWEST_TRIED, UseAhead

MEAN_ONLY = "no range: the log holds less than a fortnight"
HALF_A_YEAR = "from the last half year, as the log is shorter than fourteen months"
SEASONS = "from the same seasons of past years"
FAR = "further ahead than ranges were ever tried on, so that it says no more than that it is far off"
TRIED_TO_D = 3652
"""No range was ever tried on what lies further ahead than ten years."""
NOT_FORESEEABLE = "not foreseeable: at what its log shows, not within a hundred years"
UNTRIED = "the range is not tried on this engine"


def range_sums(use: LegUse, left: float, unit: str, from_us: int, label: str) -> Iterator[Step]:
    """Yield how the days follow on which what is left is used up.

    Args:
        use: what of the leg was used.
        left: what is left, in its unit.
        unit: that unit.
        from_us: from when on it is used up, UTC microseconds.
        label: the leg, or what else comes to its end.
    """
    case = use.case
    on, early, late = use.range_of(left, from_us)
    since = f"from {case.days.last_day_before(from_us).isoformat()} on"
    since += ", laid-up days left out" if any(end_us > from_us for _, end_us in case.log.active.spans_us) else ""
    if (use.ahead is None or use.case.is_silent) and use.pace:
        sums = f"{exact(left)} {unit} left / {exact(rounded(use.pace))} {unit} per day = {exact(rounded(left / use.pace))} d {since}"
        sums += f": {_shown(on)}" + (", as the log is silent" if use.ahead is not None else "")
    else:
        sums = f"{exact(left)} {unit} left, used up {since}: {_shown(on)}"
    yield Step(label=f"{label} expected", sum=sums)
    if use.ahead is None:
        yield Step(label=f"{label} range", sum=MEAN_ONLY)
        return
    spread = _shown(on) if on == early == late else f"{_shown(early)} to {_shown(late)}"
    far = f"; {FAR}" if on is not None and on.toordinal() - case.last_day.toordinal() > TRIED_TO_D else ""
    yield Step(label=f"{label} range", sum=f"{spread}; {basis_of(use.ahead)}; {tried_text(use.ahead, use.name)}{far}")


def basis_of(ahead: UseAhead) -> str:
    """Return what a range is made of, in words."""
    return SEASONS if ahead.is_seasonal else HALF_A_YEAR


def tried_text(ahead: UseAhead, name: str) -> str:
    """Return how many of the engine's own earlier forecasts came inside their range, in one clause.

    Args:
        ahead: the paths of a leg.
        name: the leg.
    """
    held, tried = ahead.share_held
    if tried:
        return f"of {tried} earlier forecasts of its {name_in_words(name)} {held} came inside the range"
    finished = ahead.widening.finished
    if finished < FEWEST_TRIED:
        return UNTRIED
    return f"widened by its {finished} earlier forecasts, too few to try the range on"


def range_sentence(use: LegUse) -> str:
    """Return what the due dates of an engine rest on, and how such ranges held before, as one sentence."""
    if use.ahead is None:
        return f"Due dates by {name_in_words(use.name)} have {MEAN_ONLY}."
    if not use.ahead.is_seasonal:
        return f"Ranges are {HALF_A_YEAR}; {UNTRIED}."
    text = tried_text(use.ahead, use.name)
    return f"{text[0].upper()}{text[1:]}."


def _shown(day: date | None) -> str:
    """Return a day, or that it is not foreseeable."""
    return "not foreseeable" if day is None else day.isoformat()
