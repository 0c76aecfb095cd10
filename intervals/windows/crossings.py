"""When a window's line was crossed.

In: a task's chain and one of its windows. Out: instants. Whether it was crossed at all was judged; here the moment is looked up.
"""

from __future__ import annotations

from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.legs import CALENDAR, LegState, instant_of_line


def crossing_us(chain: TaskChain, window: WindowEnd) -> int | None:
    """Return when a window's line was crossed: the earliest crossing of any leg, for `last` the latest; None if it was not."""
    crossings = [leg_crossing_us(chain, window, leg) for leg in window.legs]
    known = [at for at in crossings if at is not None]
    if not known or (chain.task.whichever == "last" and len(known) < len(crossings)):
        return None
    return min(known) if chain.task.whichever == "first" else max(known)


def leg_crossing_us(chain: TaskChain, window: WindowEnd, leg: LegState) -> int | None:
    """Return when one leg of a window was crossed, the window's factors held fixed; None if it was not by its end."""
    if leg.past_by is None or leg.past_by <= 0:
        return None
    if leg.leg == CALENDAR:
        at_us = chain.case.calendar_crossing_us(chain.task, leg)
        return at_us if at_us is not None and at_us <= window.end_us else None
    totals = chain.case.leg_totals(chain.task, leg.leg)
    if totals is None:
        return None
    low, high = window.start.edge, window.end_edge + 1
    used = totals[low:high] - totals[low] + window.start.carried.get(leg.leg, 0.0)
    return instant_of_line(chain.case.ledger.edges_us[low:high], used, leg.allowed)
