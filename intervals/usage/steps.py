"""An engine's rows as elementary steps: spans on which every level is one value and every count runs evenly.

In: the rows of one engine from every block, its meter's course, the instants at which days and windows are cut. Out: `Steps`.
Blocks complete one another by time; each level describes the step of its own block (before or after its stamp), or holds on.
Refuses nothing: what no row tells is NaN.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.localdays import HOUR_US
from intervals.usage.course import ActiveTime, Course, Floats, Instants

FULL_SHARE_PCT = 130.0
NOTHING = 1e-9


class QuantityRows(NamedTuple):
    """One quantity of one block: its kind, its values, how long it holds and what it was averaged over."""

    kind: str
    values: Floats
    holds_for_us: int | None = None
    is_row_mean: bool = False


class BlockOfEngine(NamedTuple):
    """The rows of one engine in one block, strictly rising in time."""

    at_us: Instants
    covers_before: bool
    gap_us: int
    quantities: Mapping[str, QuantityRows]
    file: NDArray[np.int32]
    line: NDArray[np.int32]


class CounterFault(NamedTuple):
    """A counter other than the hour meter that stepped back (index of the later row in its block)."""

    quantity: str
    at_us: int
    value: float
    previous: float


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
    """

    at_us: Instants
    hours_h: Floats
    is_known: NDArray[np.bool_]
    doubtful: NDArray[np.bool_]
    levels: dict[str, Floats]
    increments: dict[str, Floats]
    counters_known_from_us: dict[str, int]


def held_until_us(block: BlockOfEngine) -> list[Instants]:
    """Return the instants at which held values run out before a new one comes."""
    ends = []
    for rows in block.quantities.values():
        if rows.holds_for_us is None:
            continue
        stamped = block.at_us[~np.isnan(rows.values)]
        expiry = stamped + rows.holds_for_us
        following = np.append(stamped[1:], np.iinfo(np.int64).max)
        ends.append(expiry[expiry < following])
    return ends


def place_nodes(row_times: Iterable[Instants], extra_us: Instants, start_us: int, end_us: int) -> Instants:
    """Return all node instants of the span, sorted and unique, its two ends included."""
    parts = [extra_us, np.array([start_us, end_us], dtype=np.int64), *row_times]
    # the parts are sorted already, which a stable sort makes use of
    nodes = np.sort(np.concatenate(parts), kind="stable")
    fresh = np.concatenate(([True], nodes[1:] != nodes[:-1]))
    return nodes[fresh & (nodes >= start_us) & (nodes <= end_us)]


class _BlockView:
    """Which row of a block describes each elementary step, and whether that row's own step is no gap."""

    def __init__(self, block: BlockOfEngine, nodes: Instants, in_service_us: int | None) -> None:
        self.block = block
        self.nodes = nodes
        times = block.at_us
        # a row's own step: from the row before (or the first day) to the row, or from the row to the next
        if block.covers_before:
            before_first = times[0] if in_service_us is None or in_service_us > times[0] else in_service_us
            self.own_start = np.concatenate(([before_first], times[:-1]))
            self.own_end = times
            row = np.searchsorted(times, nodes[1:], side="left")
        else:
            self.own_start = times
            self.own_end = np.append(times[1:], times[-1] + block.gap_us)
            row = np.searchsorted(times, nodes[:-1], side="right") - 1
        inside = (row >= 0) & (row < len(times))
        self.row = np.where(inside, row, 0)
        silent = (self.own_end - self.own_start) > block.gap_us
        self.tells = inside & ~silent[self.row] & (nodes[:-1] >= self.own_start[self.row]) & (nodes[1:] <= self.own_end[self.row])

    def level(self, rows: QuantityRows, course_hours: Floats | None) -> Floats:
        """Return the level on each step: the row's own value, else one that still holds."""
        values = rows.values
        if rows.is_row_mean and course_hours is not None:
            span_h = (self.own_end - self.own_start) / HOUR_US
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.where(course_hours > 0, values * span_h / course_hours, np.nan)
        level = np.where(self.tells, values[self.row], np.nan)
        if rows.holds_for_us is None:
            return level
        stamped = ~np.isnan(rows.values)
        if not stamped.any():
            return level
        times = self.block.at_us[stamped]
        last = np.searchsorted(times, self.nodes[:-1], side="right") - 1
        holds = (last >= 0) & (self.nodes[1:] <= times[last] + rows.holds_for_us)
        return np.where(np.isnan(level) & holds, rows.values[stamped][last], level)

    def amount(self, rows: QuantityRows, active: ActiveTime) -> Floats:
        """Return an amount's share of each step: a row's amount is spread over the row's own step by time."""
        values = np.nan_to_num(rows.values, nan=0.0)
        times = self.block.at_us
        if self.block.covers_before:
            first = self.own_start[0] if self.own_start[0] < times[0] else times[0] - 1
            nodes_at = np.concatenate(([first], times))
        else:
            nodes_at = np.append(times, times[-1] + 1)
        total = np.concatenate(([0.0], np.cumsum(values)))
        return np.diff(np.interp(active.at(self.nodes), active.at(nodes_at), total))


