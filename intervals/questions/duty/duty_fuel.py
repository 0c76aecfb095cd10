"""What an engine burned and breathed: sulphur, hydrogen sulphide, temperatures, and the oil it used.

In: a `DutySpan`. Out: models of `duty_models`. Sums, means, and the sulphur of a gas as that of diesel fuel; nothing is judged.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from intervals.arrays import Floats
from intervals.language.legs import rounded
from intervals.quantities import shown_unit
from intervals.questions.duty.duty_models import FuelDuty, LevelDuty, OilDuty, OilMonth
from intervals.questions.duty.duty_span import DutySpan

SULPHUR, H2S, METHANE = "fuel_sulphur_pct", "fuel_h2s_ppm", "fuel_ch4_pct"
OIL = "oil_added_l"
NEARLY_ALL = 0.95
LEAST_MONTHS = 3
TREND_HOURS = 1000.0
SULPHUR_G_PER_MOL = 32.06
METHANE_KJ_PER_MOL = 802.3
"""Lower heating value of methane."""
DIESEL_MJ_PER_KG = 42.7
"""Lower heating value of diesel fuel."""
USUAL_METHANE_PCT = 60.0
"""Methane in biogas where neither log nor engine says how much."""


def level_duty(span: DutySpan, name: str) -> LevelDuty | None:
    """Return a level over the running hours; None where it is never known while the engine ran."""
    values = span.level(name)
    known = np.flatnonzero(span.runs & ~np.isnan(values))
    if not len(known):
        return None
    hours, shown = span.hours_h[known], values[known]
    order = np.argsort(shown, kind="stable")
    total = float(hours.sum())
    reached = np.cumsum(hours[order])
    nearly = shown[order][min(int(np.searchsorted(reached, NEARLY_ALL * total - 1e-9, side="left")), len(order) - 1)]
    unit = span.case.site.quantities[name].unit
    return LevelDuty(
        level=name,
        unit=shown_unit(unit),
        mean=rounded(float((hours * shown).sum()) / total),
        nearly_highest=rounded(float(nearly)),
        lowest=rounded(float(shown.min())),
        highest=rounded(float(shown.max())),
        highest_at=span.case.days.iso(int(span.nodes_us[known[int(shown.argmax())]])),
        known_share_pct=min(100.0, rounded(100.0 * total / max(total, span.running_h - span.before_log_h))),
    )


def fuel_duty(span: DutySpan) -> FuelDuty:
    """Return the sulphur that the fuel brought."""
    sulphur, h2s = level_duty(span, SULPHUR), level_duty(span, H2S)
    weighed = next(
        (name for name in ("fuel_kg", "fuel_l", "fuel_m3") if (burned := span.increase(name)) is not None and burned.any()), None
    )
    methane, methane_from = _methane(span) if h2s is not None else (None, None)
    return FuelDuty(
        sulphur=sulphur,
        sulphur_by_fuel_pct=_by_fuel(span, SULPHUR, weighed),
        h2s=h2s,
        h2s_by_fuel_ppm=_by_fuel(span, H2S, weighed),
        weighed_by=weighed,
        methane_pct=methane,
        methane_from=methane_from,
        like_diesel_of_sulphur_pct=None if h2s is None or methane is None else rounded(diesel_sulphur_pct(h2s.mean, methane)),
        peak_like_diesel_of_sulphur_pct=None if h2s is None or methane is None else rounded(diesel_sulphur_pct(h2s.highest, methane)),
    )


def _by_fuel(span: DutySpan, level: str, weighed: str | None) -> float | None:
    """Return a level's mean weighted by the fuel burned; volumes weigh as masses do at one density."""
    burned = None if weighed is None else span.increase(weighed)
    if burned is None:
        return None
    values = span.level(level)
    known = ~np.isnan(values) & (burned > 0)
    total = float(burned[known].sum())
    return rounded(float((burned[known] * values[known]).sum()) / total) if total > 0 else None


