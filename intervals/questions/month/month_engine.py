"""One engine in one month: hours, load, starts, oil, what was done, how good its data is, and the sawtooth of its tasks.

In: an engine as it was judged, and its findings. Out: an `EngineMonth`. Sums come from its ledger; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from intervals.findings import Finding, Skipped
from intervals.history.engine_case import EngineCase
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import JudgedEngine
from intervals.local_days import HOUR_US
from intervals.questions.explain.explained_range import range_sentence
from intervals.questions.month.month_history import LateDays
from intervals.questions.month.month_intervals import intervals_of
from intervals.questions.month.month_models import EngineMonth, LoadBand, Saw, ServiceDone
from intervals.questions.month.sawtooth import Interest, saw_of, tasks_to_draw
from intervals.rulebook.duty_cells import CellPlan
from intervals.rulebook.load_bands import LOAD, LOAD_BANDS, hours_by_band
from intervals.shown_numbers import figure
from intervals.usage.ledger import build_ledger
from intervals.usage.steps import build_steps
from intervals.windows.chain import TaskChain
from intervals.windows.ranges_ahead import use_of_meter


@dataclass(frozen=True)
class Within:
    """The month as edges of an engine's ledger: from the first to the last of its pieces that lie in it."""

    low: int
    high: int
    start_us: int
    end_us: int

    @classmethod
    def of(cls, case: EngineCase, month: Month) -> Within:
        """Return the part of a month that an engine's ledger covers."""
        edges = case.ledger.edges_us
        low = min(int(np.searchsorted(edges, month.start_us, side="left")), len(edges) - 1)
        return cls(low, len(edges) - 1, int(edges[low]), int(edges[-1]))

    def of_totals(self, totals: np.ndarray) -> float:
        """Return the increase of a running total."""
        return round(float(totals[self.high] - totals[self.low]), 6)


class EngineFound(NamedTuple):
    """What was found of an engine, as its month is drawn from it.

    Attributes:
        findings: its findings.
        skipped: everything skipped ever.
        faults: how many faults there are in its data.
        late: the local days on which tasks were done late.
        most_saws: how many sawteeth are drawn.
    """

    findings: Sequence[Finding]
    skipped: Sequence[Skipped]
    faults: int
    late: LateDays
    most_saws: int


def engine_month(judged: Sequence[JudgedEngine], months: Sequence[Month], span_us: tuple[int, int], found: EngineFound) -> EngineMonth:
    """Return one engine in one month.

    Args:
        judged: the engine, by each of its rule sets.
        months: the months before it, and last the month itself.
        span_us: first and last instant of the sawtooth.
        found: what was found of it.
    """
    case, month = judged[0].case, months[-1]
    within = Within.of(case, month)
    bands, mean_load, load_unknown_h = _load(case, within)
    totals = case.ledger.totals
    sums = {name: within.of_totals(totals[name]) for name in ("starts", "oil_added_l", "energy_kwh") if name in totals}
    hours_h = within.of_totals(case.ledger.running_h)
    starts = sums.get("starts")
    is_counted = case.ledger.counters_known_from_us.get("starts", within.start_us) <= within.start_us
    drawn, left = tasks_to_draw(judged, found.findings, _drawn_first(found, case, span_us), found.most_saws)
    gaps = [(max(gap.start_us, within.start_us), min(gap.end_us, within.end_us)) for gap in case.log.gaps]
    inside = [end - start for start, end in gaps if end > start]
    rows = case.log.rows[case.log.rows <= case.end_us]
    return EngineMonth(
        engine=case.engine.id,
        title=case.engine.shown_title,
        described=_described(case),
        hours_h=hours_h,
        hours_per_start_h=round(hours_h / starts, 6) if starts and is_counted else None,
        starts=starts,
        oil_added_l=sums.get("oil_added_l"),
        energy_kwh=sums.get("energy_kwh"),
        mean_load_pct=mean_load,
        meter_h=case.log.course.meter_at(case.end_us) if case.log.course.is_known else None,
        bands=bands,
        load_unknown_h=load_unknown_h,
        doubtful_h=within.of_totals(case.ledger.doubtful_up_to[0]),
        unknown_h=within.of_totals(case.ledger.unknown_up_to_h),
        gaps=len(inside),
        gap_h=round(sum(inside) / HOUR_US, 6),
        last_row_at=case.days.iso(int(rows[-1])) if len(rows) else None,
        faults=found.faults,
        ranges_held=range_sentence(use_of_meter(case)),
        services=tuple(_services(judged, month)),
        saws=tuple(saw for chain in drawn if (saw := _saw(chain, found, span_us)) is not None),
        not_drawn=tuple(left),
        intervals=intervals_of(judged, months, {(entry.ruleset, entry.task) for entry in found.findings}),
    )


