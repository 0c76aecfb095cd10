"""An engine's rows as elementary steps: spans on which every level is one value and every count runs evenly.

In: one engine's log, the instants at which days and windows are cut. Out: `Steps`.
Blocks complete one another by time: of levels and counters the first that covers the step counts. Each level describes the step of its
own block (before or after its stamp), or holds on.
Refuses nothing: what no row shows is NaN.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.language.conditions import Condition, comparisons_of
from intervals.language.measures import MONTH
from intervals.local_days import HOUR_US, LocalDays
from intervals.rulebook.level_rules import holds_where
from intervals.usage.engine_blocks import BlockView, covered_borders_us, held_until_us
from intervals.usage.engine_log import EngineLog
from intervals.usage.meter.meter_course import ActiveTime, Course
from intervals.usage.step_nodes import Nodes

FULL_SHARE_PCT = 130.0
NOTHING = 1e-9


class CounterFault(NamedTuple):
    """A counter other than the hour meter that stepped back (index of the later row in its block)."""

    quantity: str
    at_us: int
    value: float
    previous: float


class CounterReadings(NamedTuple):
    """What a counter showed, in order of time; no NaN."""

    at_us: Instants
    values: Floats

    def meets(self, at_us: int, value: float) -> float:
        """Return what this counter showed when another block's showed a value: that value, unless its own readings around it say otherwise.

        Where it is another counter, of the same thing, only what it rose by may count.
        """
        place = int(self.at_us.searchsorted(at_us, side="right"))
        if not 0 < place < len(self.at_us) or self.values[place - 1] <= value <= self.values[place]:
            return value
        return float(np.interp(at_us, self.at_us, self.values))


class Steps(NamedTuple):
    """Elementary steps of one engine.

    Attributes:
        at_us: the n + 1 nodes, rising.
        hours_h: running hours of each step, 0 where unknown.
        is_known: whether the hours of the step are known.
        doubtful: whether they rest on a bridged meter step.
        levels: quantity -> its value on each step, NaN where unknown.
        increments: counter or amount -> its increase on each step.
        counters_known_from_us: counter -> its first reading.
        shows: 1 where rows of load show it running in a longer step of the meter, 0 where the meter has no more than rounding, else NaN.
    """

    at_us: Instants
    hours_h: Floats
    is_known: NDArray[np.bool_]
    doubtful: NDArray[np.bool_]
    levels: dict[str, Floats]
    increments: dict[str, Floats]
    counters_known_from_us: dict[str, int]
    shows: Floats | None = None


def count_up(at_us: Instants, values: Floats, nodes: Nodes, active: ActiveTime, quantity: str) -> tuple[Floats, list[CounterFault]]:
    """Return a counter's increase on each step; a step back counts nothing and is a fault."""
    steps = values[1:] - values[:-1]
    if np.minimum.reduce(steps, initial=0.0) >= 0:
        return np.diff(nodes.along(at_us, values, active)), []
    faults = [
        CounterFault(quantity, int(at_us[index + 1]), float(values[index + 1]), float(values[index]))
        for index in np.flatnonzero(steps < -NOTHING).tolist()
    ]
    total = np.zeros(len(values))
    np.cumsum(np.maximum(steps, 0.0), out=total[1:])
    return np.diff(nodes.along(at_us, total, active)), faults


