"""Whatever is in a text file, the three ways of reading it agree, and no row is lost."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from intervals.problems import ReadingsProblemError
from intervals.readings import Readings, read_readings
from intervals.readings.files.csv_columns import ColumnReader
from tests.unit.readings.conftest import MakeSite
from tests.unit.readings.read_sites import SETS_ASIDE

ODD = st.sampled_from(
    [
        "",
        " ",
        "n/a",
        "nan",
        "-5",
        "1e9",
        '"quoted"',
        '"a;b"',
        '"two\nlines"',
        '5" pipe',
        '"open',
        '"open"',
        '"closed" late',
        '"half" "half"',
        '"5"" pipe"',
        '""',
        '""empty',
        '"',
        '"""',
        '""""',
        'shut"',
        'in "the" middle',
        ' "after a blank"',
        "'single'",
        "'",
        '"lone\rreturn"',
        "lone\rreturn",
        "G9",
        " g1 ",
        "12,5",
        "1.234.567",
        "1 234",
        "x;y",
        ";",
    ]
)
TIMES = st.one_of(
    st.datetimes(min_value=np.datetime64("2026-02-01", "us").item(), max_value=np.datetime64("2026-11-30", "us").item()).map(
        lambda moment: moment.strftime("%Y-%m-%d %H:%M")
    ),
    st.sampled_from(["2026-03-29 02:30", "2026-10-25 02:30", "31.12.2026 10:00", "2027-01-01T00:00Z", "9999-01-01", "2026-02-30"]),
    ODD,
)
CELLS = st.one_of(st.floats(0, 2000).map(lambda value: f"{value:.1f}"), ODD)
ROWS = st.lists(st.tuples(TIMES, st.one_of(st.sampled_from(["G1", "G2"]), ODD), CELLS, CELLS).map(";".join), max_size=12)


@contextmanager
def declined(*ways: str) -> Iterator[None]:
    """Make the faster ways of reading decline."""
    with patch.object(ColumnReader, "typed", _decline if "typed" in ways else ColumnReader.typed):  # noqa: SIM117 - one line a way
        with patch.object(ColumnReader, "texts", _decline if "texts" in ways else ColumnReader.texts):
            yield


def _decline(*_: object, **__: object) -> None:
    """Read nothing."""


def summary(readings: Readings) -> tuple[object, ...]:
    """Return all that must agree; a time that was read as such is shown in a fault as it is understood."""
    rows = readings.blocks[0]
    values = [np.nan_to_num(column, nan=-1).tolist() for column in rows.values.values()]
    faults = [(fault.kind, fault.line, fault.engine, fault.at_us) for fault in readings.faults]
    return rows.engine.tolist(), rows.at_us.tolist(), rows.line.tolist(), values, faults, readings.rows_read, readings.rows_set_aside


@example(rows=['2026-03-29 02:30;G1;"open;"a;b"', "2026-03-30 02:30;G1;1.0;1742.2", '2026-03-31 02:30;G1;;"open'], line_end="\r\n")
@example(rows=['2026-01-02 00:00;G1;5;"1"2"', '2026-01-03 00:00;G1;6;"'], line_end="\n")
@example(rows=['2026-01-02 00:00;G1;"two\nlines";1', "2026-01-03 00:00;G1;lone\rreturn;1"], line_end="\n")
@example(rows=['2026-01-02 00:00;G1;5" pipe;1', '2026-01-03 00:00;G1;"two\nlines";5" pipe'], line_end="\n")
@given(rows=ROWS, line_end=st.sampled_from(["\n", "\r\n"]))
@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_ways_agree(make_site: MakeSite, rows: list[str], line_end: str) -> None:
    """Typed columns, text columns and single lines give the same rows, faults and counts; each row set aside has one fault."""
    site = make_site({"readings/a.csv": line_end.join(["Time;Unit;Hours;P", "2026-01-01 00:00;G1;1;1", *rows]).encode()})
    results: list[tuple[object, ...]] = []
    for ways in ((), ("typed",), ("typed", "texts")):
        with declined(*ways):
            try:
                readings = read_readings(site, now_us=None)
            except ReadingsProblemError as error:
                results.append(tuple(problem.code for problem in error.problems))
                continue
        aside = [fault.line for fault in readings.faults if fault.kind in SETS_ASIDE]
        assert len(aside) == len(set(aside)) == readings.rows_set_aside
        assert len(readings.blocks[0]) == readings.rows_accepted == readings.rows_read - readings.rows_set_aside
        results.append(summary(readings))
    assert results[0] == results[1] == results[2]
    assert Path(site.folder).is_dir()
