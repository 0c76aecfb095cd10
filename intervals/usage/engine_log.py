"""One engine's log, gathered: its rows from every block, the course of its meter, its silences, and their faults.

In: the site's readings and service records. Out: an `EngineLog`. A meter reading on a service record counts as a reading
wherever the log is silent: before its first row, in a gap, after its end.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.faults import Fault
from intervals.localdays import HOUR_US, LocalDays
from intervals.quantities import QUANTITIES
from intervals.readings import BlockRows, Readings, ServiceRecord
from intervals.site.model import Engine, Site
from intervals.usage.course import ActiveTime, Changes, Course, Floats, Instants, OddStep, follow_meter
from intervals.usage.steps import BlockOfEngine, QuantityRows

METER = "hour_meter_h"
# a meter that is turned over for a moment has not run
LAID_UP_RUNS_H = 0.1
# the end of a lay-up that is still under way
FAR_US = 2**61


class Gap(NamedTuple):
    """A silence longer than the log's rhythm."""

    start_us: int
    end_us: int


class EngineLog(NamedTuple):
    """What the files tell of one engine.

    Attributes:
        engine: the engine.
        blocks: its rows, one entry a block that has any.
        course: its meter's course.
        rows: instants of all its rows, rising.
        gaps: silences longer than gap_h.
        gap_us: what counts as a silence.
        in_service_us: first moment, or None.
        out_of_service_us: last moment, or None.
        faults: what is wrong with its readings.
    """

    engine: Engine
    blocks: tuple[BlockOfEngine, ...]
    course: Course
    rows: Instants
    gaps: tuple[Gap, ...]
    gap_us: int
    in_service_us: int | None
    out_of_service_us: int | None
    faults: tuple[Fault, ...]

    @property
    def active(self) -> ActiveTime:
        """Time outside lay-ups."""
        return self.course.active

    def faults_up_to(self, end_us: int) -> list[Fault]:
        """Return what is wrong with the readings before an instant; a silence that begins before it is one of them."""
        begun_us = {gap.end_us for gap in self.gaps if gap.start_us < end_us}
        return [
            fault
            for fault in self.faults
            if fault.at_us is None or fault.at_us <= end_us or (fault.kind == "gap" and fault.at_us in begun_us)
        ]

    def place_of(self, quantity: str, at_us: int, files: Sequence[str]) -> tuple[str | None, int | None]:
        """Return file and line of the row that holds a quantity at an instant, or two times None.

        Args:
            quantity: canonical name.
            at_us: the row's stamp.
            files: the files of the readings.
        """
        for block in self.blocks:
            row = int(np.searchsorted(block.at_us, at_us, side="left"))
            if quantity in block.quantities and row < len(block.at_us) and int(block.at_us[row]) == at_us:
                return files[int(block.file[row])], int(block.line[row])
        return None, None

    @property
    def told_to_us(self) -> int | None:
        """The last instant that a meter reading (or, without a meter, a row) tells of."""
        if self.course.is_known:
            return self.course.known_to_us
        return int(self.rows[-1]) if len(self.rows) else None


