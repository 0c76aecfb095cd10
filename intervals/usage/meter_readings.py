"""Every reading of one engine's hour meter in order of time, from rows, from the first day and from service records.

In: the engine's rows and service records, the silences of its log. Out: `MeterReadings`, and the readings that contradict another one
of the same instant. A meter reading on a service record counts as a reading wherever the log is silent: before its first row, in a gap,
after its end. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.localdays import LocalDays
from intervals.readings import ServiceRecord
from intervals.site.model import Engine
from intervals.usage.course import FASTER_H, Changes, Floats, Instants
from intervals.usage.engine_blocks import BlockOfEngine
from intervals.usage.silences import Gap

METER = "hour_meter_h"
# who reads whole hours off a meter leaves out less than this
WHOLE_HOUR_H = 1.0
_NO_BLOCK = -1
_DECIMALS = 6


class Part(NamedTuple):
    """Readings of one place: instants, what the meter showed, block and row."""

    at_us: Instants
    reading_h: Floats
    block: NDArray[np.int32]
    row: NDArray[np.int64]


class Place(NamedTuple):
    """Where a reading stands: a block and its row; block -1 is the first day or a service record."""

    block: int
    row: int


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
        row: the row of that block, or the place among first day and service records.
        records: the service records by that place.
        contradictions: readings that another one of the same instant contradicts, and that do not count.
    """

    at_us: Instants
    reading_h: Floats
    block: NDArray[np.int32]
    row: NDArray[np.int64]
    records: dict[int, ServiceRecord]
    contradictions: tuple[Contradiction, ...] = ()

    def only(self, is_kept: NDArray[np.bool_]) -> MeterReadings:
        """Return some of the readings."""
        return self._replace(at_us=self.at_us[is_kept], reading_h=self.reading_h[is_kept], block=self.block[is_kept], row=self.row[is_kept])

    def with_whole_hours_levelled(self, changes: Changes) -> MeterReadings:
        """Return the readings with those of service records that are below the one before by rounding alone set equal to it.

        People leave the decimals of a meter out: 1,000 h written down after the log read 1,000.6 h is no step back.

        Args:
            changes: registered changes of the meter, across which two readings cannot be held against each other as they stand.
        """
        if not self.records:
            return self
        typed = [index for index in np.flatnonzero(self.block == _NO_BLOCK).tolist() if index and int(self.row[index]) in self.records]
        bridged_h, reading_h = changes.bridged_before(self.at_us), self.reading_h.copy()
        for index in typed:
            before_h = reading_h[index - 1] + bridged_h[index - 1] - bridged_h[index]
            is_whole = float(reading_h[index]).is_integer()
            if is_whole and 0 < round(float(before_h - reading_h[index]), _DECIMALS) < WHOLE_HOUR_H:
                reading_h[index] = before_h
        return self._replace(reading_h=reading_h)

    def place_of(self, index: int) -> Place:
        """Return where a reading stands."""
        return Place(int(self.block[index]), int(self.row[index]))

    def line_of(self, place: Place, blocks: Sequence[BlockOfEngine], files: Sequence[str]) -> tuple[str | None, int | None]:
        """Return file and line of a place, or two times None where it is the first day."""
        if place.block != _NO_BLOCK:
            block = blocks[place.block]
            return files[int(block.file[place.row])], int(block.line[place.row])
        record = self.records.get(place.row)
        return (record.file, record.line) if record is not None else (None, None)


def gather_meter_readings(  # noqa: PLR0913 - each input is a source of readings or of silence
    blocks: Sequence[BlockOfEngine],
    engine: Engine,
    in_service_us: int | None,
    rows: Instants,
    silences: Sequence[Gap],
    records: Sequence[ServiceRecord],
    days: LocalDays,
) -> MeterReadings:
    """Return the readings of rows, of the first day, and of records where the log is silent.

    Args:
        blocks: the engine's rows, one entry a block.
        engine: the engine, which may state what its meter began with.
        in_service_us: its first moment, or None.
        rows: instants of all its rows, rising.
        silences: the silences between them.
        records: its service records.
        days: the site's local days.
    """
    parts = _parts_of_blocks(blocks)
    besides: list[tuple[int, float, ServiceRecord | None]] = []
    if engine.meter_at_start_h is not None and in_service_us is not None:
        besides.append((in_service_us, engine.meter_at_start_h, None))
    besides += _in_silence(records, rows, silences, days)
    besides.sort(key=lambda entry: entry[0])
    if besides:
        parts.append(_part_besides(besides))
    if not parts:
        empty = np.zeros(0, dtype=np.int64)
        return MeterReadings(empty, np.zeros(0), np.zeros(0, dtype=np.int32), empty, {})
    by_place = {place: record for place, (_, _, record) in enumerate(besides) if record is not None}
    ordered, contradictions = _in_order(parts)
    return MeterReadings(*ordered, by_place, contradictions)


