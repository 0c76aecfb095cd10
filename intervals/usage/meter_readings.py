"""Every reading of one engine's hour meter in order of time, from rows, from the first day and from service records.

In: the engine's rows, and those readings of service records that count beside them. Out: `MeterReadings`, and the readings that do not
count: those that contradict another one of the same instant, and those that the meter cannot show. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.readings import ServiceRecord
from intervals.site.model import Engine
from intervals.usage.engine_blocks import BlockOfEngine
from intervals.usage.meter.meter_course import Changes
from intervals.usage.meter.meter_steps import Shown
from intervals.usage.meter.resolution import DECIMALS, WHOLE_HOUR_H, contradict, resolution_of
from intervals.usage.typed_readings import Typed

METER = "hour_meter_h"
_NO_BLOCK = -1
_FIRST_DAY = -1


class Part(NamedTuple):
    """Readings of one place: instants, what the meter showed, block and row, and how finely each shows."""

    at_us: Instants
    reading_h: Floats
    block: NDArray[np.int32]
    row: NDArray[np.int64]
    resolution_h: Floats

    @property
    def is_rising(self) -> bool:
        """Whether each reading is later than the one before, as the rows of a block always are."""
        return not len(self.block) or self.block[0] != _NO_BLOCK or bool((self.at_us[1:] > self.at_us[:-1]).all())

    def place_of(self, index: int) -> Place:
        """Return where a reading stands."""
        return Place(int(self.block[index]), int(self.row[index]))

    def only(self, which: NDArray[np.bool_] | NDArray[np.int64]) -> Part:
        """Return some of the readings."""
        return Part(self.at_us[which], self.reading_h[which], self.block[which], self.row[which], self.resolution_h[which])

    @classmethod
    def joined(cls, parts: Sequence[Part]) -> Part:
        """Return the readings of several parts, one part after the other."""
        at_us, reading_h, block, row, resolution_h = zip(*parts, strict=True)
        return cls(
            np.concatenate(at_us), np.concatenate(reading_h), np.concatenate(block), np.concatenate(row), np.concatenate(resolution_h)
        )


class Place(NamedTuple):
    """Where a reading stands: a block and its row; in block -1 row -1 is the first day, another one a service record."""

    block: int
    row: int


class Beyond(NamedTuple):
    """A reading that the meter cannot show, since it starts again at zero before; it does not count."""

    at_us: int
    reading_h: float
    place: Place


class Contradiction(NamedTuple):
    """A reading that does not count, since another one of the same instant does.

    Attributes:
        at_us: the instant of both.
        counted_h: the reading that counts.
        counted: where it stands.
        other_h: the one that does not.
        other: where that one stands.
    """

    at_us: int
    counted_h: float
    counted: Place
    other_h: float
    other: Place


class MeterReadings(NamedTuple):
    """Every reading of one engine's meter in order of time, one an instant, and where it stands.

    Attributes:
        at_us: instants, rising.
        reading_h: what the meter showed.
        block: the block of the row, or -1 for the first day and for service records.
        row: the row of that block, -1 for the first day, or the place among service records.
        resolution_h: how finely each shows.
        records: the service records by that place.
        contradictions: readings that another one of the same instant contradicts, and that do not count.
        beyond: readings that the meter cannot show, and that do not count.
    """

    at_us: Instants
    reading_h: Floats
    block: NDArray[np.int32]
    row: NDArray[np.int64]
    resolution_h: Floats
    records: dict[int, ServiceRecord]
    contradictions: tuple[Contradiction, ...] = ()
    beyond: tuple[Beyond, ...] = ()

    def written_h(self, index: int) -> float:
        """Return a reading as it was written down."""
        record = self.records.get(int(self.row[index])) if self.block[index] == _NO_BLOCK else None
        return float(self.reading_h[index]) if record is None or record.hour_meter_h is None else record.hour_meter_h

    def place_of(self, index: int) -> Place:
        """Return where a reading stands."""
        return Place(int(self.block[index]), int(self.row[index]))

    def line_of(self, place: Place, blocks: Sequence[BlockOfEngine]) -> tuple[str | None, int | None]:
        """Return file and line of a place, or two times None where it is the first day."""
        if place.block != _NO_BLOCK:
            return blocks[place.block].place(place.row)
        record = self.records.get(place.row)
        return (record.file, record.line) if record is not None else (None, None)


def parts_of_log(blocks: Sequence[BlockOfEngine], engine: Engine, in_service_us: int | None) -> list[Part]:
    """Return the readings of each block that has any, and the one of the first day.

    Args:
        blocks: the engine's rows, one entry a block.
        engine: the engine, which may state what its meter began with.
        in_service_us: its first moment, or None.
    """
    parts = _parts_of_blocks(blocks)
    if engine.meter_at_start_h is not None and in_service_us is not None:
        parts.append(_part_besides([in_service_us], [engine.meter_at_start_h], _FIRST_DAY))
    return [part for part in parts if len(part.at_us)]


def gather_meter_readings(parts: Sequence[Part], typed: Sequence[Typed], changes: Changes, rolls_over_at_h: float | None) -> MeterReadings:
    """Return the readings of a log and of some records, one an instant.

    Args:
        parts: the readings of the log.
        typed: readings of records in order of time, of reading and of line.
        changes: registered changes of the meter.
        rolls_over_at_h: reading at which the meter starts again at zero, or None.
    """
    if typed:
        parts = [*parts, _part_besides([one.at_us for one in typed], [one.reading_h for one in typed], 0)]
    if not parts:
        empty = np.zeros(0, dtype=np.int64)
        return MeterReadings(empty, np.zeros(0), np.zeros(0, dtype=np.int32), empty, np.zeros(0), {})
    records = {place: one.record for place, one in enumerate(typed)}
    if rolls_over_at_h is None:
        beyond: tuple[Beyond, ...] = ()
    else:
        parts, beyond = _without_beyond(parts, rolls_over_at_h)
    ordered, contradictions = _in_order(parts, changes, rolls_over_at_h)
    return MeterReadings(*ordered, records, contradictions, beyond)


def _parts_of_blocks(blocks: Sequence[BlockOfEngine]) -> list[Part]:
    """Return the readings of each block that has the meter."""
    parts = []
    for place, block in enumerate(blocks):
        meter = block.quantities.get(METER)
        if meter is None:
            continue
        is_blank = np.isnan(meter.values)
        known = np.flatnonzero(~is_blank) if is_blank.any() else np.arange(len(is_blank))
        is_whole = len(known) == len(is_blank)
        reading_h = meter.values if is_whole else meter.values[known]
        parts.append(
            Part(
                block.at_us if is_whole else block.at_us[known],
                reading_h,
                np.full(len(known), place, dtype=np.int32),
                known,
                np.full(len(known), resolution_of(reading_h)),
            )
        )
    return parts


def _part_besides(at_us: Sequence[int], reading_h: Sequence[float], first_place: int) -> Part:
    """Return readings that stand in no block, in order of time; each is taken to be as fine as it is written."""
    shown_h = np.array(reading_h, dtype=np.float64)
    return Part(
        np.array(at_us, dtype=np.int64),
        shown_h,
        np.full(len(at_us), _NO_BLOCK, dtype=np.int32),
        np.arange(first_place, first_place + len(at_us)),
        np.where(shown_h == np.floor(shown_h), WHOLE_HOUR_H, 0.0) if first_place != _FIRST_DAY else np.zeros(len(shown_h)),
    )


def _without_beyond(parts: Sequence[Part], rolls_over_at_h: float) -> tuple[list[Part], tuple[Beyond, ...]]:
    """Return the readings that a meter can show, and those that it cannot since it starts again at zero."""
    kept, beyond = [], []
    for part in parts:
        is_beyond = np.round(part.reading_h, DECIMALS) >= rolls_over_at_h
        if is_beyond.any():
            beyond += [
                Beyond(int(at_us), float(reading_h), Place(int(block), int(row)))
                for at_us, reading_h, block, row, _ in zip(*part.only(is_beyond), strict=True)
            ]
            part = part.only(~is_beyond)  # noqa: PLW2901 - mostly there is nothing to leave out
        kept.append(part)
    # of one instant the first given counts, as of any other readings
    return kept, tuple(sorted({found.at_us: found for found in reversed(beyond)}.values()))


def _in_order(parts: Sequence[Part], changes: Changes, rolls_over_at_h: float | None) -> tuple[Part, tuple[Contradiction, ...]]:
    """Return readings of several places in order of time, one an instant, and what contradicts it.

    Of two the first given counts, unless it does not fit its neighbours and the other one does.
    """
    # mostly one place covers the time after another, and nothing needs to be sorted
    in_turn = sorted((part for part in parts if len(part.at_us)), key=lambda part: int(part.at_us[0]))
    if all(part.is_rising for part in in_turn) and all(after.at_us[0] > before.at_us[-1] for before, after in pairwise(in_turn)):
        return in_turn[0] if len(in_turn) == 1 else Part.joined(in_turn or parts), ()
    given = Part.joined(parts)
    order = np.argsort(given.at_us, kind="stable")
    is_first = np.concatenate(([True], np.diff(given.at_us[order]) != 0))
    kept, instant = order[is_first], np.cumsum(is_first) - 1
    first, other = kept[instant[~is_first]], order[~is_first]
    as_shown = contradict(given.at_us[other], given.reading_h[first], given.reading_h[other], Changes.of([]), None)
    if as_shown.any():
        contested = dict.fromkeys(instant[~is_first][as_shown].tolist())
        starts = np.append(np.flatnonzero(is_first), len(order)).tolist()
        candidates = {place: order[starts[place] : starts[place + 1]].tolist() for place in contested}
        _choose(Shown.of(given.at_us, given.reading_h, changes, rolls_over_at_h, given.resolution_h), kept, candidates)
    counted = kept[instant]
    shows_h = np.maximum(_shown_by_rows(given, counted), _shown_by_rows(given, order))
    contradicts = contradict(given.at_us[order], given.reading_h[counted], given.reading_h[order], changes, rolls_over_at_h, shows_h)
    contradicts &= (given.block[counted] != _NO_BLOCK) | (given.block[order] != _NO_BLOCK)
    contradictions = tuple(
        Contradiction(int(at_us), float(counted_h), given.place_of(chosen), float(other_h), given.place_of(second))
        for at_us, counted_h, other_h, chosen, second in zip(
            given.at_us[order[contradicts]],
            given.reading_h[counted[contradicts]],
            given.reading_h[order[contradicts]],
            counted[contradicts].tolist(),
            order[contradicts].tolist(),
            strict=True,
        )
    )
    return given.only(kept), contradictions


def _shown_by_rows(given: Part, which: NDArray[np.int64]) -> Floats:
    """Return how finely readings show that stand in a block; of a single figure nobody knows."""
    return np.where(given.block[which] == _NO_BLOCK, 0.0, given.resolution_h[which])


def _choose(shown: Shown, kept: NDArray[np.int64], candidates: Mapping[int, Sequence[int]]) -> None:
    """Set at each contested instant which reading is kept: the first that fits those before and after it."""
    for place, readings in candidates.items():
        before = int(kept[place - 1]) if place else None
        after = candidates.get(place + 1, kept[place + 1 : place + 2].tolist())
        for reading in readings:
            follows = before is None or shown.step_over(before, reading) is not None
            if follows and (not after or any(shown.step_over(reading, later) is not None for later in after)):
                kept[place] = reading
                break
