"""How hard an engine ran: load classes, average power after ISO 8528-1, light load, the heaviest 24 h, and its rating.

In: a `DutySpan` and the rules about duty. Out: models of `duty_models`. The sums are here; every threshold is a rule of
`duty_rules` or an edge of `load_bands`.
"""

from __future__ import annotations

import numpy as np

from intervals.arrays import Floats
from intervals.language.legs import rounded
from intervals.language.measures import ISO_FLOOR_PCT
from intervals.questions.duty.duty_models import Heaviest, LoadClass, LoadDuty, RatingCheck, Stretch
from intervals.questions.duty.duty_rules import (
    ABOVE_RATED,
    LIGHT,
    LIMITED_H_A_YEAR,
    PRIME_AVERAGE_PCT,
    RATING_SOURCE,
    STANDBY_H_A_YEAR,
    VERDICT_OF_RULE,
    DutyRules,
)
from intervals.questions.duty.duty_span import DutySpan
from intervals.rulebook.inference import FactValue
from intervals.rulebook.load_bands import LOAD_BANDS, hours_by_band
from intervals.shown_numbers import amount, figure
from intervals.usage.sliding import HeaviestWindow, heaviest_window

DAY_H = 24.0
YEAR_H = 365.0 * DAY_H


def load_duty(span: DutySpan, rules: DutyRules) -> LoadDuty:
    """Return the load spectrum and the averages; a step below 30 % of rated counts as 30 % in the average power."""
    load, known = span.load_pct, ~np.isnan(span.load_pct)
    hours, loads = span.hours_h[known], load[known]
    total = float(hours.sum())
    by_band = hours_by_band(loads, hours).hours_h
    sums = {rule: float((hours * rules.holds(rule, loads)).sum()) for rule in (LIGHT, ABOVE_RATED)}
    average, plain = _mean(np.maximum(loads, ISO_FLOOR_PCT), hours), _mean(loads, hours)
    return LoadDuty(
        classes=tuple(
            LoadClass(above_pct=above, up_to_pct=up_to, hours_h=rounded(band_h), share_pct=_share(band_h, total) or 0.0)
            for (above, up_to), band_h in zip(LOAD_BANDS, by_band, strict=True)
        ),
        unknown_h=rounded(span.running_h - total),
        average_power_pct=average,
        average_power_kw=_in_kw(span, average),
        without_floor_pct=plain,
        without_floor_kw=_in_kw(span, plain),
        above_rated_share_pct=_share(sums[ABOVE_RATED], total),
        light_share_pct=_share(sums[LIGHT], total),
    )


def _mean(values: Floats, hours: Floats) -> float | None:
    """Return a mean weighted by running hours; None where nothing ran."""
    total = float(hours.sum())
    return rounded(float((values * hours).sum()) / total) if total > 0 else None


def _share(hours: float, total: float) -> float | None:
    """Return a share of running hours in per cent; None where nothing ran."""
    return rounded(100.0 * hours / total) if total > 0 else None


def _in_kw(span: DutySpan, share_pct: float | None) -> float | None:
    """Return a share of the rated power in kW."""
    rated = span.case.engine.rated_kw
    return None if share_pct is None or rated is None else rounded(share_pct / 100.0 * float(rated))


def longest_light_load(span: DutySpan, rules: DutyRules) -> Stretch | None:
    """Return the longest running below 30 % without a stop, or None where there was none."""
    light = rules.holds(LIGHT, span.load_pct) > 0
    if not light.any():
        return None
    # an unbroken run of the engine may go in and out of light load
    edge = np.diff(light.astype(np.int8), prepend=0) != 0
    stretch = span.stretch_of + np.cumsum(edge)
    hours = np.bincount(stretch, weights=np.where(light, span.hours_h, 0.0))
    inside = np.flatnonzero((stretch == int(hours.argmax())) & light)
    iso = span.case.days.iso
    return Stretch(
        hours_h=rounded(float(hours.max())),
        from_at=iso(int(span.nodes_us[inside[0]])),
        to_at=iso(int(span.nodes_us[inside[-1] + 1])),
    )


