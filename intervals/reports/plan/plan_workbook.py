"""A plan of stops as a workbook: stops, what is late, what has no day, the load of the crews, what moved, how far the aims were reached.

In: a `Plan`. Out: XLSX as bytes, the same bytes for the same plan.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.questions.plan.plan_models import MonthNeeds, Plan
from intervals.reports.check.workbook import SheetRows, workbook_of
from intervals.reports.plan.plan_words import CAUTION, day_of, oil_text, part_text, status_text


def plan_workbook(plan: Plan) -> bytes:
    """Return the plan as an XLSX file.

    Args:
        plan: the plan.
    """
    return workbook_of(_sheets(plan), title=f"{plan.site}, stops until {plan.until}", as_of=plan.as_of)


def _sheets(plan: Plan) -> list[SheetRows]:
    """Return every sheet: name, headings, rows."""
    stops = [
        (
            day_of(stop.day),
            None if stop.until is None else day_of(stop.until),
            stop.engine,
            stop.stopped,
            stop.fixed,
            ", ".join(stop.tasks),
            stop.hours,
            stop.people,
            ", ".join(stop.crew),
            ", ".join(map(part_text, stop.parts)),
            ", ".join(map(oil_text, stop.oil)),
        )
        for stop in plan.stops
    ]
    late = [
        (stop.engine, each.task, day_of(stop.day), day_of(each.limit), each.late_d, each.why) for stop in plan.stops for each in stop.late
    ]
    early = [(stop.engine, each.task, day_of(stop.day), each.share) for stop in plan.stops for each in stop.early]
    crews = [(each.crew, day_of(each.week), each.hours, each.has) for each in plan.crews]
    moved = [
        (each.engine, each.task, None if each.before is None else day_of(each.before), None if each.now is None else day_of(each.now))
        for each in plan.moved
    ]
    needs = [(each.month, what, name, amount) for each in plan.months for what, name, amount in _needs(each)]
    orders = [(day_of(each.by), each.part, each.amount, day_of(each.needed_on), each.late) for each in plan.orders]
    about = [(status_text(plan),), *((note,) for note in plan.notes), (CAUTION,)]
    return [
        ("stops", ("day", "until", "engine", "stopped", "fixed", "tasks", "hours", "people", "crew", "parts", "oil"), stops),
        ("late", ("engine", "task", "day", "limit", "days late", "why"), late),
        ("early", ("engine", "task", "day", "share of interval"), early),
        ("without a day", ("engine", "task", "why"), [(each.engine, each.task, each.why) for each in plan.unplaced]),
        ("needs", ("month", "what", "name", "amount"), needs),
        ("orders", ("by", "part", "amount", "needed on", "too late"), orders),
        ("crews", ("crew", "week", "hours", "has"), crews),
        ("moved", ("engine", "task", "before", "now"), moved),
        ("aims", ("aim", "value", "cannot be below"), [(each.aim, each.value, each.bound) for each in plan.aims]),
        ("about", ("of this plan",), about),
    ]


def _needs(month: MonthNeeds) -> Iterator[tuple[str, str, float | None]]:
    """Yield what a month needs: what it is, its name, how much."""
    yield from (("part", each.part, each.count) for each in month.parts)
    yield from (("oil, L", each.grade, each.litres) for each in month.oil)
    yield from (("top-up, L", each.engine, each.litres) for each in month.top_up)
    yield from (("left over", each.name, each.value) for each in month.waste)
