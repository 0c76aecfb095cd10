"""When the rows of load show an engine running: the spans of those blocks that do not carry its hour meter.

In: the rows of an engine from every block. Out: `Shown`, and the blocks with the longest time that a row of theirs tells of. Refuses
nothing: where no row tells, the engine may have run or not.

A logger that writes rows only while an engine runs is silent for days between. The first row after such a silence tells of its own
rhythm and not of the silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.language.conditions import Condition
from intervals.usage.course import Floats, Instants
from intervals.usage.engine_blocks import BlockOfEngine, told_spans
from intervals.usage.meter_readings import METER
from intervals.usage.resolution import rhythm_us
from intervals.usage.steps import names_of, running_where

RUNS, STANDS, UNTOLD = 1, 0, -1
# a logger whose rows tell of less than this share of its time is silent while the engine stands
WHOLE_TIME_SHARE = 0.9


class Shown(NamedTuple):
    """When rows show that an engine ran.

    Attributes:
        at_us: borders between spans that differ, rising.
        state: of each span between two of them: it runs, it stands, or nothing tells.
        rhythm_us: the longest rhythm of the rows.
    """

    at_us: Instants
    state: NDArray[np.int8]
    rhythm_us: int

    def states_at(self, at_us: Instants) -> NDArray[np.int8]:
        """Return the state from each instant on."""
        place = self.at_us.searchsorted(at_us, side="right") - 1
        inside = (place >= 0) & (place < len(self.state))
        states = np.full(len(at_us), UNTOLD, dtype=np.int8)
        states[inside] = self.state[place[inside]]
        return states


class _Spans(NamedTuple):
    """The spans that rows tell of, one after the other, and their states."""

    start_us: Instants
    end_us: Instants
    state: NDArray[np.int8]

    def states_at(self, at_us: Instants) -> NDArray[np.int8]:
        """Return the state from each instant on."""
        place = self.start_us.searchsorted(at_us, side="right") - 1
        inside = (place >= 0) & (at_us < self.end_us[place])
        return np.where(inside, self.state[place], np.int8(UNTOLD))


def bound_rows(block: BlockOfEngine) -> BlockOfEngine:
    """Return a block whose rows tell of no more than their rhythm, if it shows load, not the meter, and mostly is silent.

    Args:
        block: the rows.
    """
    rhythm = rhythm_us(block.at_us) if is_load_block(block) else None
    if rhythm is None:
        return block
    start_us, end_us = told_spans(block, rhythm)
    told_us = float((end_us - start_us).sum())
    if told_us >= WHOLE_TIME_SHARE * float(block.at_us[-1] - block.at_us[0]):
        return block
    return block._replace(tells_for_us=rhythm)


def is_load_block(block: BlockOfEngine) -> bool:
    """Tell whether a block has load or energy and no reading of the hour meter."""
    meter = block.quantities.get(METER)
    if meter is not None and not bool(np.isnan(meter.values).all()):
        return False
    return any(name in block.quantities for name in ("load_kw", "load_pct", "energy_kwh"))


def find_shown(blocks: Sequence[BlockOfEngine], rated_kw: float | None, running_when: Condition | None) -> Shown | None:
    """Return when the rows of load show an engine running, or None where there are no such rows beside its meter.

    Args:
        blocks: the engine's rows, one entry a block.
        rated_kw: its rated power, or None.
        running_when: what running means at the site, or None: any load above nothing.
    """
    spans: list[_Spans] = []
    rhythms: list[int] = []
    for block in blocks:
        if not is_load_block(block):
            continue
        rhythm = rhythm_us(block.at_us) or block.gap_us
        start_us, end_us = told_spans(block, rhythm)
        spans.append(_Spans(start_us, end_us, _states(block, rated_kw, running_when)))
        rhythms.append(rhythm)
    if not any((each.state != UNTOLD).any() for each in spans):
        return None
    at_us = np.unique(np.concatenate([edge for each in spans for edge in (each.start_us, each.end_us)]))
    state = spans[0].states_at(at_us)
    for each in spans[1:]:
        # of two that tell, the one that saw it run
        state = np.maximum(state, each.states_at(at_us))
    differs = np.concatenate(([True], state[1:] != state[:-1]))
    return Shown(at_us[differs], state[differs][:-1], max(rhythms))


def _states(block: BlockOfEngine, rated_kw: float | None, running_when: Condition | None) -> NDArray[np.int8]:
    """Return what each row says: it ran, it stood, or nothing."""
    count = len(block.at_us)
    levels = {name: rows.values for name, rows in block.quantities.items() if rows.kind == "level"}
    if rated_kw is not None and "load_kw" in levels and "load_pct" not in levels:
        levels["load_pct"] = 100.0 * levels["load_kw"] / rated_kw
    if running_when is not None and names_of(running_when) <= set(levels):
        told = running_where(running_when, levels, count)
    else:
        told = np.full(count, np.nan)
        for name in ("load_kw", "load_pct"):
            if name in levels:
                told = np.fmax(told, np.where(np.isnan(levels[name]), np.nan, levels[name] > 0))
        if np.isnan(told).all() and "energy_kwh" in block.quantities:
            told = _ran_by_energy(block)
    return np.where(np.isnan(told), UNTOLD, told).astype(np.int8)


def _ran_by_energy(block: BlockOfEngine) -> Floats:
    """Return 1 for each row over whose span the counter of energy rose, 0 where it did not, NaN where that is not told."""
    energy = block.quantities["energy_kwh"].values
    rose = np.diff(energy)
    told: Floats = np.where(np.isnan(rose), np.nan, rose > 0)
    return np.concatenate(([np.nan], told) if block.covers_before else (told, [np.nan]))
