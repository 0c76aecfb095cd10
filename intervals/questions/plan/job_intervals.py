"""For how many days a completion lasts, and how many days a tolerance is: legs of use at the pace that the finding itself shows.

In: a finding, its task, the last day of which its use is known. Out: whole days, rounded down. It extrapolates; it judges nothing.
What a finding says of use is that up to this day: where the log has ended, nothing is known of the days since.
"""

from __future__ import annotations

import math
from datetime import date

from intervals.findings import Finding, Leg
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, ELAPSED_HOURS
from intervals.rules.tasks import Task

_HOURS_A_DAY = 24.0
_LONGEST_D = 36_525
_FEW_D = 7


def interval_days(finding: Finding, task: Task, today: date, known_to: date) -> int | None:
    """Return for how many days a completion lasts, at least one; None of a task that is done once, or of which it is unknown.

    Args:
        finding: the finding.
        task: its task.
        today: the day of judging.
        known_to: the last day of which its use is known.
    """
    if task.is_once:
        return None
    every = task.every_in_force(today)
    days: list[float] = []
    for leg in finding.legs:
        written = None if every is None else every.legs.get(leg.leg)
        found = _leg_days(finding, leg, written, today, known_to)
        if found is not None:
            days.append(found)
    if not days or (task.whichever == "last" and len(days) < len(finding.legs)):
        return None
    whole = math.floor(max(days) if task.whichever == "last" else min(days))
    return None if whole > _LONGEST_D else max(1, whole)


def tolerance_days(finding: Finding, task: Task, today: date, known_to: date) -> int:
    """Return how many days after its line a task still counts as on time, by its governing leg; the least of what it says of it.

    Args:
        finding: the finding.
        task: its task.
        today: the day of judging.
        known_to: the last day of which its use is known.
    """
    leg = finding.governing_leg
    if leg is None:
        return 0
    whole = interval_days(finding, task, today, known_to) or 0
    shares = [float(task.tolerance_pct)] if task.tolerance_pct or task.tolerance is None else []
    days: list[float] = []
    if task.tolerance is not None:
        shares += [float(task.tolerance.pct)] if task.tolerance.pct is not None else []
        own = task.tolerance.legs.get(leg.leg)
        if isinstance(own, CalendarStep):
            days.append((own.after(today) - today).days)
        elif own is not None:
            pace = _pace(finding, leg, known_to)
            days.append(own / pace if pace else 0.0)
    return math.floor(min([*days, *(whole * share / 100 for share in shares)], default=0.0) + 1e-9)


def _leg_days(finding: Finding, leg: Leg, written: float | CalendarStep | None, today: date, known_to: date) -> float | None:
    """Return for how many days one leg lasts from a completion on, or None where it is unknown."""
    if isinstance(written, CalendarStep):
        return float((written.after(today) - today).days)
    if leg.leg == CALENDAR:
        return leg.allowed
    pace = _pace(finding, leg, known_to)
    if not pace or leg.allowed is None:
        return None
    # what rules make of the interval now they make of the next ones; the first interval of a new engine does not come again
    factor = leg.allowed / leg.base if isinstance(leg.base, float) and leg.base > 0 else 1.0
    return (leg.allowed if written is None else float(written) * factor) / pace


def _pace(finding: Finding, leg: Leg, known_to: date) -> float | None:
    """Return what is used up of a leg per day: as the forecast has it, else since the last completion; None where neither is known."""
    if leg.leg == ELAPSED_HOURS:
        return _HOURS_A_DAY
    done = None if finding.last_done is None else date.fromisoformat(finding.last_done.at[:10])
    ahead = None if finding.forecast is None else finding.forecast.on or finding.forecast.early
    if leg.leg == finding.governing and ahead is not None and leg.remaining is not None and leg.remaining > 0:
        # what remains is used up from there on, or from a job that was done after the log's end
        days = (date.fromisoformat(ahead) - max(known_to, done or known_to)).days
        # a day or two are too few to tell a pace from
        if days > _FEW_D:
            return leg.remaining / days
    if done is None:
        return None
    # where nothing is known of the use since the log's end, the whole interval is used up by the day that was foreseen
    used, last = (leg.used, known_to) if leg.used is not None or ahead is None else (leg.allowed, date.fromisoformat(ahead))
    since = (last - done).days
    return used / since if used is not None and since > 0 else None
