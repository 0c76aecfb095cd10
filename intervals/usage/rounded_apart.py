"""Readings of one meter from several places that round differently: a book or a job card in whole hours beside a logger in hundredths.

In: the readings of each place. Out: the same, those that say nothing finer left out, and those that differ by rounding alone levelled.
Refuses nothing. What differs by more than rounding stays as it is, and is held against its neighbours as any other reading.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.usage.meter.meter_course import ROUNDING_H, Changes
from intervals.usage.meter.meter_steps import Shown
from intervals.usage.meter.resolution import DECIMALS, WHOLE_HOUR_H
from intervals.usage.meter_readings import MeterReadings, Part

# a place is finer than another one if it shows so many times as much
FINER_TIMES = 2.0


def agree_on_rounding(parts: Sequence[Part], changes: Changes) -> list[Part]:
    """Return the readings of each place, those of a coarser one beside a finer one left out or levelled.

    A whole hour between two readings of a logger in hundredths that are no hour apart says nothing that the logger does not.

    Args:
        parts: the readings of each place, rising in time.
        changes: registered changes of the meter.
    """
    shows = [_resolution(part) for part in parts]
    agreed = []
    for part, coarse_h in zip(parts, shows, strict=True):
        if not 0 < coarse_h < np.inf:
            agreed.append(part)
            continue
        finer = [other for other, fine_h in zip(parts, shows, strict=True) if len(other.at_us) > 1 and fine_h * FINER_TIMES <= coarse_h]
        # the finest shows most; one that is far shorter than the other shows little of it
        for other in sorted(finer, key=lambda other: len(other.at_us), reverse=True)[:1]:
            part = _beside_finer(part, other, coarse_h, changes)  # noqa: PLW2901 - mostly there is no other
        agreed.append(part)
    return [part for part in agreed if len(part.at_us)]


def level_rounding(meter: MeterReadings, changes: Changes) -> MeterReadings:
    """Return readings of several blocks with those set equal to the one before that are below it by rounding alone.

    Args:
        meter: readings in order of time.
        changes: registered changes of the meter.
    """
    if not len(meter.block) or not _is_from_several(meter.block):
        return meter
    bridged_h = meter.reading_h + changes.bridged_before(meter.at_us)
    falls = np.flatnonzero(np.diff(bridged_h) < -ROUNDING_H) + 1
    if not len(falls):
        return meter
    levelled_h = bridged_h.copy()
    for place in falls.tolist():
        index = place
        while index < len(levelled_h) and _is_rounding(meter, levelled_h, index):
            levelled_h[index] = levelled_h[index - 1]
            index += 1
    return meter._replace(reading_h=meter.reading_h + (levelled_h - bridged_h))


def level_whole_hours(meter: MeterReadings, changes: Changes, rolls_over_at_h: float | None) -> MeterReadings:
    """Return readings with those of service records that are below the one before by rounding alone set equal to it.

    People leave the decimals of a meter out: 1,000 h written down after the log read 1,000.6 h is no step back. Where the next
    reading follows from what was written down and not from that, it is one.

    Args:
        meter: readings in order of time.
        changes: registered changes of the meter, across which two readings cannot be held against each other as they stand.
        rolls_over_at_h: reading at which the meter starts again at zero, or None.
    """
    if not meter.records:
        return meter
    shown = Shown.of(meter.at_us, meter.reading_h.copy(), changes, rolls_over_at_h, meter.resolution_h)
    shown = shown._replace(bridged_h=shown.bridged_h.copy())
    for index in np.flatnonzero(meter.block < 0).tolist():
        if not _is_rounded_down(meter, shown, index):
            continue
        typed_h, level_h = float(shown.bridged_h[index]), float(shown.bridged_h[index - 1])
        next_fits = index + 1 < len(meter.at_us) and shown.step_over(index, index + 1) is not None
        shown.bridged_h[index] = level_h
        if next_fits and shown.step_over(index, index + 1) is None and not _is_rounded_down(meter, shown, index + 1):
            shown.bridged_h[index] = typed_h
        else:
            shown.reading_h[index] += level_h - typed_h
    return meter._replace(reading_h=shown.reading_h)


def _is_rounded_down(meter: MeterReadings, shown: Shown, index: int) -> bool:
    """Tell whether a reading is a record's, in whole hours, and less than an hour below the reading before."""
    if not index or int(meter.row[index]) not in meter.records or meter.block[index] >= 0:
        return False
    below_h = round(float(shown.bridged_h[index - 1] - shown.bridged_h[index]), DECIMALS)
    return float(meter.reading_h[index]).is_integer() and 0 < below_h < WHOLE_HOUR_H


def _is_from_several(block: NDArray[np.int32]) -> bool:
    """Tell whether readings come from more than one block."""
    in_rows = block[block >= 0]
    return bool(len(in_rows)) and bool((in_rows != in_rows[0]).any())


def _is_rounding(meter: MeterReadings, levelled_h: Floats, index: int) -> bool:
    """Tell whether a reading is below the one before by no more than the two places round."""
    if meter.block[index] < 0 or meter.block[index - 1] < 0:
        return False
    below_h = float(levelled_h[index - 1] - levelled_h[index])
    is_levelled = levelled_h[index - 1] != meter.reading_h[index - 1]
    if meter.block[index] == meter.block[index - 1] and not is_levelled:
        return False
    coarsest_h = float(max(meter.resolution_h[index], meter.resolution_h[max(0, index - 2) : index].max()))
    return ROUNDING_H < below_h <= coarsest_h + ROUNDING_H


def _resolution(part: Part) -> float:
    """Return how finely a place shows; without end where it has no rows."""
    return float(part.resolution_h[0]) if len(part.block) and part.block[0] >= 0 else np.inf


def _beside_finer(part: Part, finer: Part, coarse_h: float, changes: Changes) -> Part:
    """Return the readings of a coarser place without those that say nothing, and the others within what the finer one shows."""
    shown_h = part.reading_h + changes.bridged_before(part.at_us)
    low_h, high_h = _around(part.at_us, finer, changes)
    fits = (shown_h >= low_h - coarse_h - ROUNDING_H) & (shown_h <= high_h + coarse_h + ROUNDING_H)
    says_nothing = fits & (high_h - low_h <= coarse_h + ROUNDING_H)
    held_h = np.where(fits, np.clip(shown_h, low_h, high_h), shown_h)
    return part._replace(reading_h=part.reading_h + (held_h - shown_h)).only(~says_nothing)


def _around(at_us: Instants, finer: Part, changes: Changes) -> tuple[Floats, Floats]:
    """Return the finer readings before and after each instant, or at it; without end where there is none."""
    fine_h = finer.reading_h + changes.bridged_before(finer.at_us)
    before = finer.at_us.searchsorted(at_us, side="right") - 1
    after = finer.at_us.searchsorted(at_us, side="left")
    low_h = np.where(before >= 0, fine_h.take(before, mode="clip"), -np.inf)
    high_h = np.where(after < len(fine_h), fine_h.take(after, mode="clip"), np.inf)
    return low_h, high_h
