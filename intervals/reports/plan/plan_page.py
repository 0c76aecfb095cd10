"""A plan of stops as one page: each engine's stops on a time line, what each carries, the load of the crews, what is late and why.

In: a `Plan`. Out: HTML as text that loads and runs nothing. Every text is escaped by the template engine; only places on the line are
worked out here.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from intervals.questions.plan.plan_models import CrewLoad, Plan, PlannedStop
from intervals.reports.plan import plan_words
from intervals.reports.template_engine import style_sheet, template_engine
from intervals.shown_numbers import amount, count_of, figure, percentage
from intervals.version import __version__

_WIDTH, _LEFT = 1000.0, 120.0


class Mark(NamedTuple):
    """A stop on the line of its engine: where, how wide, and the stop."""

    x: float
    width: float
    stop: PlannedStop


class Bar(NamedTuple):
    """The load of a crew in a week: where, the share of its hours, and the load."""

    x: float
    share: float
    load: CrewLoad


def plan_page(plan: Plan) -> str:
    """Return the page of a plan.

    Args:
        plan: the plan.
    """
    environment = template_engine()
    environment.filters |= {"amount": amount, "count": count_of, "figure": figure, "percentage": percentage}
    scale = _Scale(plan)
    engines = list(dict.fromkeys(stop.engine for stop in sorted(plan.stops, key=lambda stop: stop.engine)))
    return environment.get_template("plan.html").render(
        plan=plan,
        words=plan_words,
        style=style_sheet(),
        version=__version__,
        lines=[(engine, [scale.mark(stop) for stop in plan.stops if stop.engine == engine]) for engine in engines],
        months=scale.months(),
        crews=[
            (crew, [scale.bar(load) for load in plan.crews if load.crew == crew])
            for crew in dict.fromkeys(each.crew for each in plan.crews)
        ],
        left=_LEFT,
        width=_WIDTH,
    )


class _Scale:
    """Where a day stands on the line."""

    def __init__(self, plan: Plan) -> None:
        self._first = plan_words.day_of(plan.as_of)
        self._last = plan_words.day_of(plan.until)
        self._day = (_WIDTH - _LEFT) / max(1, (self._last - self._first).days + 1)

    def x(self, day: date) -> float:
        """Return where a day begins."""
        return round(_LEFT + self._day * (day - self._first).days, 1)

    def mark(self, stop: PlannedStop) -> Mark:
        """Return the mark of a stop; never too narrow to be seen."""
        first, last = plan_words.day_of(stop.day), plan_words.day_of(stop.until or stop.day)
        return Mark(self.x(first), round(max(6.0, self._day * ((last - first).days + 1)), 1), stop)

    def bar(self, load: CrewLoad) -> Bar:
        """Return the bar of a week's load."""
        return Bar(
            self.x(max(self._first, plan_words.day_of(load.week))), round(min(2.0, load.hours / load.has), 3) if load.has else 2.0, load
        )

    def months(self) -> list[tuple[float, str]]:
        """Return where each month begins, with its name."""
        found: list[tuple[float, str]] = []
        day = (self._first.replace(day=1) + timedelta(days=32)).replace(day=1)
        while day <= self._last:
            found.append((self.x(day), f"{day:%Y-%m}"))
            day = (day + timedelta(days=32)).replace(day=1)
        return found
