"""The one table of the log's quantities: canonical names, kinds, units, and what a file's unit is worth in them.

In: a canonical unit and the unit that a file uses. Out: `Quantity` values and the scale and offset between two units.
Refuses a unit that nobody knows and one that measures something else.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    import pint

QuantityKind = Literal["counter", "amount", "level"]

COUNT = "count"
"""The unit of what is only counted."""
LARGEST_FIGURE = 1e12
"""No figure of an engine, its records or its rules is larger, on either side of zero: what is lies beyond any slip of the pen."""
LOAD_HIGHEST_PCT = 130.0
"""A load above this share of the rated power cannot be; `load_kw` is held against it engine by engine."""


class Quantity(NamedTuple):
    """One thing that a log can say of an engine.

    Attributes:
        name: canonical name, ending in its unit where it has one.
        kind: `counter` (running total, read at the stamp), `amount` (so much in this row) or `level` (holds over the row).
        unit: canonical unit.
        thing: of what it is so much, as a sentence says it behind figure and unit (`90 % load`, `40 L of fuel`); empty where the unit
            says it all.
        may_be_negative: whether a value below zero can be true.
        highest: the largest value that can be true.
    """

    name: str
    kind: QuantityKind
    unit: str
    thing: str = ""
    may_be_negative: bool = False
    highest: float = LARGEST_FIGURE

    @property
    def lowest(self) -> float:
        """The smallest value that can be true; no counter and no amount is below zero."""
        return -LARGEST_FIGURE if self.kind == "level" and self.may_be_negative else 0.0


_TABLE = (
    Quantity("hour_meter_h", "counter", "h"),
    Quantity("starts", "counter", COUNT, "starts"),
    Quantity("energy_kwh", "counter", "kWh"),
    Quantity("oil_added_l", "amount", "L", "oil added"),
    Quantity("fuel_l", "amount", "L", "fuel"),
    Quantity("fuel_kg", "amount", "kg", "fuel"),
    Quantity("fuel_m3", "amount", "m3", "fuel"),
    Quantity("load_kw", "level", "kW", "load"),
    Quantity("load_pct", "level", "percent", "load", highest=LOAD_HIGHEST_PCT),
    Quantity("fuel_sulphur_pct", "level", "percent", "fuel sulphur", highest=5.0),
    Quantity("fuel_h2s_ppm", "level", "ppm", "hydrogen sulphide"),
    Quantity("oil_temp_c", "level", "degC", "oil temperature", may_be_negative=True),
    Quantity("ambient_c", "level", "degC", "ambient", may_be_negative=True),
)

QUANTITIES: dict[str, Quantity] = {quantity.name: quantity for quantity in _TABLE}
"""Every canonical quantity by name, in the order in which they are listed to people."""

_SHOWN: dict[str, str] = {"percent": "%", "degC": "°C"}

_SPELLINGS: dict[str, tuple[str, ...]] = {
    "h": ("h", "hr", "hrs", "hour", "hours"),
    "min": ("min", "mins", "minute", "minutes"),
    "s": ("s", "sec", "secs", "second", "seconds"),
    "d": ("d", "day", "days"),
    "count": ("count", "counts", "start", "starts", "number", "-"),
    "kW": ("kW", "kw", "KW", "Kw", "kilowatt", "kilowatts", "kWe", "kWel"),
    "kWh": ("kWh", "kwh", "KWH", "KWh", "Kwh", "kilowatt_hour", "kilowatt-hour", "kilowatt hours", "kWeh"),
    "percent": ("percent", "per cent", "%", "pct", "% m/m", "%m/m", "% mass", "wt%", "wt %", "% wt", "%wt", "mass %"),
    "ppm": ("ppm", "PPM", "ppmv", "ppm v", "mg/kg"),
    "L": ("L", "l", "ltr", "litre", "litres", "liter", "liters", "dm3"),
    "m3": ("m3", "m^3", "m**3", "m³", "cubic metre", "cubic metres", "cubic meter", "cubic meters"),
    "kg": ("kg", "KG", "Kg", "kilogram", "kilograms", "kilo", "kilos"),
    "degC": ("degC", "C", "c", "°C", "deg C", "degc", "celsius", "Celsius", "degree_Celsius"),
    "degF": ("degF", "F", "°F", "deg F", "degf", "fahrenheit", "Fahrenheit"),
    "fraction": ("fraction", "ratio", "1", "per unit", "p.u.", "pu"),
    "horsepower": ("hp", "HP", "bhp", "BHP", "horsepower"),
    "metric_horsepower": ("PS", "ps", "cv", "CV"),
    "US_liquid_gallon": ("US gal", "US gallon", "US gallons", "gal (US)", "US liquid gallon", "usgal", "US_gallon"),
    "imperial_gallon": ("UK gal", "UK gallon", "UK gallons", "gal (UK)", "imperial gallon", "imperial gallons", "imp gal", "UK_gallon"),
}
_MEASURED_IN = frozenset({"mm", "um", "bar", "mbar", "kPa", "MPa", "V", "mV", "A", "ohm", "Nm", "rpm", "mm/s", "g/L", "mg/kg", "pH"})
"""Units of what is measured by hand; they are known without loading pint."""
_PINT_NAMES = {"m3": "meter**3", "L": "liter", "h": "hour", "d": "day", "count": "count", "horsepower": "horsepower"}
_POWER_OF_LENGTH = re.compile(r"([a-z]+)([23])")
_PINT_ROUNDING = 1e-14
_PART = r"[^\W\d_][\w°]{0,30}(?:(?:\*\*|\^)-?[1-9])?"
_UNIT_TEXT = re.compile(rf"(?:1/)?{_PART}(?:[ */]{_PART}){{0,3}}")
"""What may be put to pint: names and small powers. It evaluates arithmetic, and 9**9**9**9 would never end."""
_UNIT_OF: dict[str, str] = {spelling: unit for unit, spellings in _SPELLINGS.items() for spelling in spellings}
_REFERENCE_GAS = frozenset({"Nm3", "Nm³", "Nm^3", "Sm3", "Sm³", "Sm^3", "m3(n)", "m³(n)", "scm", "scf"})
_AMBIGUOUS = {
    "gal": 'write "US gal" or "UK gal"',
    "gallon": 'write "US gal" or "UK gal"',
    "gallons": 'write "US gal" or "UK gal"',
    "kVA": "kVA is apparent power: log kW, or multiply by the power factor first",
    "MVA": "MVA is apparent power: log kW, or multiply by the power factor first",
    "ton": 'write "t" for 1000 kg, or "short_ton" or "long_ton"',
    "tons": 'write "t" for 1000 kg, or "short_ton" or "long_ton"',
}


class UnitProblemError(ValueError):
    """A unit that is not known, not clear, or measures something else.

    Attributes:
        fix: one line that says what to write instead, or None.
    """

    kind = "unit"

    def __init__(self, text: str, fix: str | None = None) -> None:
        super().__init__(text)
        self.fix = fix


def spelled_unit(unit: str) -> str:
    """Return the one spelling that stands for all of a unit's spellings; an unlisted one comes back as it is."""
    return _UNIT_OF.get(unit.strip(), unit.strip())


