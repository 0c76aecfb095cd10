"""One engine's log, gathered: its rows from every block, the course of its meter, its silences, and their faults.

In: the site's readings and service records. Out: an `EngineLog`. Refuses nothing: what is wrong is named by `log_faults`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.faults import Fault
from intervals.language.conditions import IN_SERVICE, Condition, FactValue
from intervals.local_days import HOUR_US, LocalDays
from intervals.quantities import QUANTITIES
from intervals.readings import BlockRows, Readings, ServiceRecord
from intervals.site.model import Engine, Site
from intervals.usage.build_course import build_course
from intervals.usage.engine_blocks import BlockOfEngine, QuantityRows
from intervals.usage.load_rows import join_shown, read_load_rows
from intervals.usage.log_faults import LogFaults
from intervals.usage.meter.meter_course import ActiveTime, Changes, Course
from intervals.usage.meter.resolution import Gap, find_silences
from intervals.usage.meter_readings import METER, parts_of_log
from intervals.usage.placed_hours import place_hours
from intervals.usage.step_nodes import each_once
from intervals.usage.typed_readings import typed_in_silence

__all__ = ["METER", "EngineLog", "gather_engine_log"]

# the end of a lay-up that is still under way
FAR_US = 2**61


class EngineLog(NamedTuple):
    """What the files say of one engine.

    Attributes:
        engine: the engine.
        blocks: its rows, one entry a block that has any.
        course: its meter's course.
        rows: instants of its rows, rising; those of lists of changes only where it has no others.
        gaps: silences longer than gap_h.
        gap_us: what counts as a silence.
        in_service_us: first moment, or None.
        out_of_service_us: last moment, or None.
        faults: what is wrong with its readings.
        running_when: what running means where no meter shows it, or None where the site does not say it.
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
    running_when: Condition | None = None

    @property
    def active(self) -> ActiveTime:
        """Time outside lay-ups."""
        return self.course.active

    def facts(self, days: LocalDays) -> dict[str, FactValue]:
        """Return what rules may ask of the engine; its first day is that of the site's clock.

        Args:
            days: the site's local days.
        """
        stated = self.engine.facts()
        return stated if self.in_service_us is None else {**stated, IN_SERVICE: days.date_of(self.in_service_us).isoformat()}

    def faults_up_to(self, end_us: int) -> list[Fault]:
        """Return what is wrong with the readings before an instant; a silence that begins before it is one of them."""
        begun_us = {gap.end_us for gap in self.gaps if gap.start_us < end_us}
        return [
            fault
            for fault in self.faults
            if fault.at_us is None or fault.at_us <= end_us or (fault.kind == "gap" and fault.at_us in begun_us)
        ]

    def place_of(self, quantity: str, at_us: int) -> tuple[str | None, int | None]:
        """Return file and line of the row that holds a quantity at an instant, or two times None.

        Args:
            quantity: canonical name.
            at_us: the row's stamp.
        """
        for block in self.blocks:
            row = block.row_at(at_us) if quantity in block.quantities else None
            if row is not None:
                return block.place(row)
        return None, None

    @property
    def covers_from_us(self) -> int | None:
        """From when the rows cover: the first of them, or the first day where that is no silence before it; None without rows."""
        if not len(self.rows):
            return None
        first_us = int(self.rows[0])
        begins_log = self.in_service_us is not None and 0 <= first_us - self.in_service_us <= self.gap_us
        return self.in_service_us if begins_log else first_us

    @property
    def known_from_us(self) -> int | None:
        """The first instant that a meter reading (or, without a meter, a row) covers."""
        if self.course.is_known:
            return self.course.known_from_us
        return int(self.rows[0]) if len(self.rows) else None

    @property
    def log_end_us(self) -> int | None:
        """The last instant that a meter reading (or, without a meter, a row) covers."""
        if self.course.is_known:
            return self.course.known_to_us
        return int(self.rows[-1]) if len(self.rows) else None

    def covered_to_us(self, end_us: int) -> int:
        """Return up to when it is known whether the engine ran, at most to an instant: to the log's end, and through a lay-up there."""
        covered_us = end_us if self.log_end_us is None else min(self.log_end_us, end_us)
        for from_us, to_us in sorted(self.active.spans_us):
            if from_us <= covered_us < to_us:
                covered_us = min(to_us, end_us)
        return covered_us


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
    running_when = site.running_when_of(engine)
    blocks = [block for block in (_block_of(block, index, engine) for block in readings.blocks) if block is not None]
    rows = _rows_of(blocks, in_service)
    gap_us = _gap_us(engine, blocks, readings)
    silences = find_silences(rows, gap_us, active)
    changes = Changes.of([(site.instant_us(change.at), change.old_read_h, change.new_read_h) for change in engine.meter_changes])
    usable = list(records)
    early = [] if in_service is None else [record for record in usable if _contradicts_start(record, engine, in_service, days)]
    if early:
        usable = [record for record in usable if record not in early]
    log_faults = LogFaults(engine, blocks, days)
    typed = typed_in_silence(usable, _meter_rows(blocks, rows), silences, days)
    course, faults = build_course(parts_of_log(blocks, engine, in_service), typed, changes, active, log_faults)
    if course.is_known:
        shown = [read_load_rows(block, course, engine.rated_kw, running_when) for block in blocks]
        blocks = [block if rows is None else rows.block for block, rows in zip(blocks, shown, strict=True)]
        course, beyond = place_hours(course, join_shown([rows for rows in shown if rows is not None]))
        faults += [log_faults.load_beyond_meter(found) for found in beyond]
    faults += [log_faults.gap(gap) for gap in silences]
    faults += log_faults.lay_ups(course)
    faults += [log_faults.early_record(record) for record in early]
    return EngineLog(
        engine, tuple(blocks), course, rows, tuple(silences), gap_us, in_service, out_of_service, tuple(faults), running_when
    )  # fmt: skip


