"""The one table of window measures: every row has its function, and every name its unit, bounds and needs."""

from __future__ import annotations

from math import inf

import pytest

from intervals.history.window_measures import Measurer
from intervals.language.measures import (
    MEASURES,
    condition_of_share,
    instead_of_use,
    is_window_measure,
    level_of_mean,
    mean_of,
    measure_of,
    share_of,
)
from intervals.quantities import LARGEST_FIGURE, QUANTITIES, Quantity


def test_every_row_has_a_function_and_every_function_a_row() -> None:
    """The methods by which windows are measured are those of the table, called as a rule calls the measure."""
    methods = {name for name in vars(Measurer) if not name.startswith("_")} - set(Measurer.__dataclass_fields__) - {"measure"}
    assert methods == set(MEASURES)


def test_no_measure_is_called_as_something_else_is() -> None:
    """A rule that asks for a measure asks for no level, mean or share."""
    assert not set(MEASURES) & set(QUANTITIES)
    assert all(level_of_mean(name) is None and condition_of_share(name) is None for name in MEASURES)


@pytest.mark.parametrize(
    ("name", "unit", "lowest", "highest", "levels"),
    [
        ("mean_load_pct", "%", 0, 130, ("load_pct",)),
        ("mean_oil_temp_c", "°C", -LARGEST_FIGURE, LARGEST_FIGURE, ("oil_temp_c",)),
        ("mean_vibration_mm_s", "mm/s", -LARGEST_FIGURE, LARGEST_FIGURE, ("vibration_mm_s",)),
        ("mean_nothing", "", -inf, inf, ("nothing",)),
        ("hours_share_pct:hot", "%", 0, 100, ()),
        # ISO 8528-1 counts what is below 30 % as 30 %
        ("average_power_pct", "%", 30, inf, ("load_pct",)),
        ("starts_per_100h", "per 100 h", 0, inf, ()),
        # where no energy is counted it is the mean load times the hours
        ("oil_consumption_g_per_kwh", "g/kWh", 0, inf, ("load_kw",)),
        ("days_since", "d", 0, inf, ()),
        ("running_hours_per_day", "h/d", 0, inf, ()),
        ("age_years", "years", 0, inf, ()),
        ("total_hours_h", "h", 0, inf, ()),
        ("month", "", 1, 12, ()),
    ],
)
def test_a_measure_has_a_unit_and_bounds_and_says_what_it_needs(
    name: str, unit: str, lowest: float, highest: float, levels: tuple[str, ...]
) -> None:
    """Those of a mean are those of its level, declared or canonical; a share is per cent of the hours."""
    declared = {**QUANTITIES, "vibration_mm_s": Quantity("vibration_mm_s", "level", "mm/s", may_be_negative=True)}
    measure = measure_of(name, declared)
    assert measure is not None
    assert (measure.name, measure.unit, measure.lowest, measure.highest, measure.levels) == (name, unit, lowest, highest, levels)


def test_what_is_no_measure_has_no_row() -> None:
    """Levels, counters and what an engine states."""
    assert [measure_of(name) for name in ("load_pct", "starts", "fuel", "hours_share_pct", "mean")] == [None] * 5
    assert not any(is_window_measure(name) for name in ("load_pct", "starts", "fuel", "hours_share_pct", "mean"))


def test_names_of_means_and_shares_read_back() -> None:
    """What is put together is taken apart into the same."""
    assert level_of_mean(mean_of("load_pct")) == "load_pct"
    assert condition_of_share(share_of("hot")) == "hot"


def test_a_counter_names_what_to_ask_for_instead() -> None:
    """A condition cannot ask for a running total; the measure that tells of it is named, and none where there is none."""
    assert instead_of_use("hour_meter_h") == "ask for running_hours_per_day, or for days_since, or for total_hours_h"
    assert instead_of_use("fuel_l") is None
