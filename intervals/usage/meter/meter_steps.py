"""From one reading of a meter to the next: readings that step back, race or were typed wrong become hours that can be trusted.

In: one engine's meter readings in order of time, its registered changes and lay-ups. Out: its `Course`, and the readings that do not
follow from the one before. Refuses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.local_days import HOUR_US
from intervals.usage.meter.meter_course import FASTER_H, FASTER_SHARE, ROUNDING_H, ActiveTime, Changes, Course


@dataclass(frozen=True)
class OddStep:
    """A reading that does not follow from the one before it (index into the readings given)."""

    index: int
    kind: str
    reading_h: float
    previous_h: float
    elapsed_h: float


def fastest_h(start_us: int, end_us: int, resolution_h: float = 0.0) -> float:
    """Return the most hours that a meter can show between two instants; one that shows whole hours may turn by one at any time."""
    return (end_us - start_us) / HOUR_US * FASTER_SHARE + max(FASTER_H, resolution_h) + ROUNDING_H


def follow_meter(  # noqa: PLR0913 - a meter's readings and all that is known of it
    at_us: Instants,
    reading_h: Floats,
    changes: Changes,
    rolls_over_at_h: float | None,
    active: ActiveTime,
    resolution_h: Floats | None = None,
) -> tuple[Course, list[OddStep]]:
    """Return the course of a meter through its readings, and the steps that do not follow.

    A reading fits another if it is not back and not faster than time (elapsed + 1 % + 0.1 h). One that does not fit, while the
    next fits the one before it, is a typing error and is left out; otherwise a step back counts nothing and a step too fast
    counts the time elapsed.

    Args:
        at_us: instants of the readings, strictly rising.
        reading_h: what the meter showed, same length, no NaN.
        changes: registered changes of the meter.
        rolls_over_at_h: reading at which the meter starts again at zero, or None.
        active: time outside lay-ups.
        resolution_h: how finely each reading shows, or None: by which a step may be faster than time.

    Returns:
        The course, and one `OddStep` for every reading that did not follow (kinds `meter_reading_odd`, `meter_went_back`,
        `meter_ran_fast`).
    """
    count, shown = len(at_us), Shown.of(at_us, reading_h, changes, rolls_over_at_h, resolution_h)
    bridged = shown.bridged_h
    steps, is_odd, are_as_shown = shown.steps()
    if are_as_shown:
        # as most logs are; and no hour is lost to rounding in adding so many steps up
        return Course(at_us, bridged - bridged[:1], reading_h, np.zeros(count, dtype=np.bool_), changes, active, resolution_h), []
    kept = np.ones(count, dtype=np.bool_)
    doubtful = np.zeros(count, dtype=np.bool_)
    odd: list[OddStep] = []
    for index in (np.flatnonzero(is_odd) + 1).tolist():
        if not kept[index - 1]:
            continue
        over = shown.step_over(index - 1, index + 1) if index + 1 < count else None
        if over is not None:
            kept[index] = False
            steps[index] = over
            odd.append(shown.odd_step(index, "meter_reading_odd"))
            continue
        went_back = float(bridged[index]) < float(bridged[index - 1])
        steps[index - 1] = 0.0 if went_back else shown.elapsed_h(index - 1, index)
        doubtful[index] = True
        odd.append(shown.odd_step(index, "meter_went_back" if went_back else "meter_ran_fast"))
    # steps[i] leads to reading i + 1; the step to a reading after a blanked one was set above to bridge over it
    into = np.concatenate(([0.0], steps)) if count else np.zeros(0)
    if not kept.all():
        at_us, into, reading_h, doubtful = at_us[kept], into[kept], reading_h[kept], doubtful[kept]
        resolution_h = None if resolution_h is None else resolution_h[kept]
    return Course(at_us, np.cumsum(into), reading_h, doubtful, changes, active, resolution_h), odd


class Shown(NamedTuple):
    """What a meter showed, and the hours that lie between two of its readings."""

    at_us: Instants
    reading_h: Floats
    bridged_h: Floats
    rolls_over_at_h: float | None
    resolution_h: Floats | None = None

    @classmethod
    def of(
        cls, at_us: Instants, reading_h: Floats, changes: Changes, rolls_over_at_h: float | None, resolution_h: Floats | None = None
    ) -> Shown:
        """Bridge readings over the registered changes of their meter."""
        bridged_h = reading_h + changes.bridged_before(at_us) if len(changes.at_us) else reading_h
        return cls(at_us, reading_h, bridged_h, rolls_over_at_h, resolution_h)

    def steps(self) -> tuple[Floats, NDArray[np.bool_], bool]:
        """Return the hours from each reading to the next, none below zero; which of the later ones do not fit; whether all are as shown."""
        steps = self.bridged_h[1:] - self.bridged_h[:-1]
        falls = np.minimum.reduce(steps, initial=0.0) < 0
        if falls and self.rolls_over_at_h is not None:
            steps = np.where(steps < -ROUNDING_H, steps + self.rolls_over_at_h, steps)
        most = (self.at_us[1:] - self.at_us[:-1]) / HOUR_US
        most *= FASTER_SHARE
        # one after the other, as `fastest_h` adds them: a reading at the very bound fits both
        if self.resolution_h is None or np.maximum.reduce(self.resolution_h, initial=0.0) <= FASTER_H:
            most += FASTER_H
        else:
            most += np.maximum(FASTER_H, np.maximum(self.resolution_h[1:], self.resolution_h[:-1]))
        most += ROUNDING_H
        is_odd = steps > most
        if falls:
            is_odd |= steps < -ROUNDING_H
            steps = np.maximum(steps, 0.0)
        return steps, is_odd, not falls and not is_odd.any()

    def step_over(self, before: int, after: int) -> float | None:
        """Return the hours from one reading to another if they fit."""
        hours = float(self.bridged_h[after] - self.bridged_h[before])
        if hours < -ROUNDING_H and self.rolls_over_at_h is not None:
            hours += self.rolls_over_at_h
        shows_h = 0.0 if self.resolution_h is None else float(max(self.resolution_h[before], self.resolution_h[after]))
        most = fastest_h(int(self.at_us[before]), int(self.at_us[after]), shows_h)
        return max(0.0, hours) if -ROUNDING_H <= hours <= most else None

    def elapsed_h(self, before: int, after: int) -> float:
        """Return the time from one reading to another."""
        return float(self.at_us[after] - self.at_us[before]) / HOUR_US

    def odd_step(self, index: int, kind: str) -> OddStep:
        """Return a reading as one that does not follow from the one before it."""
        reading_h, previous_h = float(self.reading_h[index]), float(self.reading_h[index - 1])
        return OddStep(index, kind, reading_h, previous_h, self.elapsed_h(index - 1, index))
