"""Runs found in a log, against a judge that walks the same log minute by minute in plain Python."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given
from hypothesis import strategies as st

from tests.properties.bounded import bounded
from tests.site_maker import finding_for, judge, meter, skipped_of, task

START = datetime.fromisoformat("2024-01-10T10:00")
ENGINE = {"in_service": "2024-01-01", "meter_at_start_h": 0, "rated_kw": 100}
LOADS = (0, 20, 30, 60, 80)


def stretches(loads: Sequence[int], at_least: int) -> list[tuple[int, int]]:
    """Return the minutes from and to which a load was held, walked one by one."""
    found, begun = [], None
    for minute, load in enumerate([*loads, 0]):
        if load >= at_least and begun is None:
            begun = minute
        elif load < at_least and begun is not None:
            found.append((begun, minute))
            begun = None
    return found


def log_of(loads: Sequence[int], *, every_min: int) -> list[dict[str, object]]:
    """Return rows of so many minutes each; an engine at load 0 stands still."""
    rows, minutes = [meter(START.isoformat(), 0.0, load_kw=0)], 0
    for number, load in enumerate(loads, start=1):
        minutes += every_min if load else 0
        at = START + timedelta(minutes=number * every_min)
        rows.append(meter(at.isoformat(), round(minutes / 60, 6), load_kw=load))
    return rows


@bounded(60)
@given(
    st.lists(st.tuples(st.sampled_from(LOADS), st.integers(1, 9)), min_size=1, max_size=8),
    st.sampled_from([5, 10, 15]),
    st.integers(1, 6),
)
def test_every_stretch_that_is_long_enough_is_a_completion(spells: list[tuple[int, int]], every_min: int, needed_rows: int) -> None:
    """The exercise's completions are the ends of the stretches, whatever ran between them, and of nothing else."""
    # the log ends with a standstill, so that no run is still under way
    loads = [load for load, rows in spells for _ in range(rows)] + [0]
    ends = [end for begin, end in stretches(loads, 30) if end - begin >= needed_rows]
    asked = {"running_min": needed_rows * every_min, "load_pct": {"at_least": 30}}
    exercise = task("exercise", every={"calendar": "P1Y"}, done_when=asked)
    with TemporaryDirectory() as folder:
        findings = judge(Path(folder), "2024-01-31", [exercise], log_of(loads, every_min=every_min), engine=ENGINE)
    last = finding_for(findings, "exercise").last_done
    assert (None if last is None else last.at[:16]) == (
        (START + timedelta(minutes=ends[-1] * every_min)).isoformat()[:16] if ends else None
    )
    engine_runs = stretches(loads, 1)
    short = [run for run in engine_runs if not any(run[0] < end <= run[1] for end in ends)]
    told = [run for run in short if (run[1] - run[0]) * 4 >= needed_rows]
    assert len(skipped_of(findings, "exercise")) == len(told)
