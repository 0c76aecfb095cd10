"""The rows of one engine in one block, and what each of them says of the steps that the log is cut into.

In: rows and nodes. Out: levels and amounts of each step. Refuses nothing: what no row shows is NaN.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.local_days import HOUR_US
from intervals.usage.meter.meter_course import ActiveTime
from intervals.usage.step_nodes import Nodes

# a row that is further than so many rhythms from the next one covers one rhythm only
FAR_RHYTHMS = 2.5


class QuantityRows(NamedTuple):
    """One quantity of one block: its kind, its values, how long it holds and what it was averaged over."""

    kind: str
    values: Floats
    holds_for_us: int | None = None
    is_row_mean: bool = False


class BlockOfEngine(NamedTuple):
    """The rows of one engine in one block, strictly rising in time.

    Attributes:
        at_us: their stamps.
        covers_before: whether a row covers the time before its stamp, or that after it.
        gap_us: the silence that counts as a gap.
        quantities: what they show.
        place: file and line of a row, given by its number.
        covered_us: the earliest and the latest instants that its rows cover, where that is less than all the time from row to row.
    """

    at_us: Instants
    covers_before: bool
    gap_us: int
    quantities: Mapping[str, QuantityRows]
    place: Callable[[int], tuple[str, int]]
    covered_us: tuple[Instants, Instants] | None = None

    @property
    def is_change_list(self) -> bool:
        """Whether its rows only say what holds from then on: such rows come when something changes, in no rhythm."""
        return all(rows.holds_for_us is not None for rows in self.quantities.values())

    def row_at(self, at_us: int) -> int | None:
        """Return the number of the row with this stamp, or None where there is none."""
        row = int(self.at_us.searchsorted(at_us))
        return row if row < len(self.at_us) and int(self.at_us[row]) == at_us else None


def covered_spans(block: BlockOfEngine, rhythm_us: int, far_rhythms: float = FAR_RHYTHMS) -> tuple[Instants, Instants]:
    """Return the span that each row covers: from the row before or to the row after, but one rhythm where that row is far.

    Args:
        block: the rows.
        rhythm_us: how often rows come while there are any.
        far_rhythms: so many rhythms away, the next row is far.
    """
    at_us = block.at_us
    if block.covers_before:
        before = np.concatenate((at_us[:1] - rhythm_us, at_us[:-1]))
        return np.where(at_us - before > far_rhythms * rhythm_us, at_us - rhythm_us, before), at_us
    after = np.append(at_us[1:], at_us[-1:] + rhythm_us)
    return at_us, np.where(after - at_us > far_rhythms * rhythm_us, at_us + rhythm_us, after)


def covered_borders_us(block: BlockOfEngine) -> list[Instants]:
    """Return the instants, beside those of its rows, at which what a row covers begins or ends."""
    return [] if block.covered_us is None else [block.covered_us[0 if block.covers_before else 1]]


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


class BlockView:
    """Which row of a block describes each elementary step, and whether that row's own step is no gap.

    A row's own step is from the row before it (or the first day) to the row, or from the row to the next.

    Args:
        block: the rows, at least one.
        nodes: where the steps meet.
        in_service_us: the engine's first moment, or None.
    """

    def __init__(self, block: BlockOfEngine, nodes: Nodes, in_service_us: int | None) -> None:
        self.block = block
        self._nodes = nodes
        times = block.at_us
        known_us = nodes.count_up_to(times)
        if block.covers_before:
            before_first = times[0] if in_service_us is None or in_service_us > times[0] else in_service_us
            self.own_start = np.concatenate(([before_first], times[:-1]))
            self.own_end = times
            self._row = known_us
        else:
            self.own_start = times
            self.own_end = np.append(times[1:], times[-1] + block.gap_us)
            self._row = known_us - 1
        if block.covered_us is not None:
            self.own_start, self.own_end = np.maximum(self.own_start, block.covered_us[0]), np.minimum(self.own_end, block.covered_us[1])
        self.covered = self._covered()

    def _covered(self) -> NDArray[np.bool_]:
        """Return which steps lie in a row's own step that is no gap.

        The rows are nodes, so that a step lies in one row's own step, wholly or not at all: only the first day and the last row's
        rhythm may end within it.
        """
        row, start_us, end_us = self._row, self._nodes.at_us[:-1], self._nodes.at_us[1:]
        last = len(self.own_end) - 1
        first_step, past_first, last_step, past_last = row.searchsorted([0, 1, last, last + 1])
        covered = np.zeros(len(row), dtype=np.bool_)
        covered[first_step:past_last] = True
        covered[first_step:past_first] &= start_us[first_step:past_first] >= self.own_start[0]
        covered[last_step:past_last] &= end_us[last_step:past_last] <= self.own_end[last]
        is_silent = self.own_end - self.own_start > self.block.gap_us
        if is_silent.any():
            covered &= ~is_silent.take(row, mode="clip")
        if self.block.covered_us is not None:
            covered &= (start_us >= self.own_start.take(row, mode="clip")) & (end_us <= self.own_end.take(row, mode="clip"))
        return covered

    def level(self, rows: QuantityRows, course_hours: Floats | None) -> Floats:
        """Return the level on each step: the row's own value, else one that still holds.

        Args:
            rows: the quantity.
            course_hours: running hours of each row's own step, for a mean over it; None: the value is that of running.
        """
        values = rows.values
        if rows.is_row_mean and course_hours is not None:
            span_h = (self.own_end - self.own_start) / HOUR_US
            with np.errstate(divide="ignore", invalid="ignore"):
                values = np.where(course_hours > 0, values * span_h / course_hours, np.nan)
        level = values.take(self._row, mode="clip")
        if not self.covered.all():
            level[~self.covered] = np.nan
        if rows.holds_for_us is None:
            return level
        stamped = ~np.isnan(rows.values)
        if not stamped.any():
            return level
        times = self.block.at_us[stamped]
        last = self._nodes.count_up_to(times) - 1
        holds = (last >= 0) & (self._nodes.at_us[1:] <= times[last] + rows.holds_for_us)
        return np.where(np.isnan(level) & holds, rows.values[stamped][last], level)

    def amount(self, rows: QuantityRows, active: ActiveTime) -> Floats:
        """Return an amount's share of each step: a row's amount is spread over the row's own step by time."""
        values = np.nan_to_num(rows.values, nan=0.0)
        times = self.block.at_us
        if self.block.covers_before:
            first = self.own_start[0] if self.own_start[0] < times[0] else times[0] - 1
            corners = np.concatenate(([first], times))
        else:
            corners = np.append(times, times[-1] + 1)
        total = np.concatenate(([0.0], np.cumsum(values)))
        return np.diff(self._nodes.along(corners, total, active))
