"""Sites read and looked at, for the tests of reading: what always holds is checked of each."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from intervals.faults import FAULT_KINDS
from intervals.problems import ReadingsProblemError
from intervals.readings import READINGS_CODES, Readings, read_readings
from intervals.site.model import Site
from tests.unit.readings.conftest import READINGS, us

HEADER = "Time,Unit,Hours,P\n"
SETS_ASIDE = {
    "unreadable_time", "time_does_not_exist", "time_comes_twice", "unknown_engine", "row_in_future", "row_before_in_service",
    "row_after_out_of_service", "duplicate_row", "conflicting_row", "malformed_row", "blank_row",
}  # fmt: skip
Row = tuple[str, int, int, dict[str, float]]


def read(site: Site, now: str | None = None) -> Readings:
    """Read a site and check what always holds: the count, and a known fault for each row set aside."""
    readings = read_readings(site, now_us=None if now is None else us(now))
    assert readings.rows_read == readings.rows_accepted + readings.rows_set_aside
    assert all(fault.kind in FAULT_KINDS for fault in readings.faults)
    aside = {(fault.file, fault.line) for fault in readings.faults if fault.kind in SETS_ASIDE}
    kept = {(readings.files[file], line) for block in readings.blocks for file, line in zip(block.file, block.line, strict=True)}
    assert len(aside - kept) == readings.rows_set_aside
    assert all(fault.text for fault in readings.faults)
    return readings


def rows_of(readings: Readings, site: Site, block: int = 0) -> list[Row]:
    """Return engine, instant, line and filled cells of each row."""
    rows = readings.blocks[block]
    return [
        (
            site.engines[rows.engine[row]].id,
            int(rows.at_us[row]),
            int(rows.line[row]),
            {name: float(column[row]) for name, column in rows.values.items() if not np.isnan(column[row])},
        )
        for row in range(len(rows))
    ]


def faults_of(readings: Readings) -> list[tuple[str, int | None]]:
    """Return kind and line of each fault."""
    return [(fault.kind, fault.line) for fault in readings.faults]


def problems_of(site: Site, now_us: int | None = None) -> list[str]:
    """Return the codes of what refuses a site; every one is in the list of codes."""
    with pytest.raises(ReadingsProblemError) as caught:
        read_readings(site, now_us=now_us)
    codes = [problem.code for problem in caught.value.problems]
    assert set(codes) <= set(READINGS_CODES)
    return codes


def block(**changes: object) -> dict[str, Any]:
    """Return the usual block with some keys changed."""
    return {**READINGS, **changes}
