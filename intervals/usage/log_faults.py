"""The faults of an engine's log: odd readings, silences, lay-ups in which it ran, records that its first day contradicts.

In: what was gathered of the log. Out: `Fault` values, each with file and line where it has one. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from intervals.faults import Fault
from intervals.local_days import HOUR_US, LocalDays
from intervals.readings import ServiceRecord
from intervals.site.model import Engine
from intervals.usage.engine_blocks import BlockOfEngine
from intervals.usage.meter.meter_course import Course
from intervals.usage.meter.meter_steps import OddStep
from intervals.usage.meter.resolution import Gap
from intervals.usage.meter_readings import METER, Beyond, Contradiction, MeterReadings
from intervals.usage.placed_hours import BeyondMeter
from intervals.usage.typed_readings import LeftOut

# a meter that is turned over for a moment has not run
LAID_UP_RUNS_H = 0.1


class LogFaults(NamedTuple):
    """Names what is wrong with one engine's log.

    Attributes:
        engine: the engine.
        blocks: its rows, one entry a block.
        days: the site's local days.
    """

    engine: Engine
    blocks: Sequence[BlockOfEngine]
    days: LocalDays

    def contradiction(self, meter: MeterReadings, found: Contradiction) -> Fault:
        """Return the fault of a reading that does not count beside another one of the same instant."""
        file, line = meter.line_of(found.other, self.blocks)
        counted_file, counted_line = meter.line_of(found.counted, self.blocks)
        # the reading of the first day stands in the site file; the row is where to look
        if file is None:
            file, line = counted_file, counted_line
            text = f"meter reads {found.counted_h:,.1f} h at the engine's first moment, and meter_at_start_h is {found.other_h:,.1f} h: "
            text += "the row's reading counts"
        elif counted_file is None:
            text = _at_start(found.other_h, found.counted_h)
        else:
            text = f"meter reads {found.other_h:,.1f} h, and {found.counted_h:,.1f} h at the same time in {counted_file}:{counted_line}: "
            text += "that reading counts"
        return Fault(self.engine.id, "conflicting_row", file, line, found.at_us, text)

    def odd_step(self, meter: MeterReadings, step: OddStep) -> Fault:
        """Return the fault of one odd reading."""
        file, line = meter.line_of(meter.place_of(step.index), self.blocks)
        what = {
            "meter_reading_odd": "fits neither the reading before nor the one after; taken as blank",
            "meter_went_back": "is below the reading before; the step counts as zero; "
            "if the meter was exchanged, write it under meter_changes",
            "meter_ran_fast": f"is more than the {step.elapsed_h:,.1f} h elapsed allow; the time elapsed is counted",
        }[step.kind]
        shown_h, previous_h = meter.written_h(step.index), meter.written_h(step.index - 1)
        text = f"meter reads {shown_h:,.1f} h after {previous_h:,.1f} h: it {what}"
        return Fault(self.engine.id, step.kind, file, line, int(meter.at_us[step.index]), text)

    def load_beyond_meter(self, found: BeyondMeter) -> Fault:
        """Return the fault of rows of load that show more running than the meter, placed at the reading that ends it."""
        file, line = None, None
        for block in self.blocks:
            row = block.row_at(found.end_us) if METER in block.quantities else None
            if row is not None:
                file, line = block.place(row)
                break
        span = f"from {self.days.iso(found.start_us)} to {self.days.iso(found.end_us)}"
        text = f"{span} rows with load show {found.shown_h:,.2f} h of running, the meter {found.meter_h:,.2f} h: the meter's hours count, "
        text += "shared out over these rows; check whether the meter stood still, or state `running_when`"
        return Fault(self.engine.id, "load_beyond_meter", file, line, found.end_us, text)

    def beyond_meter(self, meter: MeterReadings, found: Beyond) -> Fault:
        """Return the fault of a reading that the meter cannot show."""
        file, line = meter.line_of(found.place, self.blocks)
        rolls_over = f"it starts again at zero at {self.engine.meter_rolls_over_at_h:,.1f} h"
        text = f"meter reads {found.reading_h:,.1f} h: {rolls_over}; taken as blank"
        return Fault(self.engine.id, "meter_reading_odd", file, line, found.at_us, text)

    def left_out(self, found: LeftOut) -> Fault:
        """Return the fault of a record's reading that does not count beside those of the log."""
        at_us, shown_h, record = found.typed
        kind, text = "meter_reading_odd", f"meter reads {shown_h:,.1f} h "
        if found.is_at_once:
            kind, text = "conflicting_row", _at_start(shown_h, found.after_h)
        elif found.before_h is None:
            text += f"before {found.after_h:,.1f} h: it does not fit the readings after; taken as blank"
        else:
            text += f"after {found.before_h:,.1f} h: it fits neither the reading before nor the one after; taken as blank"
        return Fault(self.engine.id, kind, record.file, record.line, at_us, text)

    def gap(self, gap: Gap) -> Fault:
        """Return the fault of one silence, placed at the row that ends it."""
        file, line = None, None
        for block in self.blocks:
            row = block.row_at(gap.end_us)
            if row is not None:
                file, line = block.place(row)
                break
        hours = (gap.end_us - gap.start_us) / HOUR_US
        span = f"from {self.days.iso(gap.start_us)} to {self.days.iso(gap.end_us)} ({hours:,.1f} h)"
        return Fault(self.engine.id, "gap", file, line, gap.end_us, f"no row {span}: the hours count, the levels are unknown")

    def lay_ups(self, course: Course) -> Iterator[Fault]:
        """Yield a fault for each lay-up in which the meter ran."""
        if not course.is_known:
            return
        for start_us, end_us in course.active.spans_us:
            inside = np.flatnonzero((course.at_us >= start_us) & (course.at_us <= end_us))
            if not len(inside):
                continue
            hours = float(course.hours_h[inside[-1]] - course.hours_h[inside[0]])
            if hours > LAID_UP_RUNS_H:
                ran = inside[np.flatnonzero(course.hours_h[inside] > course.hours_h[inside[0]])[0]]
                text = f"laid up from {self.days.iso(start_us)}, but the meter ran {hours:,.1f} h: the hours count"
                yield Fault(self.engine.id, "ran_while_laid_up", None, None, int(course.at_us[ran]), text)

    def early_record(self, record: ServiceRecord) -> Fault:
        """Return the fault of a record before the first day that shows more hours than the meter had on it."""
        text = f"{record.task} at {record.hour_meter_h:,.1f} h before the first day, on which the meter read "
        text += f"{self.engine.meter_at_start_h:,.1f} h: the reading is not used"
        return Fault(self.engine.id, "record_before_in_service", record.file, record.line, record.at_us, text)


def _at_start(shown_h: float, started_h: float) -> str:
    """Return what is wrong with a reading of the first moment beside the one that the site file states, where that one counts."""
    text = f"meter reads {shown_h:,.1f} h at the engine's first moment, and meter_at_start_h is {started_h:,.1f} h: "
    return text + "meter_at_start_h counts"