def _methane(span: DutySpan) -> tuple[float, Literal["log", "engine", "assumed"]]:
    """Return methane in the gas, per cent by volume: as logged, as the engine states it, or as is usual."""
    logged = level_duty(span, METHANE)
    if logged is not None and logged.mean > 0:
        return logged.mean, "log"
    stated = span.case.engine.attributes.get(METHANE)
    if isinstance(stated, int | float) and not isinstance(stated, bool) and stated > 0:
        return float(stated), "engine"
    return USUAL_METHANE_PCT, "assumed"


def oil_duty(span: DutySpan) -> OilDuty | None:
    """Return the oil consumption and its trend; None where no oil is logged."""
    added = span.increase(OIL)
    if added is None:
        return None
    density = float(span.case.site.oil_density_kg_per_l)
    energy = span.energy_kwh
    if energy is None:
        energy = np.zeros(len(added))
    months, mid_hours = _months(span, added, energy, density)
    total_kwh = float(energy.sum())
    return OilDuty(
        added_l=rounded(float(added.sum())),
        g_per_kwh=_g_per_kwh(float(added.sum()), total_kwh, density),
        trend_g_per_kwh_per_1000h=_trend(months, mid_hours),
        months=months,
    )


def _g_per_kwh(added_l: float, energy_kwh: float, density: float) -> float | None:
    """Return grams of oil per kWh made."""
    return rounded(added_l * density * 1000.0 / energy_kwh) if energy_kwh > 0 else None


def _months(span: DutySpan, added: Floats, energy: Floats, density: float) -> tuple[tuple[OilMonth, ...], list[float]]:
    """Return the months of the span, and the running hours at the middle of each."""
    days = span.case.days.dates_of(span.nodes_us[:-1])
    month_of = np.array([12 * day.year + day.month - 1 for day in days], dtype=np.int64)
    found, middles = [], []
    ran = np.cumsum(span.hours_h)
    for month in np.unique(month_of).tolist():
        inside = month_of == month
        oil_l, made_kwh = float(added[inside].sum()), float(energy[inside].sum())
        hours = float(span.hours_h[inside].sum())
        if hours <= 0:
            continue
        middles.append(float(ran[inside][-1]) - hours / 2)
        g_per_kwh = _g_per_kwh(oil_l, made_kwh, density)
        found.append(
            OilMonth(
                month=f"{month // 12:04d}-{month % 12 + 1:02d}", added_l=rounded(oil_l), energy_kwh=rounded(made_kwh), g_per_kwh=g_per_kwh
            )
        )
    return tuple(found), middles


def _trend(months: tuple[OilMonth, ...], mid_hours: list[float]) -> float | None:
    """Return the slope of a line through the months' consumption over running hours, each weighing as much as its energy."""
    rows = [
        (hours, month.g_per_kwh, month.energy_kwh)
        for hours, month in zip(mid_hours, months, strict=True)
        if month.g_per_kwh is not None and month.energy_kwh > 0
    ]
    if len(rows) < LEAST_MONTHS:
        return None
    hours, values, weights = (np.array(column, dtype=np.float64) for column in zip(*rows, strict=True))
    # polyfit weighs the distances from the line, whose squares it makes small; the squares are to weigh as much as the energy
    slope, _ = np.polyfit(hours, values, deg=1, w=np.sqrt(weights))
    return rounded(float(slope) * TREND_HOURS)


def diesel_sulphur_pct(h2s_ppm: float, methane_pct: float = USUAL_METHANE_PCT) -> float:
    """Return the sulphur of the diesel fuel that carries as much of it per MJ as a gas does.

    Every mole of hydrogen sulphide brings one of sulphur; the gas's energy is its methane's.

    Args:
        h2s_ppm: hydrogen sulphide, ppm by volume.
        methane_pct: methane, per cent by volume, above zero.

    Returns:
        Sulphur, per cent by mass.

    Source:
        Worked from molar mass and heating values: 1,000 ppmv in 60 % methane is 0.0666 g/MJ, diesel of 0.284 %.

    Example:
        >>> round(diesel_sulphur_pct(1000.0, 60.0), 3)
        0.284
    """
    g_per_mol = h2s_ppm * 1e-6 * SULPHUR_G_PER_MOL
    mj_per_mol = methane_pct / 100.0 * METHANE_KJ_PER_MOL / 1000.0
    return g_per_mol / mj_per_mol * DIESEL_MJ_PER_KG / 1000.0 * 100.0
