"""What `plan.yaml` says to those who ask for something else: the stops of the next weeks, with what to order.

In: the plan in the site's folder. Out: plain values. Refuses nothing: a plan that cannot be read is a sentence, since nothing
that is judged rests on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from intervals.language.yamlmarks import load_yaml
from intervals.problems import RequestProblemError
from intervals.questions.card.stops import PLAN_FILE, Stop, read_stops
from intervals.questions.plan.beyond_line import UNREAD

WEEKS_AHEAD = 8


class ComingOrder(NamedTuple):
    """What to order by which day."""

    by: date
    part: str
    amount: float


class Coming(NamedTuple):
    """What is planned for the next weeks.

    Attributes:
        until: the last day that is shown.
        stops: the stops, in order of time.
        orders: what to order, in order of time.
        problem: why there is neither, or None.
    """

    until: date
    stops: tuple[Stop, ...]
    orders: tuple[ComingOrder, ...]
    problem: str | None = None


def coming_stops(folder: Path, today: date) -> Coming | None:
    """Return the stops and orders of the eight weeks after a day, or None where the site has no plan.

    Args:
        folder: the site's folder.
        today: the day of judging.
    """
    if not (folder / PLAN_FILE).is_file():
        return None
    until = today + timedelta(weeks=WEEKS_AHEAD)
    try:
        stops = read_stops(folder)
    except RequestProblemError:
        return Coming(until, (), (), UNREAD)
    ahead = sorted((stop for stop in stops if today < stop.day <= until), key=lambda stop: (stop.day, stop.engine))
    orders = sorted(order for order in _orders_in(load_yaml(folder / PLAN_FILE, code_prefix="CLI").data) if today < order.by <= until)
    return Coming(until, tuple(ahead), tuple(orders))


def _orders_in(data: Mapping[str, Any]) -> Iterator[ComingOrder]:
    """Yield the orders of a plan; what a person has made unreadable is passed over."""
    orders = data.get("orders")
    for entry in orders if isinstance(orders, list) else ():
        try:
            yield ComingOrder(date.fromisoformat(str(entry["by"])), str(entry["part"]), float(entry["amount"]))
        except (KeyError, TypeError, ValueError):
            continue