def count_up(at_us: Instants, values: Floats, nodes: Instants, active: ActiveTime, quantity: str) -> tuple[Floats, list[CounterFault]]:
    """Return a counter's increase on each step; a step back counts nothing and is a fault."""
    steps = np.diff(values)
    faults = [
        CounterFault(quantity, int(at_us[index + 1]), float(values[index + 1]), float(values[index]))
        for index in np.flatnonzero(steps < -NOTHING).tolist()
    ]
    total = np.concatenate(([0.0], np.cumsum(np.maximum(steps, 0.0))))
    return np.diff(np.interp(active.at(nodes), active.at(at_us), total)), faults


def running_where(condition: Condition, levels: Mapping[str, Floats], count: int) -> Floats:
    """Return 1 where a site's `running_when` holds, 0 where it does not, NaN where it cannot be told."""
    match condition:
        case Comparison(name=name, op=op, value=value):
            level = levels.get(name)
            if level is None:
                return np.full(count, np.nan)
            if isinstance(value, tuple):
                holds = np.isin(level, [part for part in value if isinstance(part, int | float)])
            else:
                holds = {">": level > value, ">=": level >= value, "<": level < value, "<=": level <= value}[op]
            return np.where(np.isnan(level), np.nan, holds.astype(np.float64))
        case AllOf(parts=parts) | AnyOf(parts=parts):
            rows = [running_where(part, levels, count) for part in parts]
            decided, undecided = (0.0, 1.0) if isinstance(condition, AllOf) else (1.0, 0.0)
            result = np.full(count, undecided)
            for row in rows:
                result = np.where(np.isnan(row) | np.isnan(result), np.nan, np.where(row == decided, decided, result))
            for row in rows:
                result = np.where(row == decided, decided, result)
            return result
    raise TypeError(condition)


def build_steps(  # noqa: PLR0913 - one call that gathers what the rows of an engine can tell
    blocks: list[BlockOfEngine],
    course: Course,
    *,
    cuts_us: Instants,
    start_us: int,
    end_us: int,
    in_service_us: int | None,
    at_start: Mapping[str, float],
    rated_kw: float | None,
    wanted_levels: Iterable[str],
    running_when: Condition | None,
) -> tuple[Steps, list[CounterFault]]:
    """Return the elementary steps of one engine between two instants.

    Args:
        blocks: the engine's rows, one entry a block.
        course: its hour meter's course (not known where there is none).
        cuts_us: instants that no step may span (midnights, completions, lay-up ends).
        start_us: first node.
        end_us: last node.
        in_service_us: the engine's first moment, or None.
        at_start: counters' readings at that moment.
        rated_kw: rated power, or None.
        wanted_levels: levels that somebody asks for.
        running_when: what running means where no meter tells.

    Returns:
        The steps, and the steps back of counters.
    """
    active = course.active
    extra = [cuts_us, *(expiry for block in blocks for expiry in held_until_us(block))]
    if course.is_known:
        extra.append(course.at_us[[0, -1]])
    nodes = place_nodes([block.at_us for block in blocks], np.concatenate(extra), start_us, end_us)
    views = [_BlockView(block, nodes, in_service_us) for block in blocks if len(block.at_us)]
    increments, known_from, faults = _count_all(views, nodes, active, in_service_us, at_start)
    count = len(nodes) - 1
    needed = set(wanted_levels) | ({"load_pct", "load_kw"} if "load_pct" in wanted_levels else set())
    levels: dict[str, Floats] = {}
    if course.is_known:
        hours = np.diff(course.hours_at(nodes))
        _add_levels(views, needed, course, levels)
    else:
        _add_levels(views, needed | _names_of(running_when), None, levels)
        runs = running_where(running_when, levels, count) if running_when is not None else np.full(count, np.nan)
        hours = np.diff(nodes) / HOUR_US * runs
    is_known = ~np.isnan(hours)
    hours = np.where(is_known, hours, 0.0)
    _derive_load(levels, needed, increments, hours, rated_kw, views)
    doubtful = np.zeros(count, dtype=np.bool_)
    if course.is_known and course.doubtful.any():
        into = np.searchsorted(course.at_us, nodes[1:], side="left")
        inside = into < len(course.at_us)
        doubtful[inside] = course.doubtful[into[inside]]
    return Steps(nodes, hours, is_known, doubtful, levels, increments, known_from), faults


