"""How much oil each engine uses up between changes, by its own log: litres topped up per running hour, and hours per day.

In: engines as they were judged. Out: an `OilUse` for each whose log counts oil added. It extrapolates; it judges nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from intervals.history.engine_case import EngineCase
from intervals.local_days import DAY_US

OIL = "oil_added_l"
_YEAR_D, _RECENT_D = 365, 90


class OilUse(NamedTuple):
    """What an engine uses up.

    Attributes:
        litres_per_h: oil added per running hour of the last twelve months, L.
        hours_per_day: running hours per day of the last 90 days, h.
    """

    litres_per_h: float
    hours_per_day: float


def oil_use_of(case: EngineCase) -> OilUse | None:
    """Return what an engine uses up; None where its log does not count oil added, or it did not run.

    Args:
        case: the engine.
    """
    totals = case.ledger.totals.get(OIL)
    end_us = case.log.log_end_us
    if totals is None or end_us is None:
        return None
    end_us = min(end_us, case.end_us)
    edges = case.ledger.edges_us
    points = np.array([end_us - _YEAR_D * DAY_US, end_us - _RECENT_D * DAY_US, end_us], dtype=np.int64)
    hours = np.interp(points, edges, case.ledger.running_h)
    litres = np.interp(points, edges, totals)
    ran_h = float(hours[2] - hours[0])
    known_d = min(float(_RECENT_D), float(end_us - edges[0]) / DAY_US)
    if ran_h <= 0 or known_d <= 0:
        return None
    return OilUse(float(litres[2] - litres[0]) / ran_h, float(hours[2] - hours[1]) / known_d)