def levels_of(quantities: Mapping[str, Quantity]) -> list[str]:
    """Return the names of the levels, in the order in which they are listed to people."""
    return [name for name, quantity in quantities.items() if quantity.kind == "level"]


def shown_unit(unit: str) -> str:
    """Return a unit as it is written behind a figure: `%` for percent, `°C` for degC, any other as it is."""
    return _SHOWN.get(unit, unit)


def check_unit(unit: str) -> None:
    """Refuse a unit that is not known; the spellings of the trade are known without looking further.

    Args:
        unit: the unit of something that is measured, such as `mm` or `bar`.

    Raises:
        UnitProblemError: the unit is unknown or may mean more than one thing.
    """
    if unit.strip() in _UNIT_OF or unit.strip() in _MEASURED_IN:
        return
    if unit.strip() in _AMBIGUOUS:
        text = f'the unit "{unit.strip()}" may mean more than one thing'
        raise UnitProblemError(text, _AMBIGUOUS[unit.strip()])
    _parsed(_registry(), unit.strip())


def unit_conversion(quantity_unit: str, file_unit: str) -> tuple[float, float]:
    """Return scale and offset from a file's unit to a quantity's: canonical = value * scale + offset.

    Spellings of the same unit are answered from a table; anything else is looked up in pint, which is loaded only then.

    Args:
        quantity_unit: the unit that the figures are kept in.
        file_unit: the unit as the site file writes it.

    Returns:
        Scale and offset; (1.0, 0.0) for the same unit.

    Raises:
        UnitProblemError: the unit is unknown, ambiguous, or of another dimension; the text names both.

    Example:
        >>> unit_conversion("h", "hours")
        (1.0, 0.0)
        >>> unit_conversion("kW", "MW")
        (1000.0, 0.0)
    """
    wanted, given = spelled_unit(quantity_unit), spelled_unit(file_unit)
    if wanted == given:
        return 1.0, 0.0
    return _convert(wanted, given)


