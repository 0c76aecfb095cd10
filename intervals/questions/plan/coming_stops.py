"""What `plan.yaml` says to those who ask for something else: stops of the next weeks with what to order, tasks planned beyond their line.

In: the plan in the site's folder, findings. Out: plain values. Refuses nothing: a plan that cannot be read is a sentence, since nothing
that is judged rests on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from intervals.findings import Finding, Findings
from intervals.language.conditions import Comparison
from intervals.language.yamlmarks import load_yaml
from intervals.problems import RequestProblemError
from intervals.questions.card.stops import PLAN_FILE, Stop, read_stops
from intervals.rulebook.inference import RuleBase

WEEKS_AHEAD = 8
_UNREAD = f"{PLAN_FILE} cannot be read, so nothing is said of planned stops"


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
        return Coming(until, (), (), _UNREAD)
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


def beyond_line(findings: Findings, folder: Path) -> tuple[str, ...]:
    """Return a sentence for each task whose next planned stop lies beyond its line; none where the site has no plan.

    Args:
        findings: what was found; what is overdue already is not said again.
        folder: the site's folder.
    """
    if not (folder / PLAN_FILE).is_file():
        return ()
    try:
        stops = read_stops(folder)
    except RequestProblemError:
        return (_UNREAD,)
    today = date.fromisoformat(findings.as_of[:10])
    planned: dict[tuple[str, str], date] = {}
    for stop in sorted((stop for stop in stops if stop.day >= today), key=lambda stop: stop.day):
        for task in stop.tasks:
            planned.setdefault((stop.engine, task), stop.day)
    sentences = (_sentence(finding, findings.name_of(finding), planned) for finding in findings.findings)
    return tuple(sentence for sentence in sentences if sentence is not None)


def _sentence(finding: Finding, name: str, planned: Mapping[tuple[str, str], date]) -> str | None:
    """Return what is to be said of one task."""
    day = planned.get((finding.engine, name), planned.get((finding.engine, finding.task)))
    if day is None or finding.due_on is None or finding.standing == "overdue":
        return None
    days = (day - date.fromisoformat(finding.due_on)).days
    if not _rules().fire({"beyond_line_d": float(days)}).holds:
        return None
    return f"{finding.engine} {name}: its stop is planned on {day.isoformat()}, {days:,} d beyond its line on {finding.due_on}"


@lru_cache(maxsize=1)
def _rules() -> RuleBase:
    """Return the rule about planned days, compiled."""
    return RuleBase("planned", {"beyond-line": Comparison("beyond_line_d", ">", 0.0)})
