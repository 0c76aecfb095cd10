"""Elementary steps of an engine's log: a caller says from when to when, where they are cut and which levels it asks for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from intervals.local_days import HOUR_US, LocalDays
from intervals.readings.read import read_readings
from intervals.usage.engine_log import EngineLog, gather_engine_log
from intervals.usage.steps import build_steps
from tests.site_maker import Row, meter, task, write_site

NO_CUTS = np.zeros(0, dtype=np.int64)


def log_of(folder: Path, rows: list[Row], **engine: object) -> EngineLog:
    """Return the log of an engine that is in service since 1 January 2024."""
    site = write_site(folder, [task(every={"running_hours": 1000})], rows, engine={"in_service": "2024-01-01", **engine})
    readings = read_readings(site, now_us=None)
    rows_us = readings.blocks[0].rows.span_us
    return gather_engine_log(site, 0, readings, (), LocalDays(site.zone, *rows_us))


def hours_after(start_us: int, *hours: float) -> list[int]:
    """Return instants so many hours after another."""
    return [start_us + round(hour * HOUR_US) for hour in hours]


def test_no_step_spans_a_cut_a_row_or_the_border_of_a_lay_up(tmp_path: Path) -> None:
    """Four days of one row, 36 h run: the two days laid up in between are a step of their own, in which nothing ran."""
    rows: list[Row] = [meter("2024-01-01T00:00", 0), meter("2024-01-05T00:00", 36)]
    log = log_of(tmp_path, rows, meter_at_start_h=0, laid_up=[{"from": "2024-01-02", "to": "2024-01-03"}])
    start_us = int(log.rows[0])
    cut_us = np.array(hours_after(start_us, 84), dtype=np.int64)
    steps, faults = build_steps(log, cut_us, (start_us, int(log.rows[1])), ())
    ((from_us, to_us),) = log.active.spans_us
    assert steps.at_us.tolist() == sorted([start_us, from_us, to_us, *cut_us.tolist(), int(log.rows[1])])
    laid_up = (steps.at_us[:-1] >= from_us) & (steps.at_us[1:] <= to_us)
    assert steps.hours_h[laid_up] == pytest.approx([0.0], abs=1e-6)
    assert steps.hours_h.sum() == pytest.approx(36.0)
    assert faults == []


def test_what_running_means_at_the_engine_goes_with_its_log(tmp_path: Path) -> None:
    """Without a meter, six hours at 400 kW run and six at 5 kW do not; a level that nobody asks for is left out."""
    rows: list[Row] = [{"at": f"2024-01-01T{hour}:00", "load_kw": load} for hour, load in (("06", 400), ("12", 5))]
    log = log_of(tmp_path, rows, running_when={"load_kw": {"above": 5}})
    start_us, end_us = hours_after(int(log.rows[0]), -6, 6)
    steps, _ = build_steps(log, NO_CUTS, (start_us, end_us), {"load_kw"})
    assert steps.hours_h.tolist() == [6.0, 0.0]
    assert steps.is_known.all()
    assert sorted(steps.levels) == ["load_kw"]