def _block_of(block: BlockRows, index: int, engine: Engine) -> BlockOfEngine | None:
    """Return the rows of one engine in a block, or None where it has none."""
    rows = block.of_engine(index)
    if rows is None:
        return None
    source = block.source
    quantities = {}
    for name, values in rows.values.items():
        column = source.quantities[name]
        kind = QUANTITIES[name].kind if name in QUANTITIES else (column.kind or "level")
        hold = None if column.holds_for is None else round(column.holds_for * HOUR_US)
        quantities[name] = QuantityRows(kind, values, hold, column.averaged_over == "row")
    gap_h = engine.gap_h if engine.gap_h is not None else source.gap_h
    return BlockOfEngine(
        rows.at_us,
        source.timestamp.covers == "before",
        round(gap_h * HOUR_US),
        quantities,
        rows.place,
    )


def _rows_of(blocks: Sequence[BlockOfEngine], in_service_us: int | None) -> Instants:
    """Return the instants at which the log speaks: a list of what changes neither breaks a silence nor begins or ends the log."""
    spoken = _union([block.at_us for block in blocks if not block.is_change_list])
    if len(spoken):
        return spoken
    listed = _union([block.at_us for block in blocks])
    return listed if in_service_us is None else listed[listed >= in_service_us]


def _union(times: Sequence[Instants]) -> Instants:
    """Return all instants once, rising."""
    if not times:
        return np.zeros(0, dtype=np.int64)
    return times[0] if len(times) == 1 else each_once(times, min(int(at[0]) for at in times), max(int(at[-1]) for at in times))


def _meter_rows(blocks: Sequence[BlockOfEngine], rows: Instants) -> Instants:
    """Return the instants of the rows with a meter reading, or of all rows where none has one.

    A logger that writes on after the last reading of the meter says nothing of its hours: the log is silent of them.
    """
    meters = [(block.at_us, block.quantities[METER].values) for block in blocks if METER in block.quantities]
    read = _union([at_us[~np.isnan(values)] for at_us, values in meters if not np.isnan(values).all()])
    return read if len(read) else rows


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


def _contradicts_start(record: ServiceRecord, engine: Engine, in_service_us: int, days: LocalDays) -> bool:
    """Tell whether a record before the engine's first day shows more hours than the meter had on that day."""
    stated_us = record.at_us
    if stated_us is not None and stated_us >= in_service_us:
        return False
    at_us = stated_us if stated_us is not None else days.noon_us(record.on) if record.on else in_service_us
    if at_us >= in_service_us or engine.meter_at_start_h is None or record.hour_meter_h is None:
        return False
    return record.hour_meter_h > engine.meter_at_start_h
