"""An engine's runs: consecutive elementary steps between which nothing tells of a stop.

In: elementary steps, and how finely the hour meter shows. Out: `EngineRuns`, the running minutes of each step and the run that it
belongs to. Refuses nothing: a step whose minutes cannot be laid to one run belongs to none.

A step with at least 99 % of its time on the meter runs in full, and its minutes are all its time. One that runs in part can only
begin a run or end one, since the engine stopped in it: between two running neighbours its minutes count for neither. Where the meter
shows tenths, a tenth less is full too if there was load, and on steps shorter than a tenth the load tells alone. A step of more than
two hours that ran in part is a run of its own if no more than one start is counted in it, such as a weekly row with half an hour;
without a counter of starts nothing tells whether it ran in one go. A start separates a step from the one before, and a step in part
with several starts belongs to no run.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.localdays import HOUR_US
from intervals.usage.course import Course, Floats
from intervals.usage.steps import Steps

FULL_SHARE = 0.99
TENTH_H = 0.1
LONGEST_JOINED_H = 2.0
HALF_A_START = 0.5
SEVERAL_STARTS = 1.5
NOTHING_MIN = 1e-6
_GRAIN = 1e-6

Flags = NDArray[np.bool_]


class EngineRuns(NamedTuple):
    """The runs of one engine.

    Attributes:
        minutes: running minutes of each step, 0 where it belongs to no run.
        is_full: whether the step runs in full.
        spans: first step and the step after the last one, by run.
        untold_h: hours in steps of which nothing tells whether they were run in one go.
    """

    minutes: Floats
    is_full: Flags
    spans: tuple[tuple[int, int], ...]
    untold_h: float


def shows_tenths(course: Course) -> bool:
    """Tell whether the hour meter shows no more than tenths of an hour."""
    if not course.is_known:
        return False
    tenths = course.reading_h / TENTH_H
    return bool((np.abs(tenths - np.round(tenths)) < _GRAIN).all())


def find_engine_runs(steps: Steps, *, in_tenths: bool) -> EngineRuns:
    """Return the runs of an engine.

    Args:
        steps: its elementary steps.
        in_tenths: whether its hour meter shows no more than tenths.
    """
    elapsed = np.diff(steps.at_us) / HOUR_US
    hours = np.where(steps.is_known, steps.hours_h, 0.0)
    surely = hours >= FULL_SHARE * elapsed - _GRAIN
    full = surely
    if in_tenths:
        loaded = _is_loaded(steps)
        surely = surely | (loaded & (elapsed < TENTH_H - _GRAIN))
        full = surely | (loaded & (hours > 0) & (elapsed - hours < TENTH_H - _GRAIN))
    minutes = np.where(surely, elapsed, hours) * 60.0
    starts = steps.increments.get("starts")
    fresh = np.zeros(len(hours), dtype=np.bool_) if starts is None else starts > HALF_A_START
    runs = (minutes > NOTHING_MIN) & (elapsed > 0)
    part = runs & ~full
    coarse = part & (elapsed > LONGEST_JOINED_H)
    untold = coarse if starts is None else part & (starts > SEVERAL_STARTS)
    runs &= ~untold
    joined = _joined(runs, coarse, fresh)
    runs &= ~(part & joined & np.append(joined[1:], False))
    joined = _joined(runs, coarse, fresh)
    # between two neighbours a step that is full as far as a tenth can tell took all its time
    minutes = np.where(full & joined & np.append(joined[1:], False), elapsed * 60.0, minutes)
    firsts = np.flatnonzero(runs & ~joined)
    lasts = np.flatnonzero(runs & ~np.append(joined[1:], False))
    spans = tuple(zip(firsts.tolist(), (lasts + 1).tolist(), strict=True))
    return EngineRuns(np.where(runs, minutes, 0.0), full, spans, float(hours[untold].sum()))


def _joined(runs: Flags, alone: Flags, fresh: Flags) -> Flags:
    """Return which steps go on with the run of the step before."""
    after = runs & ~alone & ~fresh
    return np.concatenate(([False], after[1:] & (runs & ~alone)[:-1])) if len(runs) else runs


def _is_loaded(steps: Steps) -> Flags:
    """Return the steps on which a load above nothing is logged."""
    loaded = np.zeros(len(steps.hours_h), dtype=np.bool_)
    for name in ("load_kw", "load_pct"):
        level = steps.levels.get(name)
        if level is not None:
            loaded |= np.nan_to_num(level, nan=0.0) > 0
    return loaded