def heaviest_24h(span: DutySpan) -> Heaviest | None:
    """Return the 24 h of running with the highest average power; standstill and hours of unknown load are left out.

    Where the engine ran for less than 24 h, all of it is taken.
    """
    known = ~np.isnan(span.load_pct)
    hours = np.where(known, span.hours_h, 0.0)
    found = heaviest_window(hours, np.maximum(np.nan_to_num(span.load_pct), ISO_FLOOR_PCT), DAY_H)
    if found is None:
        return None
    start, end = _instants(span, hours, found)
    iso = span.case.days.iso
    return Heaviest(
        average_power_pct=rounded(found.mean), running_hours_h=rounded(found.end - found.start), from_at=iso(start), to_at=iso(end)
    )


def _instants(span: DutySpan, hours: Floats, window: HeaviestWindow) -> tuple[int, int]:
    """Return from when to when a window of running hours lasts."""
    total = np.concatenate(([0.0], np.cumsum(hours)))
    ran = np.flatnonzero(hours > 0)
    # the first instant at which so much had run and more followed; the last at which no more had
    first = ran[min(int(np.searchsorted(total[ran + 1], window.start, side="right")), len(ran) - 1)]
    last = ran[min(int(np.searchsorted(total[ran + 1], window.end - 1e-9, side="left")), len(ran) - 1)]
    ends = []
    for step, at in ((int(first), window.start), (int(last), window.end)):
        share = min(1.0, max(0.0, (at - float(total[step])) / float(hours[step])))
        low, high = int(span.nodes_us[step]), int(span.nodes_us[step + 1])
        ends.append(low + round(share * (high - low)))
    return ends[0], ends[1]


def hours_in_a_year(span: DutySpan) -> float:
    """Return the most running hours in any 365 days of the span (all of it where it is shorter)."""
    elapsed = span.elapsed_h
    found = heaviest_window(elapsed, np.divide(span.hours_h, elapsed, out=np.zeros_like(elapsed), where=elapsed > 0), YEAR_H)
    return 0.0 if found is None else rounded(found.mean * (found.end - found.start))


def rating_check(span: DutySpan, rules: DutyRules, heaviest: Heaviest | None) -> RatingCheck:
    """Put an engine's running to the rules about ratings."""
    duty = span.case.engine.duty
    a_year = hours_in_a_year(span)
    average = None if heaviest is None else heaviest.average_power_pct
    facts: dict[str, FactValue] = {
        "states_duty": duty is not None,
        "duty": duty,
        "knows_average": average is not None,
        "heaviest_24h_pct": average,
        "hours_in_a_year": a_year,
    }
    rule = rules.rating_rule(facts)
    shown = {"duty": duty, "heaviest_24h_pct": average, "hours_in_a_year": a_year}
    text = _rating_text(rule, duty or "", average, heaviest, a_year)
    limited = VERDICT_OF_RULE[rule] in ("within", "beyond")
    return RatingCheck(rule=rule, verdict=VERDICT_OF_RULE[rule], text=text, facts=dict(shown), source=RATING_SOURCE if limited else None)


def _rating_text(rule: str, duty: str, average: float | None, heaviest: Heaviest | None, a_year: float) -> str:
    """Return the sentence of a rating check."""
    match rule:
        case "rating-unstated":
            return "the engine states no duty, so it cannot be compared with a rating"
        case "no-rating-limit":
            return f"no limit of power or hours is known here for the duty {duty}"
        case "prime-average-unknown":
            return "prime: no load is known, so the average over 24 h is unknown"
        case "beyond-prime-average" | "within-prime-average":
            ran = (
                "" if heaviest is None or heaviest.running_hours_h >= DAY_H else f" (it ran {amount(heaviest.running_hours_h, 'h')} in all)"
            )
            word = "above" if rule.startswith("beyond") else "at most"
            shown = figure(average, line=PRIME_AVERAGE_PCT)
            return f"prime: {shown} % average in the heaviest 24 h of running{ran}, {word} the {PRIME_AVERAGE_PCT:g} % of a prime rating"
    limit = STANDBY_H_A_YEAR if rule.endswith("standby-hours") else LIMITED_H_A_YEAR
    word = "above" if rule.startswith("beyond") else "at most"
    return f"{duty}: {amount(a_year, 'h', line=limit)} in a year, {word} the {limit:g} h of such a rating"
