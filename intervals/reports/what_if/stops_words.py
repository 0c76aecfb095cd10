"""The stops of the year ahead under two states of the rules, in words that table and page share.

In: `StopsCompared`. Out: rows and sentences. Words only; nothing is worked out here.
"""

from __future__ import annotations

from typing import NamedTuple

from intervals.questions.what_if.what_if_models import EngineStops, StopsAhead, StopsCompared
from intervals.reports.plan.plan_words import status_text
from intervals.shown_numbers import count_of

ALL = "all"
NOTE = "Planned from nothing, one day in a week for each engine: what somebody fixed in plan.yaml does not count."


class StopsRow(NamedTuple):
    """One engine, or all of them: its stops, visits and late tasks, each under both rules."""

    engine: str
    stops: tuple[int, int]
    visits: tuple[int, int]
    late: tuple[int, int]


def stops_rows(stops: StopsCompared) -> list[StopsRow]:
    """Return a row for each engine, and the last one for all of them.

    Args:
        stops: the stops under both rules.
    """
    pairs = list(zip(stops.before.engines, stops.after.engines, strict=True))
    return [*(_row(was.engine, was, now) for was, now in pairs), _row(ALL, stops.before, stops.after)]


def _row(engine: str, was: EngineStops | StopsAhead, now: EngineStops | StopsAhead) -> StopsRow:
    """Return one row."""
    return StopsRow(engine, (was.stops, now.stops), (was.visits, now.visits), (was.late, now.late))


def how_good(side: StopsAhead) -> str:
    """Return what is known of how good the plan of one side is, and how many tasks it has no day for.

    Args:
        side: one side.
    """
    lacks = f"; {count_of(side.without_day, 'task')} without a day" if side.without_day else ""
    return f"{status_text(side)}{lacks}"
