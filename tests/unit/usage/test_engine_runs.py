"""An engine's runs: which steps go together, and how many minutes each counts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from intervals.local_days import HOUR_US
from intervals.usage.engine_runs import EngineRuns, find_engine_runs
from intervals.usage.steps import Steps

MINUTE_US = HOUR_US // 60


def runs_of(
    lengths_min: Sequence[float],
    running_min: Sequence[float],
    *,
    load_kw: Sequence[float] | None = None,
    starts: Sequence[float] | None = None,
    resolution_h: float = 0.0,
    known: Sequence[bool] | None = None,
) -> EngineRuns:
    """Return the runs of steps of so many minutes, of which so many were run."""
    nodes = np.concatenate(([0], np.cumsum(np.array(lengths_min) * MINUTE_US))).astype(np.int64)
    count = len(lengths_min)
    steps = Steps(
        nodes,
        np.array(running_min, dtype=np.float64) / 60.0,
        np.ones(count, dtype=np.bool_) if known is None else np.array(known),
        np.zeros(count, dtype=np.bool_),
        {} if load_kw is None else {"load_kw": np.array(load_kw, dtype=np.float64)},
        {} if starts is None else {"starts": np.array(starts, dtype=np.float64)},
        {},
    )
    return find_engine_runs(steps, resolution_h)


def minutes_of(runs: EngineRuns) -> list[float]:
    """Return the minutes of each run."""
    return [round(float(runs.minutes[first:end].sum()), 6) for first, end in runs.spans]


@pytest.mark.parametrize(
    ("running", "minutes"),
    [
        ([0, 15, 15, 0], [30.0]),
        ([0, 10, 15, 10, 0], [35.0]),
        # across one row's border, neither full
        ([0, 10, 10, 0], [20.0]),
        # stopped within the third: its seven minutes belong to nobody
        ([15, 15, 7, 15, 10], [30.0, 25.0]),
        ([10, 10, 10], [10.0, 10.0]),
        ([0, 15, 0, 15], [15.0, 15.0]),
        ([0, 0], []),
    ],
)
def test_quarters_of_an_hour(running: list[float], minutes: list[float]) -> None:
    """Steps that run in full go together; one in part begins or ends a run."""
    assert minutes_of(runs_of([15] * len(running), running)) == minutes


def test_ninety_nine_per_cent_is_in_full_and_takes_all_its_time() -> None:
    """Of a step of 100 min: 99 are in full and count 100, 98.9 are in part and count so many."""
    assert minutes_of(runs_of([100], [99])) == [100.0]
    assert minutes_of(runs_of([100], [98.9])) == [98.9]
    assert runs_of([100], [98.9]).unknown_h == 0.0


def test_a_long_step_in_part_stands_alone() -> None:
    """Steps of two hours go together, longer ones do not."""
    assert minutes_of(runs_of([120, 120], [30, 30], starts=[1, 0])) == [60.0]
    assert minutes_of(runs_of([121, 121], [30, 30], starts=[1, 0])) == [30.0, 30.0]


def test_a_long_step_in_part_without_a_counter_of_starts_is_no_run() -> None:
    """Half an hour in a week may have been one run or ten; its hours are told."""
    assert minutes_of(runs_of([120], [30])) == [30.0]
    runs = runs_of([10080, 10080], [30, 60])
    assert (minutes_of(runs), runs.unknown_h) == ([], 1.5)


def test_long_steps_in_full_go_together() -> None:
    """Days without a stop are one run."""
    assert minutes_of(runs_of([1440, 1440], [1440, 1440])) == [2880.0]


def test_a_start_separates_a_step_from_the_one_before() -> None:
    """A start in the third of four."""
    assert minutes_of(runs_of([15] * 4, [15] * 4, starts=[1, 0, 1, 0])) == [30.0, 30.0]


def test_several_starts_in_a_step_in_part_are_no_run() -> None:
    """Two starts within half an hour of a day."""
    runs = runs_of([1440], [30], starts=[2])
    assert (minutes_of(runs), runs.unknown_h) == ([], 0.5)
    assert minutes_of(runs_of([1440], [30], starts=[1])) == [30.0]


def test_hours_that_no_meter_tells_are_no_run() -> None:
    """An unknown step between two known ones."""
    assert minutes_of(runs_of([15] * 3, [15, 15, 15], known=[True, False, True])) == [15.0, 15.0]


def test_a_meter_in_tenths_is_read_with_the_load() -> None:
    """Quarters that show 12 or 18 min, 60 min in all: each ran in full as far as tenths can tell."""
    load = [0, 100, 100, 100, 100, 0]
    shown = [0, 12, 18, 12, 18, 0]
    assert minutes_of(runs_of([15] * 6, shown, load_kw=load, resolution_h=0.1)) == [60.0]
    # without the load nothing tells a tenth from a stop: 12 min alone, then 15, and again
    assert minutes_of(runs_of([15] * 6, shown)) == [27.0, 15.0]


def test_on_steps_shorter_than_a_tenth_the_load_tells_alone() -> None:
    """Twelve minutes under load, the meter moving by a tenth at the sixth and the twelfth."""
    shown = [0.0] * 5 + [6.0] + [0.0] * 5 + [6.0]
    assert minutes_of(runs_of([1] * 12, shown, load_kw=[100] * 12, resolution_h=0.1)) == [12.0]
