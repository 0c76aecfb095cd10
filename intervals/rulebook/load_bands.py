"""Running hours by load: one table of bands, for everybody who shows hours by load.

In: the load of each step and its running hours. Out: the hours in each band. Every edge is a condition that the inference engine judges.
Refuses nothing: hours of unknown load are in no band.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats
from intervals.language.conditions import AllOf, Comparison, Condition
from intervals.rulebook.duty_cells import thresholds_of
from intervals.rulebook.inference import RuleBase
from intervals.rulebook.level_rules import judge_steps

LOAD = "load_pct"
BAND_PCT = 10
TOP_PCT = 120

LOAD_BANDS: tuple[tuple[float, float | None], ...] = (
    *((float(low), float(low + BAND_PCT)) for low in range(0, TOP_PCT, BAND_PCT)),
    (float(TOP_PCT), None),
)
"""Each band in per cent of rated: above, up to and with. A load exactly at an edge is in the band that ends there. The first band takes in
all that is below it, the last one has no end."""


class HoursByBand(NamedTuple):
    """Running hours by load.

    Attributes:
        hours_h: the hours in each of `LOAD_BANDS`.
        unknown_h: the hours of which no load is known.
    """

    hours_h: tuple[float, ...]
    unknown_h: float


def hours_by_band(load_pct: Floats, hours_h: Floats) -> HoursByBand:
    """Return the running hours in each band of load.

    Args:
        load_pct: the load of each step, per cent of rated; NaN where it is unknown.
        hours_h: the running hours of each step.

    Example:
        >>> hours_by_band(np.array([70.0, 70.5, np.nan]), np.array([2.0, 3.0, 1.0])).hours_h[6:8]
        (2.0, 3.0)
    """
    rules = _rules_of_bands()
    judged = judge_steps(rules, {LOAD: load_pct}, thresholds_of(rules.rules.values(), {LOAD}), len(load_pct))
    unknown = len(LOAD_BANDS)
    place = {name: number for number, name in enumerate(rules.rules)}
    band = np.array([place[verdict.holds[0]] if verdict.holds else unknown for verdict in judged.verdicts], dtype=np.int64)
    sums = np.bincount(band[judged.cell], weights=hours_h, minlength=unknown + 1).tolist()
    return HoursByBand(tuple(sums[:unknown]), sums[unknown])


@cache
def _rules_of_bands() -> RuleBase:
    """Return the bands, compiled, in their order."""
    return RuleBase("load band", {f"load above {above:g}": _condition_of(above, up_to) for above, up_to in LOAD_BANDS})


def _condition_of(above: float, up_to: float | None) -> Condition:
    """Return the condition of one band."""
    parts = [Comparison(LOAD, ">", above)] if above > 0 else []
    if up_to is not None:
        parts.append(Comparison(LOAD, "<=", up_to))
    return AllOf(tuple(parts))