def gather_engine_log(site: Site, index: int, readings: Readings, records: Iterable[ServiceRecord], days: LocalDays) -> EngineLog:
    """Return one engine's log.

    Args:
        site: the site.
        index: which of its engines.
        readings: accepted rows of the whole site.
        records: the engine's service records.
        days: the site's local days.
    """
    engine = site.engines[index]
    in_service = None if engine.in_service is None else site.instant_us(engine.in_service)
    out_of_service = None if engine.out_of_service is None else site.instant_us(engine.out_of_service)
    active = ActiveTime(
        tuple((site.instant_us(span.from_), site.instant_us(span.to) if span.to is not None else FAR_US) for span in engine.laid_up)
    )
    blocks = [block for block in (_block_of(block, index, engine) for block in readings.blocks) if block is not None]
    rows = _union([block.at_us for block in blocks])
    gap_us = _gap_us(engine, blocks, readings)
    silences = _silences(rows, gap_us, active)
    changes = Changes.of([(site.instant_us(change.at), change.old_read_h, change.new_read_h) for change in engine.meter_changes])
    told = list(records)
    early = [record for record in told if _contradicts_start(record, engine, in_service, days)]
    meter = _MeterReadings.gather(blocks, engine, in_service, rows, silences, [record for record in told if record not in early], days)
    faults = []
    if engine.meter_rolls_over_at_h is not None:
        is_beyond = np.round(meter.reading_h, 6) >= engine.meter_rolls_over_at_h
        faults += [_beyond_fault(engine, index, meter, blocks, readings) for index in np.flatnonzero(is_beyond).tolist()]
        meter = meter.only(~is_beyond)
    course, odd = follow_meter(meter.at_us, meter.reading_h, changes, engine.meter_rolls_over_at_h, active)
    faults += [_meter_fault(engine, step, meter, blocks, readings) for step in odd]
    faults += [_gap_fault(engine, gap, blocks, readings, days) for gap in silences]
    faults += _lay_up_faults(engine, course, days)
    faults += [
        Fault(
            engine.id, "record_before_in_service", record.file, record.line, record.at_us,
            f"{record.task} at {record.hour_meter_h:,.1f} h before the first day, on which the meter read "
            f"{engine.meter_at_start_h:,.1f} h: the reading is not used",
        )
        for record in early
    ]  # fmt: skip
    return EngineLog(engine, tuple(blocks), course, rows, tuple(silences), gap_us, in_service, out_of_service, tuple(faults))


def _block_of(block: BlockRows, index: int, engine: Engine) -> BlockOfEngine | None:
    """Return the rows of one engine in a block, or None where it has none."""
    rows = block.rows_of(index)
    if rows.start == rows.stop:
        return None
    source = block.source
    quantities = {}
    for name, values in block.figures_of(index).items():
        column = source.quantities[name]
        kind = QUANTITIES[name].kind if name in QUANTITIES else (column.kind or "level")
        hold = None if column.holds_for is None else round(column.holds_for * HOUR_US)
        quantities[name] = QuantityRows(kind, values, hold, column.averaged_over == "row")
    gap_h = engine.gap_h if engine.gap_h is not None else source.gap_h
    return BlockOfEngine(
        block.at_us[rows],
        source.timestamp.covers == "before",
        round(gap_h * HOUR_US),
        quantities,
        block.file[rows],
        block.line[rows],
    )


def _union(times: Sequence[Instants]) -> Instants:
    """Return all instants once, rising."""
    if not times:
        return np.zeros(0, dtype=np.int64)
    return times[0] if len(times) == 1 else np.unique(np.concatenate(times))


def _gap_us(engine: Engine, blocks: Sequence[BlockOfEngine], readings: Readings) -> int:
    """Return the silence that counts as a gap: the engine's, else that of the block with its hour meter, else the first block's."""
    if engine.gap_h is not None:
        return round(engine.gap_h * HOUR_US)
    for block in blocks:
        if METER in block.quantities:
            return block.gap_us
    if blocks:
        return blocks[0].gap_us
    return round((readings.blocks[0].source.gap_h if readings.blocks else 36.0) * HOUR_US)


def _silences(rows: Instants, gap_us: int, active: ActiveTime) -> list[Gap]:
    """Return the silences between rows that are longer than the log's rhythm, lay-ups left out of their length."""
    times = rows
    found = []
    for index in np.flatnonzero(np.diff(times) > gap_us).tolist():
        start, end = int(times[index]), int(times[index + 1])
        if active.between_us(start, end) > gap_us:
            found.append(Gap(start, end))
    return found