def _parts_of_blocks(blocks: Sequence[BlockOfEngine]) -> list[Part]:
    """Return the readings of each block that has the meter."""
    parts = []
    for place, block in enumerate(blocks):
        meter = block.quantities.get(METER)
        if meter is None:
            continue
        is_blank = np.isnan(meter.values)
        told = np.flatnonzero(~is_blank) if is_blank.any() else np.arange(len(is_blank))
        is_whole = len(told) == len(is_blank)
        parts.append(
            Part(
                block.at_us if is_whole else block.at_us[told],
                meter.values if is_whole else meter.values[told],
                np.full(len(told), place, dtype=np.int32),
                told,
            )
        )
    return parts


def _part_besides(entries: Sequence[tuple[int, float, ServiceRecord | None]]) -> Part:
    """Return the readings that stand in no block, in order of time."""
    return Part(
        np.array([at_us for at_us, _, _ in entries], dtype=np.int64),
        np.array([reading_h for _, reading_h, _ in entries], dtype=np.float64),
        np.full(len(entries), _NO_BLOCK, dtype=np.int32),
        np.arange(len(entries)),
    )


def _in_order(parts: Sequence[Part]) -> tuple[Part, tuple[Contradiction, ...]]:
    """Return readings from several places in order of time, of two at one instant the one that is given first; and what contradicts it."""
    # mostly one place tells the time after another, and nothing needs to be sorted
    in_turn = sorted((part for part in parts if len(part.at_us)), key=lambda part: int(part.at_us[0])) or parts
    at_us, reading_h, block, row = (np.concatenate(column) for column in zip(*in_turn, strict=True))
    if len(parts) == 1 or bool((at_us[1:] > at_us[:-1]).all()):
        return Part(at_us, reading_h, block, row), ()
    at_us, reading_h, block, row = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(at_us, kind="stable")
    is_first = np.concatenate(([True], np.diff(at_us[order]) != 0))
    kept = order[is_first]
    counted, other = kept[np.cumsum(is_first) - 1][~is_first], order[~is_first]
    contradicts = _contradicts(reading_h[counted], reading_h[other]) & ((block[counted] != _NO_BLOCK) | (block[other] != _NO_BLOCK))
    contradictions = tuple(
        Contradiction(
            int(at_us[second]),
            float(reading_h[first]),
            Place(int(block[first]), int(row[first])),
            float(reading_h[second]),
            Place(int(block[second]), int(row[second])),
        )
        for first, second in zip(counted[contradicts].tolist(), other[contradicts].tolist(), strict=True)
    )
    return Part(at_us[kept], reading_h[kept], block[kept], row[kept]), contradictions


def _contradicts(counted_h: Floats, other_h: Floats) -> NDArray[np.bool_]:
    """Tell which readings of one instant differ by more than rounding: of whole hours an hour, else what a fitting step may differ by."""
    apart_h = np.round(np.abs(other_h - counted_h), _DECIMALS)
    is_whole = (counted_h == np.floor(counted_h)) | (other_h == np.floor(other_h))
    return np.where(is_whole, apart_h >= WHOLE_HOUR_H, apart_h > FASTER_H)


def _in_silence(
    records: Sequence[ServiceRecord], rows: Instants, silences: Sequence[Gap], days: LocalDays
) -> Iterator[tuple[int, float, ServiceRecord]]:
    """Yield the records whose meter reading counts as a reading, with their instant (noon where only the day is known) and reading."""
    first_us, last_us = (int(rows[0]), int(rows[-1])) if len(rows) else (0, -1)
    for record in records:
        told_us = record.at_us
        if told_us is not None and not silences and first_us <= told_us <= last_us:
            continue
        if record.hour_meter_h is None or record.outcome == "void":
            continue
        at_us = told_us if told_us is not None else days.noon_us(record.on) if record.on else None
        if at_us is None:
            continue
        if not first_us <= at_us <= last_us or any(gap.start_us < at_us < gap.end_us for gap in silences):
            yield at_us, record.hour_meter_h, record
