"""Steps of a component: parts that follow one another become one, and nothing is lost between them."""

from __future__ import annotations

import numpy as np
import pytest

from intervals.local_days import HOUR_US
from intervals.usage.fitted_steps import join_steps, spread_steps, still_steps
from intervals.usage.steps import Steps


def hours(*nodes: int) -> np.ndarray:
    """Return instants so many hours after an arbitrary zero."""
    return np.array(nodes, dtype=np.int64) * HOUR_US


def test_hours_between_what_is_known_run_evenly() -> None:
    """From 0 to 100 h of its own in ten hours, cut after four: 40 and 60."""
    steps = spread_steps(hours(4), 0, 10 * HOUR_US, [(0, 0.0), (10 * HOUR_US, 100.0)])
    assert steps.at_us.tolist() == hours(0, 4, 10).tolist()
    assert steps.hours_h.tolist() == [40.0, 60.0]
    assert steps.is_known.all()


def test_parts_keep_what_each_knows() -> None:
    """A level and a count of one part are blank and nothing in the other."""
    count = np.ones(1)
    on_engine = Steps(hours(2, 3), count, count > 0, count > 1, {"load_kw": np.array([400.0])}, {"starts": np.array([3.0])}, {"starts": 7})
    joined = join_steps([still_steps(hours(0, 2)), on_engine, still_steps(hours(3, 5))])
    assert joined.at_us.tolist() == hours(0, 2, 3, 5).tolist()
    assert joined.hours_h.tolist() == [0.0, 1.0, 0.0]
    assert np.isnan(joined.levels["load_kw"]).tolist() == [True, False, True]
    assert joined.increments["starts"].tolist() == [0.0, 3.0, 0.0]
    assert joined.counters_known_from_us == {"starts": 7}


def test_parts_must_follow_one_another() -> None:
    """A gap between two of them is refused."""
    with pytest.raises(ValueError, match="follow one another"):
        join_steps([still_steps(hours(0, 2)), still_steps(hours(3, 5))])