class _MeterReadings(NamedTuple):
    """Every reading of one engine's meter in order of time, and where it stands (block and row, or service record)."""

    at_us: Instants
    reading_h: Floats
    block: NDArray[np.int32]
    row: NDArray[np.int64]
    records: dict[int, ServiceRecord]

    @classmethod
    def gather(  # noqa: PLR0913 - each input is a source of readings or of silence
        cls,
        blocks: Sequence[BlockOfEngine],
        engine: Engine,
        in_service_us: int | None,
        rows: Instants,
        silences: Sequence[Gap],
        records: Sequence[ServiceRecord],
        days: LocalDays,
    ) -> _MeterReadings:
        """Gather readings of rows, of the first day, and of records where the log is silent."""
        times, values, block_of, row_of = [], [], [], []
        for place, block in enumerate(blocks):
            meter = block.quantities.get(METER)
            if meter is None:
                continue
            is_blank = np.isnan(meter.values)
            told = np.flatnonzero(~is_blank) if is_blank.any() else np.arange(len(is_blank))
            is_whole = len(told) == len(is_blank)
            times.append(block.at_us if is_whole else block.at_us[told])
            values.append(meter.values if is_whole else meter.values[told])
            block_of.append(np.full(len(told), place, dtype=np.int32))
            row_of.append(told)
        extra: list[tuple[int, float, ServiceRecord | None]] = [*_in_silence(records, rows, silences, days)]
        if engine.meter_at_start_h is not None and in_service_us is not None:
            extra.append((in_service_us, engine.meter_at_start_h, None))
        by_place = {}
        if extra:
            extra.sort(key=lambda entry: entry[0])
            times.append(np.array([entry[0] for entry in extra], dtype=np.int64))
            values.append(np.array([entry[1] for entry in extra], dtype=np.float64))
            block_of.append(np.full(len(extra), -1, dtype=np.int32))
            row_of.append(np.arange(len(extra)))
            by_place = {place: entry[2] for place, entry in enumerate(extra) if entry[2] is not None}
        if not times:
            empty = np.zeros(0, dtype=np.int64)
            return cls(empty, np.zeros(0), np.zeros(0, dtype=np.int32), empty, {})
        return cls(*_in_order(list(zip(times, values, block_of, row_of, strict=True))), by_place)

    def only(self, is_kept: NDArray[np.bool_]) -> _MeterReadings:
        """Return some of the readings."""
        return _MeterReadings(self.at_us[is_kept], self.reading_h[is_kept], self.block[is_kept], self.row[is_kept], self.records)

    def place_of(self, index: int, blocks: Sequence[BlockOfEngine], files: Sequence[str]) -> tuple[str | None, int | None]:
        """Return file and line of a reading, or two times None where it is the one of the first day."""
        number, row = int(self.block[index]), int(self.row[index])
        if number >= 0:
            return files[int(blocks[number].file[row])], int(blocks[number].line[row])
        record = self.records.get(row)
        return (record.file, record.line) if record is not None else (None, None)


def _in_order(
    parts: Sequence[tuple[Instants, Floats, NDArray[np.int32], NDArray[np.int64]]],
) -> tuple[Instants, Floats, NDArray[np.int32], NDArray[np.int64]]:
    """Return readings from several places in order of time, of two at one instant the one that is given first."""
    # mostly one place tells the time after another, and nothing needs to be sorted
    in_turn = sorted((part for part in parts if len(part[0])), key=lambda part: int(part[0][0])) or parts
    at_us, reading_h, block, row = (np.concatenate(column) for column in zip(*in_turn, strict=True))
    if len(parts) == 1 or bool((at_us[1:] > at_us[:-1]).all()):
        return at_us, reading_h, block, row
    at_us, reading_h, block, row = (np.concatenate(column) for column in zip(*parts, strict=True))
    order = np.argsort(at_us, kind="stable")
    kept = order[np.concatenate(([True], np.diff(at_us[order]) != 0))]
    return at_us[kept], reading_h[kept], block[kept], row[kept]