def _drawn_first(found: EngineFound, case: EngineCase, span_us: tuple[int, int]) -> Interest:
    """Return what makes a task worth drawing."""
    since = case.days.date_of(span_us[0]).isoformat()
    return Interest(
        span_us[0],
        frozenset((entry.ruleset, entry.task) for entry in found.skipped if entry.open or entry.at >= since),
        frozenset((ruleset, task) for (_, ruleset, task), days in found.late.items() if days),
    )


def _saw(chain: TaskChain, found: EngineFound, span_us: tuple[int, int]) -> Saw | None:
    """Return the sawtooth of one task."""
    key = (chain.case.ruleset, chain.task.id)
    skipped = [entry for entry in found.skipped if (entry.ruleset, entry.task) == key]
    leg = next((entry.governing for entry in found.findings if (entry.ruleset, entry.task) == key), None)
    return saw_of(chain, leg, skipped, found.late.get((chain.case.engine.id, *key), frozenset()), span_us)


def _described(case: EngineCase) -> str:
    """Return what an engine states of itself in a few words."""
    engine = case.engine
    rated = None if engine.rated_kw is None else f"{figure(float(engine.rated_kw))} kW"
    oil = None if engine.oil_volume_l is None else f"{figure(float(engine.oil_volume_l))} L of oil"
    return ", ".join(part for part in (engine.fuel, engine.duty, rated, oil) if part)


def _load(case: EngineCase, within: Within) -> tuple[tuple[LoadBand, ...], float | None, float]:
    """Return the hours of the month by load, the mean load, and the hours of which no load is known."""
    if within.start_us >= within.end_us:
        return (), None, 0.0
    edges = np.array([within.start_us, within.end_us], dtype=np.int64)
    steps, _ = build_steps(case.log, edges, (within.start_us, within.end_us), {LOAD})
    ledger = build_ledger(steps, edges, CellPlan(means=frozenset({LOAD})))
    known_h = float(ledger.sums.get(f"known:{LOAD}", np.zeros(1))[0])
    mean = round(float(ledger.sums[f"mean:{LOAD}"][0]) / known_h, 6) if known_h > 0 else None
    load_pct = steps.levels.get(LOAD, np.full(len(steps.hours_h), np.nan))
    by_band = hours_by_band(load_pct, steps.hours_h)
    bands = tuple(
        LoadBand(from_pct=above, to_pct=up_to, hours_h=round(hours_h, 6))
        for (above, up_to), hours_h in zip(LOAD_BANDS, by_band.hours_h, strict=True)
    )
    return bands, mean, round(by_band.unknown_h, 6)


def _services(judged: Sequence[JudgedEngine], month: Month) -> Iterator[ServiceDone]:
    """Yield what was done on the engine in the month, in order of time."""
    done = [
        (completion.at_us, chain.case.title_of(chain.task), completion, each)
        for each in judged
        for chain in each.chains.values()
        for completion in chain.completions
        if month.holds(completion.at_us)
    ]
    for _, title, completion, each in sorted(done, key=lambda entry: entry[0]):
        titles = {task: chain.task.title for task, chain in each.chains.items()}
        renewed_by = None if completion.by == completion.task else titles.get(completion.by, completion.by)
        yield ServiceDone(
            on=completion.day.isoformat(),
            task=completion.task,
            title=title,
            hour_meter_h=None if completion.meter_h is None else round(completion.meter_h, 6),
            record=completion.record,
            renewed_by=renewed_by,
        )
