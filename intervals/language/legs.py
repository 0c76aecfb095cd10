"""Legs: the limits that an interval is made of, as they are written.

In: a mapping such as `{running_hours: 2000, calendar: P1Y}`. Out: amounts of use and calendar steps by leg, in the order of
the file. Refuses what is no leg, no number, no duration, or not above zero.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches

from intervals.language.durations import CalendarStep, parse_step
from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.plain_values import number_of
from intervals.language.scalars import shown_value
from intervals.quantities import QUANTITIES

CALENDAR = "calendar"
"""The leg that counts local dates; its value is an ISO 8601 duration."""
RUNNING_HOURS = "running_hours"
"""The leg that counts equivalent running hours."""
USE_LEGS: tuple[str, ...] = (
    RUNNING_HOURS,
    *(name for name, quantity in QUANTITIES.items() if quantity.kind != "level" and name != "hour_meter_h"),
)
"""The legs of use that need no declaration, in the order in which they are listed to people."""

_OWN_LEGS = (RUNNING_HOURS, CALENDAR)
_SLIP = 0.85
"""From this likeness on, a leg is taken for a slip; any other name may be a counter or an amount that a site declares."""

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
    near = [] if leg.startswith(_OWN_LEGS) else get_close_matches(leg, _OWN_LEGS, n=1, cutoff=_SLIP)
    if near:
        raise flaw_error(text=f'unknown leg "{leg}"; did you mean "{near[0]}"?', kind="unknown_key")
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
    return amount


def parse_lead_legs(raw: object) -> dict[str, float | CalendarStep]:
    """Return legs that may be zero."""
    return parse_legs(raw, may_be_zero=True)


def legs_data(legs: Mapping[str, float | CalendarStep]) -> dict[str, float | str]:
    """Return legs as plain data."""
    return {leg: value.text if isinstance(value, CalendarStep) else value for leg, value in legs.items()}


DECIMALS = 6


LEG_UNITS = {
    RUNNING_HOURS: "h",
    CALENDAR: "d",
    "starts": "starts",
    "energy_kwh": "kWh",
    "fuel_l": "L",
    "fuel_kg": "kg",
    "fuel_m3": "m3",
    "oil_added_l": "L",
}


def rounded(value: float) -> float:
    """Return a figure as it meets a line, and as it is printed: in millionths of its unit; nothing is never below zero."""
    return round(value, DECIMALS) + 0.0
