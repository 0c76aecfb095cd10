"""When rows of load show an engine running.

In: the rows of an engine from every block. Out: `Shown`, and the blocks with what each of their rows covers. Refuses nothing: where no
row shows it, the engine may have run or not.

Where the meter is read in another block, every row of load counts; one of no load shows standstill, but where the logger is silent at
standstill: then it may be of a start without load. Rows that carry the meter themselves need no such help, but where it
shows less finely than the rows come, and where rows are written only while the engine runs: then the first row after a silence covers
its own rhythm and not of the silence, in its load and in its hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants, median_of
from intervals.language.conditions import Comparison, Condition, comparisons_of
from intervals.local_days import HOUR_US
from intervals.rulebook.level_rules import holds_where
from intervals.usage.engine_blocks import FAR_RHYTHMS, BlockOfEngine, covered_spans
from intervals.usage.meter.meter_course import FASTER_H, FASTER_SHARE, ROUNDING_H, Course
from intervals.usage.meter.resolution import resolution_of, rhythm_us
from intervals.usage.meter_readings import METER

# what running means where a site does not say it
ANY_LOAD = (Comparison("load_kw", ">", 0.0), Comparison("load_pct", ">", 0.0))
RUNS, WITHOUT_LOAD, STANDS, UNKNOWN = 2, 1, 0, -1
LOAD = ("load_kw", "load_pct", "energy_kwh")
# a logger whose rows cover less than this share of its time is silent while the engine stands
WHOLE_TIME_SHARE = 0.9
# a logger that was there for so many steps of the meter shows by itself whether it is silent at times
STEPS_THAT_SAY = 2
MISSED_RHYTHMS = 1.5
# rows further apart are a log of hours and not of runs
LONGEST_RUN_ROW_US = HOUR_US // 2
ALWAYS_US = 2**62

States = NDArray[np.int8]


class Shown(NamedTuple):
    """When rows show that an engine ran.

    Attributes:
        at_us: borders between spans that differ, rising.
        state: of each span between two of them: it runs, it may run without load, it stands, or it is unknown.
        rhythm_us: the longest rhythm of the rows.
    """

    at_us: Instants
    state: States
    rhythm_us: int

    def states_at(self, at_us: Instants) -> States:
        """Return the state from each instant on."""
        place = self.at_us.searchsorted(at_us, side="right") - 1
        inside = (place >= 0) & (place < len(self.state))
        states = np.full(len(at_us), UNKNOWN, dtype=np.int8)
        states[inside] = self.state[place[inside]]
        return states


class LoadRows(NamedTuple):
    """Rows of load, and what each of them covers.

    Attributes:
        block: the block, its rows bounded by what they cover.
        start_us: when what each row covers begins.
        end_us: when it ends.
        state: what each row says.
        rhythm_us: how often rows come while there are any.
    """

    block: BlockOfEngine
    start_us: Instants
    end_us: Instants
    state: States
    rhythm_us: int

    def states_at(self, at_us: Instants) -> States:
        """Return the state from each instant on."""
        place = self.start_us.searchsorted(at_us, side="right") - 1
        inside = (place >= 0) & (at_us < self.end_us[place])
        return np.where(inside, self.state[place], np.int8(UNKNOWN))


def has_load(block: BlockOfEngine) -> bool:
    """Tell whether a block has rows of load or energy."""
    return any(name in block.quantities for name in LOAD)


def read_load_rows(block: BlockOfEngine, course: Course, rated_kw: float | None, running_when: Condition | None) -> LoadRows | None:
    """Return what the rows of a block show of an engine's running, or None where they add nothing to its meter.

    Args:
        block: rows of an engine whose meter is read somewhere.
        course: that meter's course.
        rated_kw: its rated power, or None.
        running_when: what running means at the site, or None: any load above nothing.
    """
    if not has_load(block):
        return None
    meter_h = _meter_of(block)
    if meter_h is not None and _tells_itself(block, meter_h):
        return None
    rhythm = rhythm_us(block.at_us) or block.gap_us
    start_us, end_us = covered_spans(block, rhythm)
    state = _states(block, rated_kw, running_when)
    is_silent_at_standstill = float((end_us - start_us).sum()) < WHOLE_TIME_SHARE * _time_to_tell_us(block, course)
    if is_silent_at_standstill:
        # such a logger misses no row while the engine runs
        start_us, end_us = covered_spans(block, rhythm, MISSED_RHYTHMS)
    if meter_h is None or _turns_in_short_rows(block, meter_h, rhythm):
        if is_silent_at_standstill and running_when is None:
            # a row at all is a sign of running there, until the meter says otherwise
            state = np.where(state == STANDS, np.int8(WITHOUT_LOAD), state)
        bounded = block._replace(covered_us=(start_us, end_us)) if is_silent_at_standstill else block
        return LoadRows(bounded, start_us, end_us, state, rhythm)
    resumed = _rows_after_silence(block, meter_h, rhythm) & (state == RUNS)
    if rhythm > LONGEST_RUN_ROW_US or not is_silent_at_standstill or not resumed.any():
        return None
    bounded = block._replace(covered_us=(np.where(resumed, start_us, -ALWAYS_US), np.where(resumed, end_us, ALWAYS_US)))
    return LoadRows(bounded, start_us, end_us, np.where(resumed, state, np.int8(UNKNOWN)), rhythm)


def _time_to_tell_us(block: BlockOfEngine, course: Course) -> int:
    """Return how much time a logger would cover if it wrote all the time: its own, or that of the meter where it is too short to say.

    A meter may be known for years before a logger was fitted, by readings on job cards.
    """
    first_us, last_us = int(block.at_us[0]), int(block.at_us[-1])
    if len(course.at_us) > 1 and last_us - first_us >= STEPS_THAT_SAY * median_of(np.diff(course.at_us)):
        return last_us - first_us
    return max(last_us, course.known_to_us) - min(first_us, course.known_from_us)


def join_shown(rows: Sequence[LoadRows]) -> Shown | None:
    """Return when rows of several blocks show an engine running, or None where none shows it."""
    if not any((each.state != UNKNOWN).any() for each in rows):
        return None
    at_us = np.unique(np.concatenate([edge for each in rows for edge in (each.start_us, each.end_us)]))
    # of two that show something, the one that saw it run
    state = np.maximum.reduce([each.states_at(at_us) for each in rows])
    differs = np.concatenate(([True], state[1:] != state[:-1]))
    return Shown(at_us[differs], state[differs][:-1], max(each.rhythm_us for each in rows))


def _meter_of(block: BlockOfEngine) -> Floats | None:
    """Return the readings of the hour meter of a block, NaN where a row has none, or None where no row has any."""
    meter = block.quantities.get(METER)
    return None if meter is None or bool(np.isnan(meter.values).all()) else meter.values


def _tells_itself(block: BlockOfEngine, meter_h: Floats) -> bool:
    """Tell whether a meter shows the running of each row of its block: finely enough, and without silences between them."""
    spacings = np.diff(block.at_us)
    if not len(spacings):
        return True
    least_us = int(spacings.min())
    return int(spacings.max()) <= FAR_RHYTHMS * least_us and resolution_of(meter_h) * HOUR_US <= least_us


def _turns_in_short_rows(block: BlockOfEngine, meter_h: Floats, rhythm: int) -> bool:
    """Tell whether a meter that shows less finely than its rows come turns in rows too short for that."""
    if resolution_of(meter_h) * HOUR_US <= rhythm:
        return False
    shown = np.flatnonzero(~np.isnan(meter_h))
    elapsed_h = np.diff(block.at_us[shown]) / HOUR_US
    return bool((np.diff(meter_h[shown]) > elapsed_h * FASTER_SHARE + FASTER_H + ROUNDING_H).any())


def _rows_after_silence(block: BlockOfEngine, meter_h: Floats, rhythm: int) -> NDArray[np.bool_]:
    """Return which rows end a silence, or begin one, and yet ran no more than their rhythm."""
    most_h = rhythm / HOUR_US * FASTER_SHARE + resolution_of(meter_h) + ROUNDING_H
    with np.errstate(invalid="ignore"):
        is_resumed = (np.diff(block.at_us) > max(block.gap_us, FAR_RHYTHMS * rhythm)) & (np.diff(meter_h) <= most_h)
    return np.concatenate(([False], is_resumed) if block.covers_before else (is_resumed, [False]))


def _states(block: BlockOfEngine, rated_kw: float | None, running_when: Condition | None) -> States:
    """Return what each row says: it ran, it stood, or nothing."""
    count = len(block.at_us)
    levels = {name: rows.values for name, rows in block.quantities.items() if rows.kind == "level"}
    if rated_kw is not None and "load_kw" in levels and "load_pct" not in levels:
        levels["load_pct"] = 100.0 * levels["load_kw"] / rated_kw
    if running_when is not None and all(part.name in levels for part in comparisons_of(running_when)):
        shown = holds_where(running_when, levels, count)
    else:
        shown = np.full(count, np.nan)
        for shows_load in ANY_LOAD:
            if shows_load.name in levels:
                shown = np.fmax(shown, holds_where(shows_load, levels, count))
        if np.isnan(shown).all() and "energy_kwh" in block.quantities:
            shown = _ran_by_energy(block)
    return np.select([np.isnan(shown), shown > 0], [UNKNOWN, RUNS], STANDS).astype(np.int8)


def _ran_by_energy(block: BlockOfEngine) -> Floats:
    """Return 1 for each row over whose span the counter of energy rose, 0 where it did not, NaN where that is unknown."""
    energy = block.quantities["energy_kwh"].values
    rose = np.diff(energy)
    shown: Floats = np.where(np.isnan(rose), np.nan, rose > 0)
    return np.concatenate(([np.nan], shown) if block.covers_before else (shown, [np.nan]))
