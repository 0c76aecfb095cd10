"""A component made ready to be judged: like an engine, by the usage of the engines that it sat on.

In: a site's component, its records, the logs of its engines. Out: an `EngineCase` under the component's id. On the shelf only the
calendar runs. `hour_meter_h` of its records is its own hours, not those of an engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.faults import Fault
from intervals.history.engine_case import EngineCase
from intervals.history.events import EventSources, with_occasions
from intervals.history.ledger_edges import edges_of
from intervals.history.one_job import OneJobs
from intervals.history.placed_records import records_before
from intervals.history.record_tasks import records_of_log, settle_by_set
from intervals.local_days import HOUR_US, LocalDays
from intervals.readings import Readings, ServiceRecord
from intervals.readings.records.found_grades import FoundGrades
from intervals.rulebook.rulebook import RuleBook
from intervals.rulebook.standings import Standings
from intervals.site.components import Component
from intervals.site.model import Site
from intervals.usage.engine_log import EngineLog, gather_engine_log
from intervals.usage.fitted_steps import FittedSpan, course_of, fitted_steps, join_steps, spread_steps, still_steps
from intervals.usage.ledger import build_ledger
from intervals.usage.meter.meter_course import ActiveTime
from intervals.usage.steps import Steps, with_months

USUAL_GAP_US = 36 * HOUR_US
# own hours at a fitting may be written down a day off, as meter readings may
AGREES_WITHIN_H = 24.0


class Sources(NamedTuple):
    """What a component is judged from: the site's inputs, as far as it needs them."""

    site: Site
    readings: Readings
    records: Mapping[str, Sequence[ServiceRecord]]
    days: LocalDays
    standings: Standings
    grades: FoundGrades


def component_cases(  # noqa: PLR0913 - what is judged, by what, until when
    sources: Sources, component: Component, books: Sequence[RuleBook], *, end_us: int, last_day: date, includes_end: bool
) -> list[EngineCase]:
    """Return a component made ready to be judged, once for each of its rule sets; none where it was not there yet.

    Args:
        sources: the site's inputs.
        component: the component.
        books: the rule books that judge it.
        end_us: the moment of judging.
        last_day: the last day that it covers.
        includes_end: whether a record at that very moment counts.
    """
    site, days = sources.site, sources.days
    rulesets = [book.ruleset for book in books]
    given = sources.records.get(component.id, ())
    records = records_of_log(given, rulesets)
    if component.out_of_service is not None and site.instant_us(component.out_of_service) < end_us:
        end_us, includes_end = site.instant_us(component.out_of_service), False
        last_day = days.last_day_before(end_us)
    faults: list[Fault] = []
    history = _History(sources, component, records, end_us)
    if history.birth_us >= end_us:
        return []
    cuts = np.array([history.birth_us, end_us], dtype=np.int64)
    rough = history.steps(cuts, history.birth_us, frozenset(), faults)
    log_end_us = history.log_end_us
    course = course_of(rough, log_end_us, history.birth_us, history.active())
    rows = np.unique(np.concatenate([history.rows(), np.array([history.birth_us, log_end_us], dtype=np.int64)]))
    gone_us = None if component.out_of_service is None else site.instant_us(component.out_of_service)
    log = EngineLog(component.as_engine(), (), course, rows, (), history.gap_us, history.birth_us, gone_us, ())
    jobs = OneJobs(rulesets, site.one_job)
    settled = jobs.shared(settle_by_set(log, given, rulesets, days, jobs, before_us=end_us, includes_end=includes_end))
    latest_us = end_us if includes_end else end_us - 1
    settled = [
        # a component has no rows and no analyses of its own
        with_occasions(EventSources(site, log, own, (), sources.grades, None, book, days, latest_us))
        for own, book in zip(settled, books, strict=True)
    ]
    edges = edges_of(log, settled, days, end_us)
    levels = frozenset[str]().union(*(book.plan.levels for book in books))
    steps = with_months(history.steps(edges, int(edges[0]), levels, []), levels, days)
    cases = []
    for book, own in zip(books, settled, strict=True):
        ledger = build_ledger(steps, edges, book.plan)
        case = EngineCase(site, log.engine, log, own, ledger, book, days, end_us, last_day, sources.standings, steps=steps)
        case.is_component, case.is_one_of_several = True, len(books) > 1
        case.faults += [*faults, *own.faults]
        cases.append(case)
    return cases


