"""A log in pieces: small files together, a large Parquet file by row groups, each row read once and on its own line."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from intervals.readings import cut_pieces
from intervals.readings.block_parts import LINE
from intervals.readings.read_pieces import Log, merge_share, read_piece, rows_between, states_of
from tests.unit.readings.conftest import MakeSite, us


@pytest.mark.parametrize(("zone", "needs"), [("UTC", "nothing"), (None, "file")])
def test_row_groups_are_read_alone_where_the_clock_lets_them(
    make_site: MakeSite, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, zone: str | None, needs: str
) -> None:
    """Three row groups of two hours, of which one comes twice by the local clock of October 2026: only then the whole file is needed."""
    monkeypatch.setattr(cut_pieces, "BYTES_A_PIECE", 1)
    times = [datetime(2026, 10, 25) + timedelta(hours=hour) for hour in range(6)]  # noqa: DTZ001 - with or without a zone, as the case says
    hours = [float(number) for number in range(6)]
    table = pa.table({"Time": pa.array(times, pa.timestamp("us", zone)), "Unit": ["G1", "G2"] * 3, "Hours": hours, "P": [1.0] * 6})
    (tmp_path / "readings").mkdir()
    pq.write_table(table, tmp_path / "readings" / "a.parquet", row_group_size=2)
    site = make_site()
    (name,) = names = ("readings/a.parquet",)
    (state,) = states_of(tmp_path, names)
    assert state is not None
    pieces = cut_pieces.cut_pieces(tmp_path, [names], {name: state})
    assert pieces is not None
    assert [piece.row_groups for piece in pieces] == [(0, 1), (1, 2), (2, 3)]
    log = Log(site, tmp_path, None, names)
    read = [read_piece(log, piece) for piece in pieces]
    # 02:00 and 03:00 stand in the second row group
    assert [rows.told.needs for rows in read] == ["nothing", needs, "nothing"]
    if needs == "nothing":
        share = merge_share(log, [0, 0, 0], [rows_between(rows, piece, 0, 2) for rows, piece in zip(read, pieces, strict=True)])
        assert share.told.counts[0].tolist() == [3, 3]
        assert share.told.span_us == ((us("2026-10-25T00:00"), us("2026-10-25T05:00")),)
        lines = [stretch.cells(LINE).tolist() for stretch in share.blocks[0].of_engine(0)]
        assert lines == [[1], [3], [5]]
        assert np.concatenate([stretch.cells("hour_meter_h") for stretch in share.blocks[0].of_engine(1)]).tolist() == [1, 3, 5]
