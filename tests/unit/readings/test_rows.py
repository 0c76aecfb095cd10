"""Rows as a frame for people."""

from __future__ import annotations

from intervals.readings import read_readings
from tests.unit.readings.conftest import MakeSite


def test_frame(make_site: MakeSite) -> None:
    """A frame has engine ids, local times with offset, figures, and where each row stands."""
    text = "Time,Unit,Hours,P\n2026-07-01 12:00,G2,2,\n2026-01-01 12:00,G1,1,50\n"
    site = make_site({"readings/a.csv": text})
    frame = read_readings(site, now_us=None).blocks[0].frame(site)
    assert frame.columns.tolist() == ["engine", "at", "hour_meter_h", "load_kw", "file", "line"]
    assert frame["engine"].astype(str).tolist() == ["G1", "G2"]
    assert [moment.isoformat() for moment in frame["at"]] == ["2026-01-01T12:00:00+01:00", "2026-07-01T12:00:00+02:00"]
    assert frame["hour_meter_h"].tolist() == [1, 2]
    assert frame["load_kw"].isna().tolist() == [False, True]
    assert list(zip(frame["file"].astype(str), frame["line"], strict=True)) == [("readings/a.csv", 3), ("readings/a.csv", 2)]