def build_steps(log: EngineLog, cuts_us: Instants, span_us: tuple[int, int], levels: Iterable[str]) -> tuple[Steps, list[CounterFault]]:
    """Return the elementary steps of one engine between two instants; no step spans a cut or the border of a lay-up.

    Args:
        log: the engine's log.
        cuts_us: instants that no step may span (midnights, completions), in any order; those outside the span count nothing.
        span_us: first and last node.
        levels: levels that somebody asks for.

    Returns:
        The steps, and the steps back of counters.
    """
    blocks, course, active, engine = log.blocks, log.course, log.active, log.engine
    extra = [cuts_us, *(expiry for block in blocks for expiry in (*held_until_us(block), *covered_borders_us(block)))]
    extra.append(np.array([edge for spell in active.spans_us for edge in spell], dtype=np.int64))
    if course.is_known:
        extra.append(course.at_us[[0, -1]] if course.placed is None else course.placed.at_us)
    nodes = Nodes([block.at_us for block in blocks], np.concatenate(extra), *span_us)
    views = [BlockView(block, nodes, log.in_service_us) for block in blocks if len(block.at_us)]
    increments, known_from, faults = _count_all(views, nodes, active, log.in_service_us, engine.at_start)
    needed = set(levels)
    needed |= {"load_kw"} if "load_pct" in needed else set()
    found: dict[str, Floats] = {}
    if course.is_known:
        hours, is_known = _hours_by_meter(course, nodes)
        _add_levels(views, needed, course, found)
    else:
        asked = () if log.running_when is None else comparisons_of(log.running_when)
        _add_levels(views, needed | {part.name for part in asked}, None, found)
        hours, is_known = _hours_where(log.running_when, found, nodes)
        # after the last row no hours are assumed; what may have been run since is another question
        is_known[int(nodes.at_us.searchsorted(log.log_end_us or nodes.at_us[-1])) :] = log.running_when is not None
    _derive_load(found, needed, increments, hours, engine.rated_kw, views)
    doubtful = np.zeros(len(hours), dtype=np.bool_)
    if course.is_known and course.doubtful.any():
        into = np.searchsorted(course.at_us, nodes.at_us[1:], side="left")
        inside = into < len(course.at_us)
        doubtful[inside] = course.doubtful[into[inside]]
    shows = None if course.placed is None else course.placed.shows_at(nodes.at_us[:-1])
    return Steps(nodes.at_us, hours, is_known, doubtful, found, increments, known_from, shows), faults


def with_months(steps: Steps, levels: Iterable[str], days: LocalDays) -> Steps:
    """Return steps with the month of the year of each as a level, where somebody asks for it.

    Args:
        steps: steps of which none spans a midnight.
        levels: levels that somebody asks for.
        days: the site's local days.
    """
    return steps._replace(levels={**steps.levels, MONTH: days.months_of(steps.at_us[:-1])}) if MONTH in levels else steps


def _hours_by_meter(course: Course, nodes: Nodes) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the running hours of each step as the meter shows them, and whether it does: not before its first reading."""
    hours = np.diff(nodes.along(*course.line, course.active))
    first_known = min(len(hours), int(nodes.at_us.searchsorted(course.known_from_us)))
    hours[:first_known] = 0.0
    is_known = np.ones(len(hours), dtype=np.bool_)
    is_known[:first_known] = False
    return hours, is_known


def _hours_where(running_when: Condition | None, levels: Mapping[str, Floats], nodes: Nodes) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the running hours of each step by what running means at the site, and whether that is known."""
    count = len(nodes.at_us) - 1
    runs = holds_where(running_when, levels, count) if running_when is not None else np.full(count, np.nan)
    is_known = ~np.isnan(runs)
    return np.where(is_known, np.diff(nodes.at_us) / HOUR_US * runs, 0.0), is_known


def _count_all(
    views: list[BlockView], nodes: Nodes, active: ActiveTime, in_service_us: int | None, at_start: Mapping[str, float]
) -> tuple[dict[str, Floats], dict[str, int], list[CounterFault]]:
    """Return the increase of every counter and amount on each step."""
    increments: dict[str, Floats] = {}
    known_from: dict[str, int] = {}
    faults: list[CounterFault] = []
    readings: dict[str, list[CounterReadings]] = {}
    for view in views:
        for name, rows in view.block.quantities.items():
            if rows.kind == "amount":
                share = view.amount(rows, active)
                increments[name] = increments[name] + share if name in increments else share
            elif rows.kind == "counter" and name != "hour_meter_h":
                blank = np.isnan(rows.values)
                if not blank.any():
                    readings.setdefault(name, []).append(CounterReadings(view.block.at_us, rows.values))
                elif not blank.all():
                    readings.setdefault(name, []).append(CounterReadings(view.block.at_us[~blank], rows.values[~blank]))
    for name, of_blocks in readings.items():
        earliest, *later = _complete_one_another(of_blocks)
        if in_service_us is not None and name in at_start and in_service_us < earliest.at_us[0]:
            earliest = CounterReadings(np.append(in_service_us, earliest.at_us), np.append(at_start[name], earliest.values))
        known_from[name] = int(earliest.at_us[0])
        increments[name], back = count_up(*earliest, nodes, active, name)
        faults.extend(back)
        for stretch in later:
            more, back = count_up(*stretch, nodes, active, name)
            increments[name] = increments[name] + more
            faults.extend(back)
    return increments, known_from, faults


