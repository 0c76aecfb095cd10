"""What the stops of a plan take together: by month parts, oil and what is left over, and what to order by which day.

In: planned stops, what engines use up between changes, what lies in stock. Out: models. An amount that an engine does not state is unknown,
and so is the sum that it belongs to; nothing is ordered for it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

from intervals.questions.plan.oil_use import OilUse
from intervals.questions.plan.plan_models import LeftOver, MonthNeeds, NeededOil, NeededPart, Order, PlannedStop, TopUp
from intervals.questions.plan.stock import InStock

_GRAIN, _DECIMALS = 1e-9, 6
Sums = dict[str, float | None]


class _Need(NamedTuple):
    """So much of something is needed on a day."""

    day: date
    name: str
    amount: float


def month_needs(stops: Sequence[PlannedStop], uses: Mapping[str, OilUse], first: date, until: date) -> tuple[MonthNeeds, ...]:
    """Return what each month needs, those that need nothing left out.

    Args:
        stops: the stops of the plan.
        uses: engine -> what it uses up between changes.
        first: the first day of the plan.
        until: the last day.
    """
    found: list[MonthNeeds] = []
    for month, days in _months(first, until):
        here = [stop for stop in stops if stop.day.startswith(month)]
        top_up = tuple(TopUp(engine=engine, litres=round(use.litres_per_h * use.hours_per_day * days, 1)) for engine, use in uses.items())
        parts = _sums((each.part, each.count) for stop in here for each in stop.parts)
        oil = _sums((each.grade, each.litres) for stop in here for each in stop.oil)
        waste = _sums((each.name, each.value) for stop in here for each in stop.waste)
        if parts or oil or waste or any(each.litres for each in top_up):
            found.append(
                MonthNeeds(
                    month=month,
                    parts=tuple(NeededPart(part=name, count=count) for name, count in parts.items()),
                    oil=tuple(NeededOil(grade=name, litres=litres) for name, litres in oil.items()),
                    waste=tuple(LeftOver(name=name, value=value) for name, value in waste.items()),
                    top_up=top_up,
                )
            )
    return tuple(found)


def orders_of(
    stops: Sequence[PlannedStop], months: Sequence[MonthNeeds], stock: Mapping[str, InStock], first: date, until: date | None = None
) -> tuple[Order, ...]:
    """Return what to order by which day, so that nothing lacks on the day it is needed, in order of those days.

    Oil that is topped up is used up evenly over the days of its month, under the grade that the engine's stops take; an order that it
    makes necessary is for the rest of that month.

    Args:
        stops: the stops of the plan.
        months: what each month needs.
        stock: what lies in stock; what it does not name is not ordered.
        first: the first day of the plan: an order that should have gone out before it comes too late.
        until: the last day of the plan; None: the end of its last month.
    """
    needs: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for need in _needs_of_stops(stops):
        needs[need.name][need.day] += need.amount
    top_ups = _top_ups(stops, months, first, until)
    found: list[Order] = []
    for name in dict.fromkeys((*needs, *top_ups)):
        row = stock.get(name)
        if row is not None:
            found += _orders_for(name, row, needs[name], top_ups.get(name, {}), first)
    return tuple(sorted(found, key=lambda order: (order.by, order.part)))


def _orders_for(name: str, row: InStock, needs: Mapping[date, float], top_ups: Mapping[date, float], first: date) -> Iterator[Order]:
    """Yield the orders of one part, or grade of oil."""
    left = row.on_hand
    for day in sorted({*needs, *top_ups}):
        left -= needs.get(day, 0.0) + top_ups.get(day, 0.0)
        if left >= -_GRAIN:
            continue
        ahead = sum(amount for later, amount in top_ups.items() if later > day and (later.year, later.month) == (day.year, day.month))
        packs = math.ceil((ahead - left) / row.pack - _GRAIN)
        left += packs * row.pack
        last = day - timedelta(days=row.lead_days)
        yield Order(
            part=name,
            by=max(last, first).isoformat(),
            amount=round(packs * row.pack, _DECIMALS),
            needed_on=day.isoformat(),
            late=last < first,
        )


def _needs_of_stops(stops: Iterable[PlannedStop]) -> Iterator[_Need]:
    """Yield what stops take, as far as it is known."""
    for stop in stops:
        day = date.fromisoformat(stop.day)
        yield from (_Need(day, part.part, part.count) for part in stop.parts if part.count)
        yield from (_Need(day, oil.grade, oil.litres) for oil in stop.oil if oil.litres)


def _top_ups(stops: Iterable[PlannedStop], months: Iterable[MonthNeeds], first: date, until: date | None) -> dict[str, dict[date, float]]:
    """Return by grade the litres that engines are topped up with on each day."""
    grades: dict[str, str] = {}
    for stop in stops:
        for oil in stop.oil:
            grades.setdefault(stop.engine, oil.grade)
    found: dict[str, dict[date, float]] = defaultdict(lambda: defaultdict(float))
    for month in months:
        days = _days_of(month.month, first, until)
        for each in month.top_up:
            if each.engine in grades and each.litres and days:
                for day in days:
                    found[grades[each.engine]][day] += each.litres / len(days)
    return found


def _days_of(month: str, first: date, until: date | None) -> list[date]:
    """Return the days of a month that a plan holds."""
    begins = date.fromisoformat(f"{month}-01")
    days = (begins + timedelta(days=number) for number in range(31))
    return [day for day in days if day.month == begins.month and day >= first and (until is None or day <= until)]


def _months(first: date, until: date) -> Iterator[tuple[str, int]]:
    """Yield each month of a plan with how many of its days the plan holds."""
    days: dict[str, int] = defaultdict(int)
    for number in range((until - first).days + 1):
        days[f"{first + timedelta(days=number):%Y-%m}"] += 1
    yield from days.items()


def _sums(amounts: Iterable[tuple[str, float | None]]) -> Sums:
    """Return the sum of each name, unknown where a part of it is."""
    found: Sums = {}
    for name, amount in amounts:
        before = found.get(name, 0.0)
        found[name] = None if before is None or amount is None else round(before + amount, 6)
    return found
