"""A plan of stops in words: what its status means, how far it reached its aims, what is late in a stop.

In: a `Plan`. Out: sentences that table, page and workbook share. Words only; nothing is worked out here.
"""

from __future__ import annotations

from datetime import date

from intervals.questions.plan.plan_models import AimReached, CrewLoad, LateTask, MonthNeeds, NeededOil, NeededPart, Order, Plan, PlannedStop
from intervals.questions.what_if.what_if_models import StopsAhead
from intervals.reports.waste_words import waste_name, waste_unit
from intervals.shown_numbers import amount, count_of, figure, percentage

CAUTION = (
    "This plan tells, it does not decide: the engine's own documents, the law and the local code come first, and people say when "
    "an engine stands."
)
_ROUNDING_H = 1e-6
_AIMS = {
    "late": "days late and hours of overtime",
    "moved": "days moved",
    "life": "intervals thrown away",
}
_LIFE_LATE = "intervals thrown away, less those that late work gains"


def status_text(plan: Plan | StopsAhead) -> str:
    """Return what is known of how good the plan is."""
    if isinstance(plan, Plan) and not plan.aims:
        return "nothing is planned"
    if plan.status == "optimal":
        return "optimal: proved that there is none better"
    return f"best so far, not proved: it could be better by {percentage(plan.gap)} at most"


def aims_text(plan: Plan) -> str:
    """Return how far the aims were reached, in their order; a stop of several weeks or days counts as so many."""
    names = _AIMS | {"stops": f"{plan.slots}s of standing"}
    if any(stop.late for stop in plan.stops):
        names["life"] = _LIFE_LATE
    return "; ".join(f"{names[each.aim]} {_reached(each)}" for each in plan.aims)


def _reached(aim: AimReached) -> str:
    """Return the value of an aim, and what it cannot be below where that is another one."""
    value, bound = figure(round(aim.value, 1)), figure(round(aim.bound, 1))
    return value if value == bound else f"{value} (not below {bound})"


def is_over(load: CrewLoad) -> bool:
    """Tell whether a crew has more to do in a week than it has hours."""
    return load.hours > load.has + _ROUNDING_H


def load_text(load: CrewLoad) -> str:
    """Return what a crew has to do in a week."""
    return f"{load.crew}, week of {load.week}: {amount(load.hours, 'h')} of {amount(load.has, 'h')}"


def totals_text(plan: Plan) -> str:
    """Return how many stops there are, and what is late."""
    stops = sum(stop.stopped for stop in plan.stops)
    visits = len(plan.stops) - stops
    late = sum(len(stop.late) for stop in plan.stops)
    said = [count_of(stops, "stop"), *([count_of(visits, "visit while running", "visits while running")] if visits else [])]
    said += [f"{count_of(late, 'task')} late"] if late else [] if plan.unplaced else ["nothing late"]
    return ", ".join([*said, *([f"{count_of(len(plan.unplaced), 'task')} without a day"] if plan.unplaced else [])])


def kind_text(stop: PlannedStop) -> str:
    """Return what a stop is: a stop, or a visit; whether a person fixed it."""
    return ("stop" if stop.stopped else "visit") + (", fixed" if stop.fixed else "")


def days_text(stop: PlannedStop) -> str:
    """Return its day, or its first and last."""
    return stop.day if stop.until is None else f"{stop.day} to {stop.until}"


def late_text(late: LateTask) -> str:
    """Return one late task with its reason."""
    return f"{late.task} {late.late_d:,} d after {late.limit}: {late.why}"


def part_text(part: NeededPart) -> str:
    """Return a part and how many of it."""
    return f"{part.part} x {figure(part.count)}"


def oil_text(oil: NeededOil) -> str:
    """Return oil and how much of it."""
    return f"{oil.grade} {amount(oil.litres, 'L')}"


def moved_texts(plan: Plan) -> list[str]:
    """Return what moved: the tasks of one engine that moved alike together."""
    alike: dict[tuple[str, str | None, str | None], list[str]] = {}
    for each in plan.moved:
        alike.setdefault((each.engine, each.before, each.now), []).append(each.task)
    return [f"{engine} {_move(before, now)}: {', '.join(tasks)}" for (engine, before, now), tasks in alike.items()]


def _move(before: str | None, now: str | None) -> str:
    """Return from when to when something moved."""
    if now is None:
        return f"{before}, no longer planned"
    return f"new on {now}" if before is None else f"{before} -> {now}"


def needs_text(needs: MonthNeeds) -> str:
    """Return what a month needs."""
    said = [*map(part_text, needs.parts), *map(oil_text, needs.oil)]
    said += [f"top-up {each.engine} {amount(each.litres, 'L')}" for each in needs.top_up if each.litres]
    said += [f"left over: {waste_name(each.name)} {figure(each.value)}{waste_unit(each.name)}" for each in needs.waste]
    return ", ".join(said)


def order_text(order: Order) -> str:
    """Return what to order by which day."""
    late = "; too late: it should have been ordered before" if order.late else ""
    return f"by {order.by}: {order.part} {figure(order.amount)}, needed on {order.needed_on}{late}"


def day_of(text: str) -> date:
    """Return a day of the document as a date."""
    return date.fromisoformat(text[:10])
