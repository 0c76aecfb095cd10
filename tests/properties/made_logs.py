"""Random logs that could be an engine's: steps of minutes to days, hours that fit time, levels that are sometimes blank.

Figures are whole minutes and whole per cents, so that sums can be reckoned exactly beside the package.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import strategies as st

START = datetime(2024, 3, 1, tzinfo=UTC)
THRESHOLD_LOADS = (0.0, 29.0, 30.0, 60.0, 89.0, 90.0, 91.0, 100.0, 129.0)


@dataclass(frozen=True)
class Step:
    """One row: the minutes since the row before, minutes run of them, starts, energy, oil added and the levels."""

    minutes: int
    run_minutes: int
    starts: int
    energy_kwh: int
    oil_added_l: int
    load_pct: float | None
    fuel_sulphur_pct: float | None

    @property
    def run_h(self) -> float:
        """Running hours of the step."""
        return self.run_minutes / 60


@dataclass(frozen=True)
class MadeLog:
    """One engine's rows, and the instants of its completions in minutes since the first moment."""

    steps: tuple[Step, ...]
    completions: tuple[int, ...] = ()
    start_h: float = 0.0

    @property
    def ends(self) -> list[int]:
        """Minutes since the first moment at which each step ends."""
        total, ends = 0, []
        for step in self.steps:
            total += step.minutes
            ends.append(total)
        return ends

    def rows(self, engine: str = "G1") -> list[dict[str, object]]:
        """Return the rows with rising counters; the first one stands at the first moment."""
        meter_h, starts, energy = self.start_h, 0, 0
        first: dict[str, object] = {"at": stamp(0), "engine": engine, "hour_meter_h": f"{meter_h:.6f}", "starts": 0, "energy_kwh": 0}
        rows = [first]
        run = 0
        for end, step in zip(self.ends, self.steps, strict=True):
            run, starts, energy = run + step.run_minutes, starts + step.starts, energy + step.energy_kwh
            meter_h = self.start_h + run / 60
            rows.append(
                {
                    "at": stamp(end),
                    "engine": engine,
                    "hour_meter_h": repr(meter_h),
                    "starts": starts,
                    "energy_kwh": energy,
                    "oil_added_l": step.oil_added_l,
                    "load_pct": "" if step.load_pct is None else step.load_pct,
                    "fuel_sulphur_pct": "" if step.fuel_sulphur_pct is None else step.fuel_sulphur_pct,
                }
            )
        return rows

    def records(self, task: str = "oil", engine: str = "G1") -> list[dict[str, object]]:
        """Return a record for each completion."""
        return [{"at": stamp(minute), "engine": engine, "task": task, "outcome": "done"} for minute in self.completions]

    def harder(self, more: list[int]) -> MadeLog:
        """Return a log in which each step ran so many minutes more, as far as there is time."""
        steps = tuple(
            replace(step, run_minutes=min(step.minutes, step.run_minutes + extra)) for step, extra in zip(self.steps, more, strict=False)
        )
        return replace(self, steps=steps + self.steps[len(steps) :])


def stamp(minute: int) -> str:
    """Return an instant as a row writes it, without an offset."""
    return (START + timedelta(minutes=minute)).strftime("%Y-%m-%dT%H:%M")


def steps(longest_minutes: int = 2160) -> st.SearchStrategy[Step]:
    """Return random steps."""
    lengths = st.sampled_from([15, 60, 360, 480, 720, 1440]) | st.integers(1, longest_minutes)

    def of_length(minutes: int) -> st.SearchStrategy[Step]:
        return st.builds(
            Step,
            st.just(minutes),
            st.integers(0, minutes) | st.sampled_from([0, minutes]),
            st.integers(0, 5),
            st.integers(0, 2000),
            st.integers(0, 9),
            st.none() | st.sampled_from(THRESHOLD_LOADS),
            st.none() | st.sampled_from([0.0, 0.4, 0.5, 0.7, 1.0, 1.2]),
        )

    return lengths.flatmap(of_length)


@st.composite
def made_logs(draw: st.DrawFn, *, most_steps: int = 25, most_completions: int = 5) -> MadeLog:
    """Return random logs with completions inside them."""
    made = tuple(draw(st.lists(steps(), min_size=1, max_size=most_steps)))
    length = sum(step.minutes for step in made)
    completions = draw(st.lists(st.integers(1, length), max_size=most_completions, unique=True))
    return MadeLog(made, tuple(sorted(completions)), float(draw(st.integers(0, 9000))))


@contextmanager
def scratch() -> Iterator[Path]:
    """Give a folder that is gone afterwards."""
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)
