"""An engine's runs: consecutive elementary steps between which nothing shows a stop.

In: elementary steps, and how finely the hour meter shows. Out: `EngineRuns`, the running minutes of each step and the run that it
belongs to. Refuses nothing: a step whose minutes cannot be laid to one run belongs to none.

A step with at least 99 % of its time on the meter runs in full, and its minutes are all its time. One that runs in part can only
begin a run or end one, since the engine stopped in it: between two running neighbours its minutes count for neither. Where there was
load, less by what the meter cannot show is full too, and on steps shorter than that only the load decides: a meter's resolution is no
shortfall. But a run is no longer than the meter's hours on it and once its resolution. A step of more than
two hours that ran in part is a run of its own if no more than one start is counted in it, such as a weekly row with half an hour;
without a counter of starts nothing shows whether it ran in one go. A start separates a step from the one before, and a step in part
with several starts belongs to no run.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from intervals.arrays import Flags, Floats
from intervals.local_days import HOUR_US
from intervals.usage.steps import Steps

FULL_SHARE = 0.99
LONGEST_JOINED_H = 2.0
HALF_A_START = 0.5
SEVERAL_STARTS = 1.5
NOTHING_MIN = 1e-6
_GRAIN = 1e-6


class EngineRuns(NamedTuple):
    """The runs of one engine.

    Attributes:
        minutes: running minutes of each step, 0 where it belongs to no run.
        is_full: whether the step runs in full.
        spans: first step and the step after the last one, by run.
        unknown_h: hours in steps of which nothing shows whether they were run in one go.
    """

    minutes: Floats
    is_full: Flags
    spans: tuple[tuple[int, int], ...]
    unknown_h: float


def find_engine_runs(steps: Steps, resolution_h: Floats | float = 0.0, *, log_from_us: int = 0) -> EngineRuns:
    """Return the runs of an engine.

    Args:
        steps: its elementary steps.
        resolution_h: how finely its hour meter shows, on each step or on all.
        log_from_us: when its log begins: no row could have shown what was before.
    """
    elapsed = np.diff(steps.at_us) / HOUR_US
    doubt = np.broadcast_to(np.asarray(resolution_h, dtype=np.float64), elapsed.shape)
    hours = _hours_of_runs(steps)
    surely = hours >= FULL_SHARE * elapsed - _GRAIN
    loaded = _is_loaded(steps)
    is_shown = np.zeros(len(hours), dtype=np.bool_) if steps.shows is None else steps.shows == 1
    full = surely | (loaded & (elapsed < doubt - _GRAIN))
    full |= loaded & (hours > 0) & (elapsed - hours < doubt - _GRAIN)
    full |= is_shown & ((hours > 0) | (elapsed < doubt - _GRAIN))
    minutes = np.where(full, elapsed, hours) * 60.0
    starts = steps.increments.get("starts")
    fresh = np.zeros(len(hours), dtype=np.bool_) if starts is None else starts > HALF_A_START
    runs = (minutes > NOTHING_MIN) & (elapsed > 0)
    part = runs & ~full
    coarse = part & (elapsed > LONGEST_JOINED_H)
    unknown = coarse if starts is None else part & (starts > SEVERAL_STARTS)
    runs &= ~unknown
    joined = _joined(runs, coarse, fresh)
    runs &= ~(part & joined & np.append(joined[1:], False))
    joined = _joined(runs, coarse, fresh)
    firsts = np.flatnonzero(runs & ~joined)
    lasts = np.flatnonzero(runs & ~np.append(joined[1:], False))
    spans = tuple(zip(firsts.tolist(), (lasts + 1).tolist(), strict=True))
    minutes = _bounded(np.where(runs, minutes, 0.0), np.where(surely, np.maximum(elapsed, hours), hours) * 60.0, doubt * 60.0, spans)
    return EngineRuns(minutes, full, spans, float(hours[unknown & (steps.at_us[1:] > log_from_us)].sum()))


def _hours_of_runs(steps: Steps) -> Floats:
    """Return the hours of each step that can be of a run: those that are known, and are no rounding of the meter beside rows of load."""
    hours = np.where(steps.is_known, steps.hours_h, 0.0)
    return hours if steps.shows is None else np.where(steps.shows == 0, 0.0, hours)


def _bounded(minutes: Floats, by_meter: Floats, doubt_min: Floats, spans: Sequence[tuple[int, int]]) -> Floats:
    """Return minutes of which those of a run are no more than its meter's and once its resolution; what is too much goes evenly."""
    more = minutes - by_meter
    if not (more > _GRAIN).any():
        return minutes
    minutes = minutes.copy()
    for first, end in spans:
        most = float(by_meter[first:end].sum() + doubt_min[first:end].max())
        too_much, beyond = float(minutes[first:end].sum()) - most, np.maximum(more[first:end], 0.0)
        if too_much > _GRAIN:
            minutes[first:end] -= beyond * min(1.0, too_much / float(beyond.sum()))
    return minutes


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
