"""The table of quantities, and units turned into canonical ones."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.quantities import QUANTITIES, UnitProblemError, unit_conversion

PAIRS = [("h", "min"), ("kW", "MW"), ("percent", "ppm"), ("L", "US gal"), ("degC", "degF"), ("kWh", "MJ"), ("kg", "lb"), ("m3", "ft3")]


def test_table_holds_the_agreed_quantities() -> None:
    """Counters, amounts and levels, as agreed; a name ends in its unit where it has one."""
    kinds = {kind: [name for name, quantity in QUANTITIES.items() if quantity.kind == kind] for kind in ("counter", "amount", "level")}
    assert kinds == {
        "counter": ["hour_meter_h", "starts", "energy_kwh"],
        "amount": ["oil_added_l", "fuel_l", "fuel_kg", "fuel_m3"],
        "level": ["load_kw", "load_pct", "fuel_sulphur_pct", "fuel_h2s_ppm", "oil_temp_c", "ambient_c"],
    }
    assert {name for name, quantity in QUANTITIES.items() if quantity.may_be_negative} == {"oil_temp_c", "ambient_c"}
    assert (QUANTITIES["load_pct"].highest, QUANTITIES["fuel_sulphur_pct"].highest) == (130, 5)


@pytest.mark.parametrize(
    ("quantity_unit", "file_unit", "value", "expected"),
    [
        ("h", "min", 90, 1.5),
        ("h", "s", 5400, 1.5),
        ("h", "d", 2, 48),
        ("kW", "W", 1500, 1.5),
        ("kW", "MW", 1.5, 1500),
        ("kW", "hp", 100, 74.569987158227),
        ("kW", "PS", 100, 73.549875),
        ("percent", "mg/kg", 15, 0.0015),
        ("percent", "ppm", 5000, 0.5),
        ("percent", "fraction", 0.65, 65),
        ("ppm", "percent", 0.1, 1000),
        ("L", "m3", 0.25, 250),
        ("L", "US gal", 10, 37.85411784),
        ("L", "UK gal", 10, 45.4609),
        ("m3", "ft3", 100, 2.8316846592),
        ("m3", "L", 1500, 1.5),
        ("degC", "degF", 212, 100),
        ("degC", "degF", 32, 0),
        ("degC", "degF", -40, -40),
        ("degC", "K", 373.15, 100),
        ("kWh", "Wh", 1500, 1.5),
        ("kWh", "MWh", 1.5, 1500),
        ("kWh", "MJ", 36, 10),
        ("kg", "lb", 100, 45.359237),
        ("kg", "t", 1.5, 1500),
        ("bar", "psi", 100, 6.894757293168361),
    ],
)
def test_units_are_converted(quantity_unit: str, file_unit: str, value: float, expected: float) -> None:
    """Canonical = value * scale + offset (defined values of the units; 15 mg/kg = 0.0015 %, 5,000 ppm = 0.5 %)."""
    scale, offset = unit_conversion(quantity_unit, file_unit)
    assert value * scale + offset == pytest.approx(expected, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("quantity_unit", "spellings"),
    [
        ("h", ["h", "hr", "hours", " hour "]),
        ("percent", ["%", "percent", "pct", "% m/m"]),
        ("ppm", ["ppm", "mg/kg"]),
        ("kW", ["kW", "kw", "KW"]),
        ("kWh", ["kWh", "kwh"]),
        ("L", ["l", "litre", "liter", "dm3"]),
        ("m3", ["m3", "m³", "m^3"]),
        ("degC", ["C", "°C", "degC", "celsius"]),
        ("count", ["count", "starts"]),
    ],
)
def test_spellings_of_the_same_unit_change_nothing(quantity_unit: str, spellings: list[str]) -> None:
    """The trade's spellings of a canonical unit stand for it exactly."""
    assert {unit_conversion(quantity_unit, spelling) for spelling in spellings} == {(1.0, 0.0)}


def test_spellings_need_no_unit_library() -> None:
    """Where files use the canonical units, the unit library is never loaded."""
    code = "import sys; from intervals.quantities import unit_conversion as u; u('h', 'hours'); print('pint' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


@pytest.mark.parametrize("pair", PAIRS)
@given(value=st.floats(min_value=-1e6, max_value=1e6))
def test_there_and_back_is_the_same(pair: tuple[str, str], value: float) -> None:
    """A figure turned into another unit and back is the same figure."""
    there_scale, there_offset = unit_conversion(*pair)
    back_scale, back_offset = unit_conversion(pair[1], pair[0])
    assert (value * there_scale + there_offset) * back_scale + back_offset == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("quantity_unit", "file_unit", "words"),
    [
        ("kW", "kWh", 'the unit "kWh" cannot be turned into "kW"'),
        ("h", "count", 'the unit "count" cannot be turned into "h"'),
        ("count", "percent", 'the unit "percent" cannot be turned into "count"'),
        ("h", "bananas", 'the unit "bananas" is not known'),
        ("kW", "mw", 'the unit "mw" is not known'),
        ("h", "", "is not known"),
        ("L", "gal", 'the unit "gal" may mean more than one thing'),
        ("kW", "kVA", 'the unit "kVA" may mean more than one thing'),
        ("m3", "Nm3", 'the unit "Nm3" is a volume at reference conditions'),
        ("h", '__import__("os").getcwd()', "is not known"),
        ("h", "h" * 5000, "is not known"),
        ("h", "9**9**9**9", "is not known"),
    ],
)
def test_wrong_units_are_refused(quantity_unit: str, file_unit: str, words: str) -> None:
    """An unknown, ambiguous or foreign unit is refused by name."""
    with pytest.raises(UnitProblemError) as caught:
        unit_conversion(quantity_unit, file_unit)
    assert words in str(caught.value)
