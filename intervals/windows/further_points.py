"""The due points of a leg of use one after the other: the first at what is allowed, each further one an interval later.

In: a leg of a window. Out: what is allowed up to each of its due points, and how many were passed. A new engine's first intervals follow
one another (`first` as a list); after them each interval is the recurring one. Nothing is decided here.
"""

from __future__ import annotations

from decimal import Decimal

from intervals.language.legs import rounded
from intervals.windows.leg_states import LegState, exact

GRAIN = 1e-6


def allowed_up_to(leg: LegState, number: int) -> float:
    """Return what a leg of use is allowed up to its number-th further due point; number 0 is the first one."""
    series = leg.further[:number]
    return rounded(leg.allowed + sum(series) + (number - len(series)) * leg.recurring)


def interval_up_to(leg: LegState, number: int) -> float:
    """Return the interval of a leg of use that ends at its number-th further due point; of the first one what is allowed."""
    if number == 0:
        return leg.allowed
    return leg.further[number - 1] if number <= len(leg.further) else leg.recurring


def further_passed(leg: LegState, over: float) -> tuple[int, float]:
    """Return how many further due points of a leg lie in what it is past its first one, and what is left after the last of them.

    Args:
        leg: a leg of use.
        over: used minus allowed, zero or more.

    Returns:
        Exact in decimals: 500 h past with intervals of 250 h are two, and nothing is left.

    Example:
        >>> from intervals.windows.leg_states import leg_state
        >>> leg = leg_state("running_hours", "h", 500.0, 320.0, 50.0, 500.0, 5.0, is_known=True, further=(250.0,))
        >>> further_passed(leg, 270.0), further_passed(leg, 249.0), further_passed(leg, 1270.0)
        ((1, 20.0), (0, 249.0), (3, 20.0))
    """
    left, passed = exact(over), 0
    for interval in leg.further:
        if left < exact(interval):
            return passed, float(left)
        left, passed = left - exact(interval), passed + 1
    recurring = exact(leg.recurring)
    return (passed, float(left)) if recurring <= 0 else (passed + int(left // recurring), float(left % recurring))


def reached_of_use(leg: LegState) -> int:
    """Return how many due points of a leg of use were reached; none where its use is unknown."""
    if leg.used is None or leg.used < leg.allowed - GRAIN / 2:
        return 0
    over = Decimal(str(leg.used)) - Decimal(str(leg.allowed))
    return 1 + further_passed(leg, float(max(over, Decimal(0))))[0]


def jobs_worth(leg: LegState) -> float:
    """Return how many jobs the use of a window was worth: the share of its interval; past its line those of the intervals after it."""
    if leg.used is None or leg.consumed is None or leg.used <= leg.allowed:
        return leg.consumed or 0.0
    if leg.recurring <= 0:
        return 1.0
    if not leg.further:
        return 1.0 + (leg.used - leg.allowed) / leg.recurring
    passed, left = further_passed(leg, leg.used - leg.allowed)
    return 1.0 + passed + left / interval_up_to(leg, passed + 1)
