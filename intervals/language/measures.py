"""Window measures: the figures that a rule may ask of a window as a whole, one row of one table for each.

In: a name as a rule writes it. Out: its `WindowMeasure`: unit, words, what it can be, what the ledger must sum for it. The function
that works a measure out has the measure's name and stands in `history/window_measures.py`. Refuses nothing: other names have no row.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import inf
from typing import NamedTuple

from intervals.language.conditions import Condition, comparisons_of
from intervals.quantities import QUANTITIES, Quantity, shown_unit

SHARE_MEASURE = "hours_share_pct"
"""The measure that stands over a named condition: the share of running hours on which it holds."""
MONTH = "month"
"""The month of the year, 1 to 12: of an hour its own, of a window that of its last day."""
ISO_FLOOR_PCT = 30.0
"""ISO 8528-1 counts every load below this as this much, so that no average power is below it."""

_MEAN_PREFIX = "mean_"
_SHARE_PREFIX = f"{SHARE_MEASURE}:"


class WindowMeasure(NamedTuple):
    """One figure of a window as a whole.

    Attributes:
        name: as a rule writes it; of a share, `hours_share_pct:` and the condition's name.
        unit: as it is written behind a figure.
        words: what stands behind a bound in a sentence, as in `above 20 starts per 100 h`; empty where the name itself is put before it.
        lowest: the lowest value that it can have.
        highest: the highest value that it can have.
        levels: levels of which the ledger must keep the mean, and the hours on which they are known.
        counts: counters and amounts of which it takes the increase.
        hours_on: a condition whose hours the ledger must keep apart, or the name of one of the rule set's conditions.
        instead_of: the counter or amount that people ask for where they mean this measure.
        is_length: whether it is the window's own length or its place in the year, so that a span of the log cannot stand for the window.
        is_hourly: whether it is known hour by hour too: an hour has a month, and no hour of it is unknown.
    """

    name: str
    unit: str
    words: str = ""
    lowest: float = 0.0
    highest: float = inf
    levels: tuple[str, ...] = ()
    counts: tuple[str, ...] = ()
    hours_on: Condition | str | None = None
    instead_of: str = ""
    is_length: bool = False
    is_hourly: bool = False


_TABLE = (
    WindowMeasure("average_power_pct", "%", "% average power", lowest=ISO_FLOOR_PCT, levels=("load_pct",), instead_of="energy_kwh"),
    WindowMeasure("starts_per_100h", "per 100 h", "starts per 100 h", counts=("starts",), instead_of="starts"),
    WindowMeasure(
        "oil_consumption_g_per_kwh",
        "g/kWh",
        "g/kWh oil consumption",
        levels=("load_kw",),
        counts=("oil_added_l", "energy_kwh"),
        instead_of="oil_added_l",
    ),
    WindowMeasure("running_hours_per_day", "h/d", "running hours per day", instead_of="hour_meter_h"),
    WindowMeasure("days_since", "d", "days since", instead_of="hour_meter_h", is_length=True),
    WindowMeasure("age_years", "years", "years of age"),
    WindowMeasure("total_hours_h", "h", "h of its life", instead_of="hour_meter_h"),
    WindowMeasure(MONTH, "", lowest=1.0, highest=12.0, is_length=True, is_hourly=True),
)

MEASURES: dict[str, WindowMeasure] = {measure.name: measure for measure in _TABLE}
"""Every measure that has a name of its own; beside these the mean of any level and the share of any named condition (`measure_of`)."""


def measure_of(name: str, quantities: Mapping[str, Quantity] = QUANTITIES) -> WindowMeasure | None:
    """Return the row of a window measure, or None where a name is none.

    Args:
        name: as a rule writes it: one of `MEASURES`, `mean_` and a level, `hours_share_pct:` and a condition's name.
        quantities: every quantity that may be asked for, by name; a site may declare more than the canonical ones.

    Example:
        >>> measure_of("days_since").unit, measure_of("mean_oil_temp_c").unit, measure_of("load_pct")
        ('d', '°C', None)
    """
    condition, level = condition_of_share(name), level_of_mean(name)
    if condition is not None:
        return WindowMeasure(name, "%", f"% of hours {condition.replace('_', ' ')}", highest=100.0, hours_on=condition)
    if level is None:
        return MEASURES.get(name)
    quantity = quantities.get(level)
    if quantity is None:
        return WindowMeasure(name, "", lowest=-inf, levels=(level,))
    return WindowMeasure(name, shown_unit(quantity.unit), lowest=quantity.lowest, highest=quantity.highest, levels=(level,))


def is_window_measure(name: str) -> bool:
    """Return whether a name is known only for a window as a whole."""
    return name in MEASURES or name.startswith((_MEAN_PREFIX, _SHARE_PREFIX))


def is_hourly(name: str) -> bool:
    """Return whether a window measure is known hour by hour too."""
    return name in MEASURES and MEASURES[name].is_hourly


def measures_in(condition: Condition) -> tuple[WindowMeasure, ...]:
    """Return the window measures that a condition asks for, each once, in the order of the file."""
    names = dict.fromkeys(part.name for part in comparisons_of(condition))
    return tuple(measure for name in names if (measure := measure_of(name)) is not None)


def mean_of(level: str) -> str:
    """Return the name of a level's mean over the window, weighted by running hours."""
    return f"{_MEAN_PREFIX}{level}"


def level_of_mean(name: str) -> str | None:
    """Return the level whose mean a name asks for, or None where it asks for none."""
    return name.removeprefix(_MEAN_PREFIX) if name.startswith(_MEAN_PREFIX) else None


def share_of(condition: str) -> str:
    """Return the name of the share of running hours on which a named condition holds."""
    return f"{_SHARE_PREFIX}{condition}"


def condition_of_share(name: str) -> str | None:
    """Return the named condition whose share of hours a name asks for, or None where it asks for none."""
    return name.removeprefix(_SHARE_PREFIX) if name.startswith(_SHARE_PREFIX) else None


def names_of_measures(levels: Iterable[str]) -> Iterator[str]:
    """Yield every measure that a rule may name outright: those of the table, and the mean of each level."""
    yield from MEASURES
    yield from (mean_of(level) for level in levels)


def instead_of_use(use: str) -> str | None:
    """Return what to ask for instead of a counter or amount, which no condition can ask for; None where no measure covers it."""
    names = [measure.name for measure in MEASURES.values() if measure.instead_of == use]
    return f"ask for {', or for '.join(names)}" if names else None
