"""What is said of an engine's duty, as models: load, rating, fuel, oil, and how long each task's interval lasts under it.

In: plain values from `duty`. Out: frozen models; `reports/duty/duty_table.py` draws them and `reports/document.py` prints them as
`intervals.duty/1`. Shares are per cent of running hours; an unknown figure is None.
"""

from __future__ import annotations

from typing import Literal

from intervals.documents import Frozen
from intervals.findings import FaultLine, RuleSetUsed


class LoadClass(Frozen):
    """Running hours in one class of load: above `above_pct` (the first: from it on) up to and with `up_to_pct`."""

    above_pct: float
    up_to_pct: float | None
    hours_h: float
    share_pct: float


class LoadDuty(Frozen):
    """How hard the engine ran; shares are of the hours whose load is known."""

    classes: tuple[LoadClass, ...]
    unknown_h: float
    average_power_pct: float | None
    average_power_kw: float | None
    without_floor_pct: float | None
    without_floor_kw: float | None
    above_rated_share_pct: float | None
    light_share_pct: float | None


class Stretch(Frozen):
    """Running below 30 % without a stop."""

    hours_h: float
    from_at: str
    to_at: str


class Heaviest(Frozen):
    """The heaviest hours of running: average power after ISO 8528-1, from when to when, and how many hours that makes."""

    average_power_pct: float
    running_hours_h: float
    from_at: str
    to_at: str


class RatingCheck(Frozen):
    """What the engine's rating allows, held against its running: the rule that fired and its figures."""

    rule: str
    verdict: Literal["within", "beyond", "unknown", "no_limit"]
    text: str
    facts: dict[str, float | str | bool | None]
    source: str | None


class LevelDuty(Frozen):
    """One level over the running hours: mean, the value that 95 % of them stay at or below, lowest and highest."""

    level: str
    unit: str
    mean: float
    nearly_highest: float
    lowest: float
    highest: float
    highest_at: str
    known_share_pct: float


class FuelDuty(Frozen):
    """Sulphur that the fuel brought, weighted by running hours and, where fuel is logged, by the fuel burned."""

    sulphur: LevelDuty | None
    sulphur_by_fuel_pct: float | None
    h2s: LevelDuty | None
    h2s_by_fuel_ppm: float | None
    weighed_by: str | None
    methane_pct: float | None
    methane_from: Literal["log", "engine", "assumed"] | None
    like_diesel_of_sulphur_pct: float | None
    peak_like_diesel_of_sulphur_pct: float | None


class OilMonth(Frozen):
    """Oil topped up in one month, by the energy made in it."""

    month: str
    added_l: float
    energy_kwh: float
    g_per_kwh: float | None


class OilDuty(Frozen):
    """Oil consumption, and its change with running time (a line through the months, each weighing as much as its energy)."""

    added_l: float
    g_per_kwh: float | None
    trend_g_per_kwh_per_1000h: float | None
    months: tuple[OilMonth, ...]


class TaskDuty(Frozen):
    """How long one task's interval lasts at this duty, in plain running hours, and how often the task comes in a year.

    `effective_h` is at the mean of the span, `shortest_h` at its heaviest stretch (None where the span did not use an interval up).
    """

    ruleset: str
    task: str
    title: str
    base_h: float | None
    becomes_h: float | None
    equivalent_ratio: float | None
    window_factor: float
    rules: tuple[str, ...]
    not_judged: tuple[str, ...]
    unknown_hours_h: float
    effective_h: float | None
    shortest_h: float | None
    per_year: float | None
    per_year_as_assumed: float | None
    text: str


class EngineDuty(Frozen):
    """The duty of one engine over a span."""

    engine: str
    title: str
    duty: str | None
    rated_kw: float | None
    from_at: str
    to_at: str
    running_hours_h: float
    unknown_time_h: float
    running_hours_per_year: float | None
    starts: float | None
    hours_per_start: float | None
    load: LoadDuty
    longest_light_load: Stretch | None
    heaviest_24h: Heaviest | None
    rating: RatingCheck
    fuel: FuelDuty
    levels: tuple[LevelDuty, ...]
    oil: OilDuty | None
    tasks: tuple[TaskDuty, ...]

    def name_of(self, task: TaskDuty) -> str:
        """Return a task's id as it is distinguished from the engine's others: with its rule set where several judge the engine."""
        return task.task if len({each.ruleset for each in self.tasks}) == 1 else f"{task.ruleset}.{task.task}"


class Duty(Frozen):
    """The duty of every engine of a site."""

    site: str
    since: str
    until: str
    rulesets: tuple[RuleSetUsed, ...]
    engines: tuple[EngineDuty, ...]
    faults: tuple[FaultLine, ...]