def _names_of(condition: Condition | None) -> set[str]:
    """Return the levels that a condition asks for."""
    match condition:
        case None:
            return set()
        case Comparison(name=name):
            return {name}
        case AllOf(parts=parts) | AnyOf(parts=parts):
            return set().union(*(_names_of(part) for part in parts))
    raise TypeError(condition)


def _count_all(
    views: list[_BlockView], nodes: Instants, active: ActiveTime, in_service_us: int | None, at_start: Mapping[str, float]
) -> tuple[dict[str, Floats], dict[str, int], list[CounterFault]]:
    """Return the increase of every counter and amount on each step."""
    increments: dict[str, Floats] = {}
    known_from: dict[str, int] = {}
    faults: list[CounterFault] = []
    readings: dict[str, tuple[Instants, Floats]] = {}
    for view in views:
        for name, rows in view.block.quantities.items():
            if rows.kind == "amount":
                share = view.amount(rows, active)
                increments[name] = increments[name] + share if name in increments else share
            elif rows.kind == "counter" and name != "hour_meter_h" and name not in readings:
                told = ~np.isnan(rows.values)
                if told.all():
                    readings[name] = (view.block.at_us, rows.values)
                elif told.any():
                    readings[name] = (view.block.at_us[told], rows.values[told])
    for name, (times, values) in readings.items():
        if in_service_us is not None and name in at_start and in_service_us < times[0]:
            times, values = np.append(in_service_us, times), np.append(at_start[name], values)  # noqa: PLW2901 - the start stands before
        known_from[name] = int(times[0])
        increments[name], back = count_up(times, values, nodes, active, name)
        faults.extend(back)
    return increments, known_from, faults


def _add_levels(views: list[_BlockView], needed: set[str], course: Course | None, levels: dict[str, Floats]) -> None:
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
    views: list[_BlockView],
) -> None:
    """Fill in load_pct: 100 load / rated, or energy / (hours x rated) where no load is logged."""
    if "load_pct" not in needed or rated_kw is None:
        return
    logged = levels.get("load_kw")
    if logged is not None and not np.isnan(logged).all():
        derived = 100.0 * logged / rated_kw
    elif "energy_kwh" in increments and not any(_is_logged(view, "load_kw") for view in views):
        tells = np.zeros(len(hours), dtype=np.bool_)
        for view in views:
            if "energy_kwh" in view.block.quantities:
                tells |= view.tells
        with np.errstate(divide="ignore", invalid="ignore"):
            derived = np.where(tells & (hours > 0), 100.0 * increments["energy_kwh"] / (hours * rated_kw), np.nan)
    else:
        return
    derived = np.where(np.round(derived, 6) > FULL_SHARE_PCT, np.nan, derived)
    own = levels.get("load_pct")
    levels["load_pct"] = derived if own is None else np.where(np.isnan(own), derived, own)


def _is_logged(view: _BlockView, name: str) -> bool:
    """Tell whether a block has any value of a quantity."""
    rows = view.block.quantities.get(name)
    return rows is not None and not bool(np.isnan(rows.values).all())
