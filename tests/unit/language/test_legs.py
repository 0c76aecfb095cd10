"""The one table of legs: their units, and the words behind a figure of use."""

from __future__ import annotations

import pytest

from intervals.language.legs import LEGS, USE_LEGS, leg_unit, uses_of
from intervals.quantities import QUANTITIES, Quantity

OWN = {
    "urea_l": Quantity("urea_l", "amount", "litres"),
    "ad_blue": Quantity("ad_blue", "amount", "L"),
    "pulses": Quantity("pulses", "counter", "number"),
    "vibration": Quantity("vibration", "level", "mm/s"),
}


def test_every_counter_and_amount_is_a_leg() -> None:
    """All of the table of quantities but the hour meter, which is counted as running hours."""
    counted = [name for name, quantity in QUANTITIES.items() if quantity.kind != "level" and name != "hour_meter_h"]
    assert list(USE_LEGS) == ["running_hours", *counted]
    assert set(LEGS) == {"calendar", "elapsed_hours", *USE_LEGS}
    assert uses_of({**QUANTITIES, **OWN}) == [*USE_LEGS, "urea_l", "ad_blue", "pulses"]


@pytest.mark.parametrize(
    ("leg", "unit", "used"),
    [
        ("running_hours", "h", "equivalent hours"),
        ("calendar", "d", "d"),
        ("elapsed_hours", "h", "h by the clock"),
        ("starts", "starts", "starts"),
        ("energy_kwh", "kWh", "kWh"),
        ("fuel_l", "L", "L of fuel"),
        ("fuel_kg", "kg", "kg of fuel"),
        ("fuel_m3", "m3", "m3 of fuel"),
        ("oil_added_l", "L", "L of oil added"),
        ("urea_l", "litres", "litres of urea"),
        ("ad_blue", "L", "L of ad blue"),
        # what is only counted is called by its name
        ("pulses", "pulses", "pulses"),
        ("unheard_of", "unheard of", "unheard of"),
    ],
)
def test_a_leg_has_a_unit_and_words(leg: str, unit: str, used: str) -> None:
    """Those of a leg of the site's own are those of its declaration."""
    assert leg_unit(leg, {**QUANTITIES, **OWN}) == (unit, used)
