"""The instants at which an engine's steps meet, and where the rows of its log stand among them.

In: the instants of rows, of cuts and of ends. Out: `Nodes`. Refuses nothing.

Nearly every node is a row's instant, and what a line is at its own corners need not be searched for: only the few nodes between them
are. Searching for all takes longer than all else that is done with the rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.usage.meter.meter_course import ActiveTime

Places = NDArray[np.int64]
MOST_BY_ONE = 4
"""Up to so many nodes are dealt with one by one."""


def each_once(parts: Sequence[Instants], start_us: int, end_us: int) -> Instants:
    """Return the instants of a span, rising, each once.

    Args:
        parts: instants, best sorted already: their order is made use of.
        start_us: the first that counts.
        end_us: the last that counts.

    Example:
        >>> each_once([np.array([3, 5]), np.array([5, 1])], 2, 5)
        array([3, 5])
    """
    instants: Instants = np.sort(np.concatenate(parts), kind="stable")
    instants = instants[instants.searchsorted(start_us, side="left") : instants.searchsorted(end_us, side="right")]
    is_first = np.ones(len(instants), dtype=np.bool_)
    is_first[1:] = instants[1:] != instants[:-1]
    each: Instants = instants[is_first]
    return each


class NodePositions(NamedTuple):
    """Where rising instants stand among the nodes.

    Attributes:
        inside: which of the instants lie within the span of the nodes, all of which are nodes.
        is_node: which nodes are instants of these.
        others: the nodes that are none.
    """

    inside: slice
    is_node: NDArray[np.bool_]
    others: Places


class Nodes:
    """Nodes of a span, each once, rising.

    Args:
        rows: the rows' instants of each block, rising.
        extra_us: further instants, in any order.
        start_us: the first node; what lies before it is none.
        end_us: the last node.
    """

    def __init__(self, rows: Sequence[Instants], extra_us: Instants, start_us: int, end_us: int) -> None:
        self._of_rows: NodePositions | None = None
        self._found: list[tuple[Instants, NodePositions | None]] = []
        extra = each_once([extra_us, np.array([start_us, end_us], dtype=np.int64)], start_us, end_us)
        if len(rows) == 1:
            self.at_us, self._of_rows = _put_between(rows[0], extra, start_us, end_us)
            self._found.append((rows[0], self._of_rows))
        else:
            self.at_us = each_once([extra, *rows], start_us, end_us)

    def positions_of(self, at_us: Instants) -> NodePositions | None:
        """Return where instants stand among the nodes, or None where that has to be searched for.

        Args:
            at_us: rising instants.
        """
        for known, found in self._found:
            if known is at_us or np.array_equal(known, at_us):
                return found
        found = self._look_for(at_us)
        self._found.append((at_us, found))
        return found

    def _look_for(self, at_us: Instants) -> NodePositions | None:
        """Return where instants stand if they are nearly those of the rows, with which the nodes were made."""
        if self._of_rows is None or not len(at_us):
            return None
        others = self._of_rows.others
        between = self.at_us[others]
        near = np.minimum(at_us.searchsorted(between), len(at_us) - 1)
        others = others[at_us[near] != between]
        low, high = at_us.searchsorted(self.at_us[[0, -1]])
        if high < len(at_us) and at_us[high] == self.at_us[-1]:
            high += 1
        if high - low != len(self.at_us) - len(others):
            return None
        is_node = np.ones(len(self.at_us), dtype=np.bool_)
        is_node[others] = False
        inside = slice(int(low), int(high))
        return NodePositions(inside, is_node, others) if np.array_equal(self.at_us[is_node], at_us[inside]) else None

    def count_up_to(self, at_us: Instants) -> Places:
        """Return, for the earlier node of each step, how many of these instants are not later than it."""
        found = self.positions_of(at_us)
        if found is None:
            return at_us.searchsorted(self.at_us[:-1], side="right")
        if len(found.others) > MOST_BY_ONE:
            count: Places = np.cumsum(found.is_node[:-1], dtype=np.int64)
            count += found.inside.start
            return count
        count = np.arange(found.inside.start + 1, found.inside.start + len(self.at_us))
        for place in found.others.tolist():
            count[place:] -= 1
        return count

    def along(self, at_us: Instants, values: Floats, active: ActiveTime) -> Floats:
        """Return a line at each node: straight between its corners by active time, level before the first and after the last.

        Args:
            at_us: instants of its corners, rising, at least one.
            values: its value at each.
            active: time outside lay-ups.
        """
        if active.spans_us:
            return np.interp(active.at(self.at_us), active.at(at_us), values)
        found = self.positions_of(at_us)
        if found is None:
            return np.interp(self.at_us, at_us, values)
        line = np.empty(len(self.at_us))
        line[found.is_node] = values[found.inside]
        line[found.others] = np.interp(self.at_us[found.others], at_us, values)
        return line


def _put_between(rows: Instants, extra: Instants, start_us: int, end_us: int) -> tuple[Instants, NodePositions]:
    """Return the nodes of a span made of rows and some further instants, and where the rows stand among them.

    Args:
        rows: rising instants.
        extra: rising instants of the span, its two ends among them.
        start_us: the first node.
        end_us: the last node.
    """
    inside = slice(int(rows.searchsorted(start_us, side="left")), int(rows.searchsorted(end_us, side="right")))
    rows = rows[inside]
    before = rows.searchsorted(extra)
    is_new = before == len(rows)
    is_new[~is_new] = rows[before[~is_new]] != extra[~is_new]
    between: Places = before[is_new] + np.arange(np.count_nonzero(is_new))
    is_row = np.ones(len(rows) + len(between), dtype=np.bool_)
    is_row[between] = False
    nodes = np.empty(len(is_row), dtype=np.int64)
    nodes[is_row] = rows
    nodes[between] = extra[is_new]
    return nodes, NodePositions(inside, is_row, between)