def _complete_one_another(of_blocks: Sequence[CounterReadings]) -> list[CounterReadings]:
    """Return stretches of a counter's readings, one after the other: a block counts where none before it covers the step, at either end.

    Between two readings of a block its own count is whole, and what another one shows there adds nothing.
    """
    stretches = [of_blocks[0]]
    for block in of_blocks[1:]:
        first, last = stretches[0], stretches[-1]
        before, after = block.at_us < first.at_us[0], block.at_us > last.at_us[-1]
        if before.any():
            at_us, value = first.at_us[0], block.meets(int(first.at_us[0]), float(first.values[0]))
            stretches.insert(0, CounterReadings(np.append(block.at_us[before], at_us), np.append(block.values[before], value)))
        if after.any():
            at_us, value = last.at_us[-1], block.meets(int(last.at_us[-1]), float(last.values[-1]))
            stretches.append(CounterReadings(np.append(at_us, block.at_us[after]), np.append(value, block.values[after])))
    return stretches


def _add_levels(views: list[BlockView], needed: set[str], course: Course | None, levels: dict[str, Floats]) -> None:
    """Fill in the levels that are logged; the first block that knows a value counts."""
    for view in views:
        own_hours: Floats | None = None
        for name, rows in view.block.quantities.items():
            if rows.kind != "level" or name not in needed:
                continue
            if rows.is_row_mean and own_hours is None and course is not None:
                own_hours = course.hours_at(view.own_end) - course.hours_at(view.own_start)
            level = view.level(rows, own_hours)
            levels[name] = np.where(np.isnan(levels[name]), level, levels[name]) if name in levels else level


def _derive_load(  # noqa: PLR0913 - each input is one term of the definition
    levels: dict[str, Floats],
    needed: set[str],
    increments: Mapping[str, Floats],
    hours: Floats,
    rated_kw: float | None,
    views: list[BlockView],
) -> None:
    """Fill in load_pct: 100 load / rated, or energy / (hours x rated) where no load is logged."""
    if "load_pct" not in needed or rated_kw is None:
        return
    logged = levels.get("load_kw")
    if logged is not None and not np.isnan(logged).all():
        derived = 100.0 * logged / rated_kw
    elif "energy_kwh" in increments and not any(_is_logged(view, "load_kw") for view in views):
        covered = np.zeros(len(hours), dtype=np.bool_)
        for view in views:
            if "energy_kwh" in view.block.quantities:
                covered |= view.covered
        with np.errstate(divide="ignore", invalid="ignore"):
            derived = np.where(covered & (hours > 0), 100.0 * increments["energy_kwh"] / (hours * rated_kw), np.nan)
    else:
        return
    if np.fmax.reduce(derived, initial=0.0) > FULL_SHARE_PCT:
        derived = np.where(np.round(derived, 6) > FULL_SHARE_PCT, np.nan, derived)
    own = levels.get("load_pct")
    levels["load_pct"] = derived if own is None else np.where(np.isnan(own), derived, own)


def _is_logged(view: BlockView, name: str) -> bool:
    """Tell whether a block has any value of a quantity."""
    rows = view.block.quantities.get(name)
    return rows is not None and not bool(np.isnan(rows.values).all())
