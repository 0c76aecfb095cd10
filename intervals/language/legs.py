"""Legs: the limits that an interval is made of, as they are written, each with its unit.

In: a mapping such as `{running_hours: 2000, calendar: P1Y}`. Out: amounts of use and calendar steps by leg, in the order of
the file; the one table of legs with units and words. Refuses what is no leg, no number, no duration, or not above zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from intervals.language.durations import CalendarStep, parse_step
from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.plain_values import number_of
from intervals.language.scalars import shown_value
from intervals.problems import nearest_word
from intervals.quantities import COUNT, QUANTITIES, Quantity, spelled_unit

CALENDAR = "calendar"
"""The leg that counts local dates; its value is an ISO 8601 duration."""
RUNNING_HOURS = "running_hours"
"""The leg that counts equivalent running hours."""
ELAPSED_HOURS = "elapsed_hours"
"""The leg that counts the hours of the clock, whether the engine runs or not."""
HOUR_METER = "hour_meter_h"
"""The counter that running hours are counted by; it is no leg of its own."""


class LegUnit(NamedTuple):
    """The unit of a leg.

    Attributes:
        unit: as it is written behind a figure; what is only counted is called by its name.
        used: what stands behind the figure of what was used, as in `2,311 equivalent hours`.
    """

    unit: str
    used: str


def uses_of(quantities: Mapping[str, Quantity]) -> list[str]:
    """Return the legs of use, in the order in which they are listed to people: running hours, then each counter and amount."""
    return [RUNNING_HOURS, *(name for name, quantity in quantities.items() if quantity.kind != "level" and name != HOUR_METER)]


def _unit_of_use(quantity: Quantity) -> LegUnit:
    """Return the unit of a leg that counts a counter or an amount."""
    unit, thing = spelled_unit(quantity.unit), quantity.thing or quantity.name.replace("_", " ")
    if unit == COUNT:
        return LegUnit(thing, thing)
    if quantity.name in QUANTITIES:
        return LegUnit(unit, f"{unit} of {thing}" if quantity.thing else unit)
    # a name of the site's own ends in its unit, as the canonical ones do, or in anything else
    thing = quantity.name.removesuffix(f"_{unit.lower()}").replace("_", " ")
    return LegUnit(quantity.unit, f"{quantity.unit} of {thing}")


LEGS: dict[str, LegUnit] = {
    RUNNING_HOURS: LegUnit("h", "equivalent hours"),
    CALENDAR: LegUnit("d", "d"),
    ELAPSED_HOURS: LegUnit("h", "h by the clock"),
    **{name: _unit_of_use(QUANTITIES[name]) for name in uses_of(QUANTITIES)[1:]},
}
"""Every leg that needs no declaration."""
USE_LEGS: tuple[str, ...] = tuple(uses_of(QUANTITIES))
"""The legs of use that need no declaration, in the order in which they are listed to people."""


def leg_unit(leg: str, quantities: Mapping[str, Quantity]) -> LegUnit:
    """Return the unit of a leg.

    Args:
        leg: its name.
        quantities: every quantity that may be asked for at the site, by name; a leg that is none of them has its name for a unit.

    Example:
        >>> leg_unit("fuel_l", {}), leg_unit("urea_l", {"urea_l": Quantity("urea_l", "amount", "L")})
        (LegUnit(unit='L', used='L of fuel'), LegUnit(unit='L', used='L of urea'))
    """
    if leg in LEGS:
        return LEGS[leg]
    return _unit_of_use(quantities.get(leg, Quantity(leg, "counter", COUNT)))


UNDECLARED: tuple[str, ...] = (RUNNING_HOURS, CALENDAR, ELAPSED_HOURS)
"""The legs that no quantity of the log stands behind."""
_OWN_LEGS = UNDECLARED
_SLIP = 0.85
"""From this likeness on, a leg is taken for a slip; any other name may be a counter or an amount that a site declares."""

LEAST_HOURS = 0.01
"""The shortest interval of hours: a shorter one is a slip, and a year would hold more due points than anyone could read."""
_OF_HOURS = (RUNNING_HOURS, ELAPSED_HOURS)

LegValues = dict[str, float | CalendarStep]


def parse_legs(raw: object, *, may_be_zero: bool = False) -> dict[str, float | CalendarStep]:
    """Return legs in the order of the file: `calendar` is a calendar step, all others are amounts of use.

    Args:
        raw: a mapping such as `{running_hours: 2000, calendar: P1Y}`.
        may_be_zero: whether a leg may be zero, as a lead may.

    Returns:
        Amount of use, in the unit of the leg's quantity, or calendar step, by leg.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.
    """
    if not isinstance(raw, Mapping) or not raw:
        raise flaw_error(text=f"no legs; got {shown_value(raw)}", fix="write for example {running_hours: 2000, calendar: P1Y}")
    legs: dict[str, float | CalendarStep] = {}
    flaws: list[Flaw] = []
    for leg, value in raw.items():
        try:
            legs[str(leg)] = _leg(str(leg), value, may_be_zero=may_be_zero)
        except ValueError as error:
            flaws.extend(flaw.below(leg) for flaw in flaws_of(error))
    if flaws:
        raise FlawsError(flaws)
    return legs


_NO_LEGS = {
    "hours": "write running_hours",
    "hour": "write running_hours",
    "h": "write running_hours",
    "running_hours_h": "write running_hours",
    "hour_meter_h": "write running_hours",
    "operating_hours": "write running_hours",
    "days": "write calendar: P30D",
    "weeks": "write calendar: P2W",
    "months": "write calendar: P6M",
    "years": "write calendar: P1Y",
    "date": "write calendar: P1Y",
    "energy": "write energy_kwh",
    "kwh": "write energy_kwh",
    "fuel": "write fuel_l, fuel_kg or fuel_m3",
}


def _leg(leg: str, value: object, *, may_be_zero: bool) -> float | CalendarStep:
    """Return one leg's amount of use or calendar step."""
    if leg in _NO_LEGS:
        raise flaw_error(text=f'"{leg}" is not a leg', fix=_NO_LEGS[leg], kind="leg")
    if leg.isdecimal() and value is None:
        fix = "a comma inside braces separates entries: write the number without it, with a point before decimals"
        raise flaw_error(text=f'"{leg}" is not a leg', fix=fix, kind="leg")
    near = None if leg.startswith(_OWN_LEGS) else nearest_word(leg, _OWN_LEGS, _SLIP)
    if near:
        raise flaw_error(text=f'unknown leg "{leg}"; did you mean "{near}"?', kind="unknown_key")
    if leg == CALENDAR:
        step = value if isinstance(value, CalendarStep) else parse_step(value)
        if step.is_zero and not may_be_zero:
            raise flaw_error(text=f"out of range; got {shown_value(step.text)}, expected at least P1D", kind="range")
        return step
    if isinstance(value, str) and value.startswith("P"):
        raise flaw_error(text=f"not a number; got {shown_value(value)}", fix="a duration belongs to the leg calendar")
    amount = number_of(value)
    if amount < 0 or (amount == 0 and not may_be_zero):
        raise flaw_error(
            text=f"out of range; got {shown_value(value)}, expected {'0 or more' if may_be_zero else 'more than 0'}", kind="range"
        )
    if leg in _OF_HOURS and amount < LEAST_HOURS and not may_be_zero:
        raise flaw_error(text=f"out of range; got {shown_value(value)}, expected at least {LEAST_HOURS} h", kind="range")
    return amount


def parse_lead_legs(raw: object) -> dict[str, float | CalendarStep]:
    """Return legs that may be zero."""
    return parse_legs(raw, may_be_zero=True)


def legs_data(legs: Mapping[str, float | CalendarStep]) -> dict[str, float | str]:
    """Return legs as plain data."""
    return {leg: value.text if isinstance(value, CalendarStep) else value for leg, value in legs.items()}


DECIMALS = 6


def rounded(value: float) -> float:
    """Return a figure as it meets a line, and as it is printed: in millionths of its unit; nothing is never below zero."""
    return round(value, DECIMALS) + 0.0
