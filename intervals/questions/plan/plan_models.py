"""A plan of stops as models: what stops when, for what, what is late and why, what the crews have to do.

In: plain values from `make_plan`. Out: frozen models. `plan.yaml` holds them as YAML, `--format json` as JSON.
"""

from __future__ import annotations

from typing import Literal

from intervals.documents import Frozen

PLAN_SCHEMA = "intervals.plan/1"


class LateTask(Frozen):
    """A task that is done after its limit, by how many days, and why it cannot be otherwise."""

    task: str
    limit: str
    late_d: int
    why: str


class EarlyTask(Frozen):
    """A task that is done before its limit, and what share of its interval that throws away."""

    task: str
    share: float


class NeededPart(Frozen):
    """A part that is needed, and how many; None where the engine does not state it."""

    part: str
    count: float | None


class NeededOil(Frozen):
    """Oil that is needed, L; None where the engine does not state how much."""

    grade: str
    litres: float | None


class LeftOver(Frozen):
    """What is left over and has to be accounted for, in the unit of its name; None where the engine does not state how much."""

    name: str
    value: float | None


class PlannedStop(Frozen):
    """One stop of one engine, or one visit while it runs (`stopped` is false).

    `until` is the last day of a stop of several days. A person who moves it, or wants it to stay, writes `fixed: true`.
    """

    engine: str
    day: str
    until: str | None
    tasks: tuple[str, ...]
    hours: float
    people: int
    stopped: bool
    fixed: bool
    crew: tuple[str, ...]
    late: tuple[LateTask, ...]
    early: tuple[EarlyTask, ...]
    parts: tuple[NeededPart, ...]
    oil: tuple[NeededOil, ...]
    waste: tuple[LeftOver, ...]


class TopUp(Frozen):
    """Oil that an engine is topped up with between changes, by its own consumption, L."""

    engine: str
    litres: float


class MonthNeeds(Frozen):
    """What a month needs: parts, oil, what is left over, oil topped up between changes."""

    month: str
    parts: tuple[NeededPart, ...]
    oil: tuple[NeededOil, ...]
    waste: tuple[LeftOver, ...]
    top_up: tuple[TopUp, ...]


class Order(Frozen):
    """What to order by which day, in whole packs, for the first day on which it would lack; `late`: it should have been ordered before."""

    part: str
    by: str
    amount: float
    needed_on: str
    late: bool


class UnplacedTask(Frozen):
    """A task that the plan has no day for, and why."""

    engine: str
    task: str
    why: str


class CrewLoad(Frozen):
    """What a crew has to do in one week, and its hours in it, h."""

    crew: str
    week: str
    hours: float
    has: float


class AimReached(Frozen):
    """How far an aim was reached: days late and overtime (`late`), days moved, stops, or intervals thrown away (`life`)."""

    aim: Literal["late", "moved", "stops", "life"]
    value: float
    bound: float


class MovedTask(Frozen):
    """A task whose day is another one than in the plan before; None where it was not, or is no longer, planned."""

    engine: str
    task: str
    before: str | None
    now: str | None


class Plan(Frozen):
    """A plan of the stops of a site. It tells; people decide.

    `gap` is by how much of its value the first aim that is not proved could at most be better.
    """

    site: str
    site_title: str
    as_of: str
    until: str
    slots: Literal["week", "day"]
    status: Literal["optimal", "best so far"]
    gap: float
    aims: tuple[AimReached, ...]
    stops: tuple[PlannedStop, ...]
    unplaced: tuple[UnplacedTask, ...]
    crews: tuple[CrewLoad, ...]
    moved: tuple[MovedTask, ...]
    months: tuple[MonthNeeds, ...]
    orders: tuple[Order, ...]
    notes: tuple[str, ...]