@lru_cache(maxsize=256)
def _convert(wanted: str, given: str) -> tuple[float, float]:
    """Return scale and offset between two units of different spelling."""
    if given in _AMBIGUOUS:
        text = f'the unit "{given}" may mean more than one thing'
        raise UnitProblemError(text, _AMBIGUOUS[given])
    if given in _REFERENCE_GAS:
        fix = 'write "m3" if the rule set counts gas at the same reference conditions'
        text = f'the unit "{given}" is a volume at reference conditions, which cannot be turned into "{wanted}"'
        raise UnitProblemError(text, fix)
    registry = _registry()
    source, target = _parsed(registry, given), _parsed(registry, wanted)
    # A count and a percentage are both without dimension, but never the same thing.
    if source.dimensionality != target.dimensionality or ((given == "count") != (wanted == "count")):
        text = f'the unit "{given}" cannot be turned into "{wanted}": they measure different things'
        raise UnitProblemError(text, f'write the unit that the files have it in, one that can be turned into "{wanted}"')
    if (wanted, given) == ("degC", "degF"):
        return 5 / 9, -160 / 9
    offset = registry.Quantity(0.0, source).to(target).magnitude
    step = registry.Quantity(1.0, source).to(target).magnitude - offset
    return _cleaned(step), _cleaned(offset)


def _parsed(registry: pint.UnitRegistry[Any], unit: str) -> pint.Unit:
    """Return pint's unit for a spelling; pint fails in many ways on odd text."""
    try:
        if not _UNIT_TEXT.fullmatch(unit):
            raise ValueError(unit)  # noqa: TRY301 - refused in the same words as what pint does not know
        return registry.Unit(_PINT_NAMES.get(unit, _POWER_OF_LENGTH.sub(r"\1**\2", unit)))
    except Exception as error:
        text = f'the unit "{unit}" is not known'
        fix = f"units that are always known: {', '.join(_SPELLINGS)}"
        raise UnitProblemError(text, fix) from error


def _cleaned(value: float) -> float:
    """Drop pint's own rounding where a short decimal, or one divided by it, is meant: 1/60 h a minute, 0.001 kW a watt."""
    for candidate in (float(f"{value:.12g}"), 1 / float(f"{1 / value:.12g}") if value else 0.0):
        if abs(candidate - value) <= _PINT_ROUNDING * abs(value):
            return candidate
    return value


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    """Load pint once, with the units of the trade that it lacks."""
    import pint  # noqa: PLC0415 - a quarter of a second that most sites never need

    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(cache_folder=None)
    registry.define("fraction = []")
    return registry
