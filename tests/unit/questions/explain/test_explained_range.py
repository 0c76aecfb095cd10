"""What explain says of a range: what it is made of, how far it was tried on the engine, and that a short log has none."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from intervals import read_site
from intervals.questions.explain.explain import explain_finding as explain
from tests.site_maker import meter, task, write_site

FIRST = date(2021, 1, 4)
YEARLY = {"id": "yearly", "title": "Hours of a year", "of": "running_hours", "per": "calendar_year", "at_most": 1500}


def range_text(folder: Path, days: int, of: str = "oil") -> str:
    """Return the line about the range of an engine with so many days of log: some 12 h a day for two weeks, some 8 h for two."""
    hours = np.where(np.arange(days) % 28 < 14, 12.0, 8.0) + np.random.default_rng(1).uniform(-1, 1, days).round(2)
    shown = np.concatenate((np.zeros(1), np.cumsum(hours))).round(2)
    rows = [meter(f"{FIRST + timedelta(days=day)}T00:00", float(reading)) for day, reading in enumerate(shown)]
    engine = {"in_service": FIRST.isoformat(), "meter_at_start_h": 0}
    write_site(folder, [task(every={"running_hours": float(shown[-1]) + 600})], rows, engine=engine, rules={"budgets": [YEARLY]})
    steps = explain(read_site(folder), "G1", of, FIRST + timedelta(days=days - 1)).steps
    return next(step.sum for step in steps if step.label == "running_hours range")


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (10, "no range: the log holds less than a fortnight"),
        (200, "; from the last half year, as the log is shorter than fourteen months; the range is not tried on this engine"),
        (430, "; from the same seasons of past years; the range is not tried on this engine"),
    ],
)
def test_a_short_history_says_so(tmp_path: Path, days: int, said: str) -> None:
    """Ten days, half a year and more, fourteen months of which no forecast is finished: each in its own words."""
    assert range_text(tmp_path, days).endswith(said)


def test_a_long_one_says_how_its_ranges_held(tmp_path: Path) -> None:
    """Three years: a range of days, and how many earlier forecasts came inside; the first only widened the rest."""
    said = range_text(tmp_path, 1095)
    found = re.fullmatch(
        r"(\S+) to (\S+); from the same seasons of past years; of (\d+) earlier forecasts of its running hours (\d+) came inside the range",
        said,
    )
    assert found is not None, said
    # 600 h at 8 to 12 h a day are 50 to 75 d
    end = FIRST + timedelta(days=1094)
    assert 45 <= (date.fromisoformat(found[1]) - end).days <= (date.fromisoformat(found[2]) - end).days <= 80
    assert 10 < int(found[4]) <= int(found[3])


def test_a_budget_has_the_same_range(tmp_path: Path) -> None:
    """1,500 h in a calendar year, some 930 of them used by 2 April: what is left lasts about two months, foreseen with a range."""
    said = range_text(tmp_path, 1185, "yearly")
    found = re.match(r"(2024-\d\d-\d\d) to (2024-\d\d-\d\d); from the same seasons of past years; of \d+ earlier forecasts", said)
    assert found is not None, said
    assert "2024-05-15" <= found[1] <= found[2] <= "2024-06-25"


@pytest.mark.parametrize(
    ("allowed_h", "said"),
    [(40, None), (400, "no more than that it is far off"), (4000, "not within a hundred years")],
)
def test_what_is_far_off_says_so(tmp_path: Path, allowed_h: float, said: str | None) -> None:
    """One hour in four weeks: 40 h last three years, 400 h some thirty, 4,000 h three hundred, of which nothing is foreseen."""
    hours = np.where(np.arange(1100) % 28 == 0, 1.0, 0.0)
    shown = np.concatenate((np.zeros(1), np.cumsum(hours)))
    rows = [meter(f"{FIRST + timedelta(days=day)}T00:00", float(reading)) for day, reading in enumerate(shown)]
    tasks = [task(every={"running_hours": float(shown[-1]) + allowed_h})]
    write_site(tmp_path, tasks, rows, engine={"in_service": FIRST.isoformat(), "meter_at_start_h": 0})
    found = explain(read_site(tmp_path), "G1", "oil", FIRST + timedelta(days=1099))
    sums = [step.sum for step in found.steps if step.label in ("running_hours expected", "running_hours range")]
    assert (said is None and "far off" not in sums[-1]) or (said is not None and sums[-1].endswith(said)), sums