class _History:
    """Where a component was, and what it had run when it came."""

    def __init__(self, sources: Sources, component: Component, records: Sequence[ServiceRecord], end_us: int) -> None:
        self.sources, self.component, self.end_us = sources, component, end_us
        site = sources.site
        self.fitted = sorted(component.fitted, key=lambda entry: site.instant_us(entry.from_))
        self.first_us = site.instant_us(self.fitted[0].from_)
        self.before = sorted(
            (at_us, record.hour_meter_h)
            for record in records
            if (at_us := _at_us(site, record)) is not None and at_us < self.first_us and record.outcome != "void"
        )
        stated = component.in_service
        known = [self.first_us, *(site.instant_us(site.day_of(at_us)) for at_us, _ in self.before)]
        self.birth_us = min(known) if stated is None else min(site.instant_us(stated), *known)
        self.logs: dict[str, EngineLog] = {}

    def log_of(self, engine_id: str) -> EngineLog:
        """Return the log of an engine that it sat on."""
        if engine_id not in self.logs:
            site, sources = self.sources.site, self.sources
            index = next(index for index, engine in enumerate(site.engines) if engine.id == engine_id)
            records = records_before(sources.records.get(engine_id, ()), sources.days, self.end_us)
            self.logs[engine_id] = gather_engine_log(site, index, sources.readings, records, sources.days)
        return self.logs[engine_id]

    def spans(self) -> list[FittedSpan]:
        """Return where it sat, up to the end."""
        site, found = self.sources.site, []
        for entry in self.fitted:
            start_us = site.instant_us(entry.from_)
            end_us = self.end_us if entry.to is None else min(site.instant_us(entry.to), self.end_us)
            if start_us < end_us:
                found.append(FittedSpan(start_us, end_us, self.log_of(entry.engine)))
        return found

    @property
    def log_end_us(self) -> int:
        """Up to when its hours are known: by the log of the engine that it sits on, or on the shelf to the end."""
        spans = self.spans()
        if not spans or spans[-1].end_us < self.end_us:
            return self.end_us
        log_end_us = spans[-1].log.log_end_us
        return max(spans[-1].start_us, min(self.end_us, log_end_us if log_end_us is not None else spans[-1].start_us))

    @property
    def gap_us(self) -> int:
        """What counts as a silence: as on the engine that it sits on."""
        spans = self.spans()
        return spans[-1].log.gap_us if spans else USUAL_GAP_US

    def active(self) -> ActiveTime:
        """Return the time outside the lay-ups of its engines; on the shelf nothing is laid up, and the calendar runs."""
        spans = [(max(start, span.start_us), min(end, span.end_us)) for span in self.spans() for start, end in span.log.active.spans_us]
        return ActiveTime(tuple(sorted((start, end) for start, end in spans if start < end)))

    def rows(self) -> Instants:
        """Return the instants of all rows of its engines while it sat there."""
        rows = [span.log.rows[(span.log.rows >= span.start_us) & (span.log.rows <= span.end_us)] for span in self.spans()]
        return np.concatenate([np.zeros(0, dtype=np.int64), *rows])

    def steps(self, cuts_us: Instants, start_us: int, levels: frozenset[str], faults: list[Fault]) -> Steps:
        """Return its steps from an instant at or before its first day to the end."""
        first_us = min(self.first_us, self.end_us)
        parts = []
        if start_us < self.birth_us:
            inside = cuts_us[(cuts_us > start_us) & (cuts_us < self.birth_us)]
            nodes = np.concatenate(([start_us], inside, [self.birth_us]))
            parts.append(still_steps(nodes.astype(np.int64), is_known=False))
        points = self._points(first_us)
        parts.append(spread_steps(cuts_us, self.birth_us, points[-1][0], points))
        before = join_steps(parts)
        return fitted_steps(before, self._with_hours(levels, faults), cuts_us, levels, self.end_us)

    def _points(self, first_us: int) -> list[tuple[int, float]]:
        """Return its own hours at instants up to its first fitting: at birth none, then what was written down."""
        at_first = float(self.component.hours_at_fitting_h)
        stated = self.fitted[0].hours_at_fitting_h
        at_first = at_first if stated is None else float(stated)
        readings = [(at_us, float(hours)) for at_us, hours in self.before if hours is not None and hours <= at_first]
        points = [(self.birth_us, 0.0)]
        before_h = readings[0][1] if readings else at_first
        if before_h > 0 and (self.component.in_service is None or self.birth_us >= first_us):
            # when it ran all this is not known: before anything that was written down here
            points.append((self.birth_us + 1, before_h))
        points += [point for point in readings if point[0] > points[-1][0] and point[1] >= points[-1][1]]
        if first_us > points[-1][0]:
            points.append((first_us, at_first))
        return points

    def _with_hours(self, levels: frozenset[str], faults: list[Fault]) -> list[FittedSpan]:
        """Return where it sat, with the hours that it ran elsewhere in between, where they are written down."""
        spans = self.spans()
        made: list[FittedSpan] = []
        for number, span in enumerate(spans):
            stated = self.fitted[number].hours_at_fitting_h
            if number == 0 or stated is None:
                made.append(span)
                continue
            birth = np.array([self.birth_us, span.start_us], dtype=np.int64)
            so_far = fitted_steps(self._start_only(), made, birth, levels, span.start_us)
            more_h = float(stated) - float(so_far.hours_h.sum())
            if more_h < -AGREES_WITHIN_H:
                text = f"{self.component.id} was fitted to {self.fitted[number].engine} with {float(stated):,.1f} h of its own; it had run "
                text += f"{float(stated) - more_h:,.1f} h here by then, which count"
                faults.append(Fault(self.component.id, "component_hours_disagree", None, None, span.start_us, text))
            made.append(FittedSpan(span.start_us, span.end_us, span.log, max(0.0, more_h)))
        return made

    def _start_only(self) -> Steps:
        """Return its steps up to its first fitting."""
        points = self._points(min(self.first_us, self.end_us))
        return spread_steps(np.zeros(0, dtype=np.int64), self.birth_us, points[-1][0], points)


def _at_us(site: Site, record: ServiceRecord) -> int | None:
    """Return a record's instant, noon where only its day is known."""
    return record.at_us if record.at_us is not None else None if record.on is None else site.noon_us(record.on)
