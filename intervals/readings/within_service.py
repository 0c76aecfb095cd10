"""Which rows lie in the time that their engine was there, and a fault for each that does not.

In: rows with their engines, the block's plan. Out: which rows are kept, and faults. Refuses nothing.

What a list of changes says holds until the next change. So its rows from before an engine's first day are kept: the last of them says
what holds on that day. A row of several engines is one of those that were there; for the others it is no fault.
"""

from __future__ import annotations

import numpy as np

from intervals.arrays import Flags
from intervals.faults import Fault
from intervals.readings.engine_rows import EngineRows
from intervals.readings.plan import BlockPlan


def within_service(plan: BlockPlan, file: str, rows: EngineRows) -> tuple[Flags, list[Fault]]:
    """Return which rows are kept, and a fault for each that is set aside because its engine was not there.

    Args:
        plan: the block's plan.
        file: path of the file below the site folder.
        rows: rows with their engines.
    """
    at_us, engine = rows.at_us, rows.engine
    if at_us.min() >= plan.first_us.max() and at_us.max() <= plan.end_us.min():
        return rows.is_kept, []
    before = rows.is_kept & (at_us < plan.first_us[engine])
    if all(column.holds_for is not None for column in plan.source.quantities.values()):
        before[:] = False
    # a row stamped at the engine's last moment still covers the time before it
    after = rows.is_kept & (at_us > plan.end_us[engine])
    is_kept = rows.is_kept & ~(before | after)
    faults = []
    for outside, kind, word, key in (
        (before, "row_before_in_service", "before", "in_service"),
        (after, "row_after_out_of_service", "after", "out_of_service"),
    ):
        for row in np.flatnonzero(_without_fellow(rows, outside, is_kept)):
            of_row = plan.site.engines[engine[row]]
            text = f"the row is {word} {of_row.id}'s {key} ({getattr(of_row, key)}); it is set aside"
            faults.append(Fault(of_row.id, kind, file, int(rows.line[row]), int(at_us[row]), text))
    return is_kept, faults


def _without_fellow(rows: EngineRows, outside: Flags, is_kept: Flags) -> Flags:
    """Return which rows outside their engine's time are of no other engine that was there."""
    if rows.of is None or not outside.any():
        return outside
    return outside & ~np.isin(rows.of, rows.of[is_kept])