def _in_silence(
    records: Sequence[ServiceRecord], rows: Instants, silences: Sequence[Gap], days: LocalDays
) -> Iterator[tuple[int, float, ServiceRecord]]:
    """Yield the records whose meter reading counts as a reading, with their instant (noon where only the day is known) and reading."""
    first_us, last_us = (int(rows[0]), int(rows[-1])) if len(rows) else (0, -1)
    for record in records:
        if record.hour_meter_h is None or record.outcome == "void":
            continue
        at_us = record.at_us if record.at_us is not None else days.noon_us(record.on) if record.on else None
        if at_us is None:
            continue
        if not first_us <= at_us <= last_us or any(gap.start_us < at_us < gap.end_us for gap in silences):
            yield at_us, record.hour_meter_h, record


def _meter_fault(engine: Engine, step: OddStep, meter: _MeterReadings, blocks: Sequence[BlockOfEngine], readings: Readings) -> Fault:
    """Return the fault of one odd reading, with its file and line."""
    file, line = meter.place_of(step.index, blocks, readings.files)
    what = {
        "meter_reading_odd": "fits neither the reading before nor the one after; taken as blank",
        "meter_went_back": "is below the reading before; the step counts nothing",
        "meter_ran_fast": f"is more than the {step.elapsed_h:,.1f} h elapsed allow; the time elapsed is counted",
    }[step.kind]
    at_us = int(meter.at_us[step.index])
    return Fault(engine.id, step.kind, file, line, at_us, f"meter reads {step.reading_h:,.1f} h after {step.previous_h:,.1f} h: it {what}")


def _beyond_fault(engine: Engine, index: int, meter: _MeterReadings, blocks: Sequence[BlockOfEngine], readings: Readings) -> Fault:
    """Return the fault of a reading that the meter cannot show, with its file and line."""
    file, line = meter.place_of(index, blocks, readings.files)
    text = f"meter reads {meter.reading_h[index]:,.1f} h: it starts again at zero at {engine.meter_rolls_over_at_h:,.1f} h; taken as blank"
    return Fault(engine.id, "meter_reading_odd", file, line, int(meter.at_us[index]), text)


def _contradicts_start(record: ServiceRecord, engine: Engine, in_service_us: int | None, days: LocalDays) -> bool:
    """Tell whether a record before the engine's first day shows more hours than the meter had on that day."""
    if in_service_us is None or engine.meter_at_start_h is None or record.hour_meter_h is None:
        return False
    at_us = record.at_us if record.at_us is not None else days.noon_us(record.on) if record.on else in_service_us
    return at_us < in_service_us and record.hour_meter_h > engine.meter_at_start_h


def _lay_up_faults(engine: Engine, course: Course, days: LocalDays) -> list[Fault]:
    """Return a fault for each lay-up in which the meter ran."""
    faults = []
    for start_us, end_us in course.active.spans_us:
        inside = np.flatnonzero((course.at_us >= start_us) & (course.at_us <= end_us)) if course.is_known else np.zeros(0, dtype=np.int64)
        if not len(inside):
            continue
        hours = float(course.hours_h[inside[-1]] - course.hours_h[inside[0]])
        if hours > LAID_UP_RUNS_H:
            ran = inside[np.flatnonzero(course.hours_h[inside] > course.hours_h[inside[0]])[0]]
            at_us = int(course.at_us[ran])
            text = f"laid up from {days.iso(start_us)}, and yet the meter ran {hours:,.1f} h: its hours count"
            faults.append(Fault(engine.id, "ran_while_laid_up", None, None, at_us, text))
    return faults


def _gap_fault(engine: Engine, gap: Gap, blocks: Sequence[BlockOfEngine], readings: Readings, days: LocalDays) -> Fault:
    """Return the fault of one silence, placed at the row that ends it."""
    file, line = None, None
    for block in blocks:
        row = int(np.searchsorted(block.at_us, gap.end_us, side="left"))
        if row < len(block.at_us) and int(block.at_us[row]) == gap.end_us:
            file, line = readings.files[int(block.file[row])], int(block.line[row])
            break
    hours = (gap.end_us - gap.start_us) / HOUR_US
    text = f"no row from {days.iso(gap.start_us)} to {days.iso(gap.end_us)} ({hours:,.1f} h): hours are kept, levels are unknown"
    return Fault(engine.id, "gap", file, line, gap.end_us, text)
