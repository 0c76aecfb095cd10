"""Occurrences that were never done or not as they should be: missed, left out, in part, too early; runs that fell short.

In: the windows of one task. Out: `Skipped` values of the whole history. Each is a rule of `standing_rules.SKIPPED_RULES` that fired.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from intervals.findings import Skipped, SkippedKind
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import Completion, TaskEvent
from intervals.judge.wording import text_of_early, text_of_left_out, text_of_missed, text_of_missed_window, text_of_partial
from intervals.language.legs import CALENDAR, rounded
from intervals.rulebook.inference import FactValue
from intervals.rules.tasks import Task
from intervals.windows.chain import TaskChain, WindowEnd, crossing_us
from intervals.windows.due_dates import calendar_due, falls_into_lay_up, line_of, opening_of
from intervals.windows.further_points import GRAIN, allowed_up_to, interval_up_to, reached_of_use
from intervals.windows.leg_states import LegState, instant_of_line
from intervals.windows.near_lines import Visits


def visits_of(case: EngineCase, chains: Iterable[TaskChain], others: Iterable[TaskChain] = ()) -> Visits:
    """Return the visits of one engine: every completion, on its own record, of a task that stops the engine.

    Args:
        case: the engine, as one rule set judges it.
        chains: the tasks of that rule set.
        others: the tasks of the engine's other rule sets: an engine that stood, stood.
    """
    rows = sorted(
        (
            (
                completion.at_us,
                -order,
                completion.day.toordinal(),
                chain.task.id if chain.case is case else chain.case.name_of(chain.task.id),
            )
            for order, chain in enumerate((*chains, *others))
            if chain.task.stops_engine
            for completion in chain.completions
            # what only the log shows is a run, and no stop
            if completion.by == chain.task.id and not completion.run
        ),
    )
    edge = case.ledger.edge
    return Visits([row[0] for row in rows], [edge(row[0]) for row in rows], [row[2] for row in rows], [row[3] for row in rows])


def find_skipped(chain: TaskChain, windows: Sequence[WindowEnd], visits: Visits) -> list[Skipped]:
    """Return everything skipped of one task, in order of time; nothing before the records are complete.

    Args:
        chain: the task's windows.
        windows: those that ran past their line at least (`TaskChain.windows`).
        visits: the engine's visits.
    """
    found: list[tuple[int, Skipped]] = []
    for window in windows:
        if not window.legs:
            continue
        found += [(missed.at_us, missed.skipped) for missed in missed_of(chain, window)]
        found += _too_early(chain, window)
        left_out = _left_out(chain, window, visits)
        if left_out is not None:
            found.append(left_out)
    found += _not_credited(chain)
    found += _fell_short(chain)
    since = chain.records_from_us
    kept = [entry for entry in found if since is None or entry[0] >= since]
    return [skipped for _, skipped in sorted(kept, key=lambda entry: entry[0])]


def due_points_reached(task: Task, leg: LegState) -> int:
    """Return how many due points of a leg were reached: the first at allowed, each further one a full interval later.

    Of a task with a window each further one is reached as soon as its window opens: from then on it is the one to be done.
    """
    if leg.used is None or leg.used < leg.allowed - GRAIN / 2:
        return 0
    if task.is_once:
        return 1
    if leg.leg != CALENDAR:
        return reached_of_use(leg)
    count = 1
    while leg.used >= _calendar_point(task, leg, count):
        count += 1
    return count


def _calendar_point(task: Task, leg: LegState, number: int) -> float:
    """Return the number-th further due point of a calendar leg, in days of its window."""
    return leg.allowed + float((opening_of(task, calendar_due(leg, number)) - (leg.line or date.min)).days)


class Missed(NamedTuple):
    """A due point that passed undone: when the next one was reached, the occurrence, and the last day on which it could have been met."""

    at_us: int
    skipped: Skipped
    line: date


def missed_of(chain: TaskChain, window: WindowEnd) -> list[Missed]:
    """Return the missed due points of a window: those reached but for the last, each when the next one was reached.

    Args:
        chain: the task's windows.
        window: one of them, judged at its end.

    Returns:
        In order of time, each open while the window is.
    """
    leg = window.governing
    if leg is None:
        return []
    if window.start.event is not None:
        return _passed_undone(chain, window, window.start.event)
    points = _points_reached(chain, leg)
    missed = max(0, len(points) - 1)
    rules = chain.case.standings
    if not rules.judged_once(("missed", missed), lambda: "missed" in rules.skipped_rules({"due_points_missed": float(missed)})):
        return []
    found = []
    reached = _reached_us(chain, window, leg, points)
    for (point, was_us), (_, at_us) in pairwise(zip(points, reached, strict=True)):
        text = _missed_text(chain, leg, point, (was_us, at_us))
        skipped = _skipped(chain, "missed", at_us, text, "missed", is_open=window.is_open)
        found.append(Missed(at_us, skipped, _line_day(chain, leg, point, was_us)))
    return found


def _passed_undone(chain: TaskChain, window: WindowEnd, event: TaskEvent) -> list[Missed]:
    """Return the missed occurrence of a planned time that passed undone, at its line; none of an event that stays open until it is done."""
    crossed_us = crossing_us(chain, window) if event.stands_alone else None
    rules = chain.case.standings
    passed = 0 if crossed_us is None else 1
    if crossed_us is None or not rules.judged_once(
        ("missed", passed), lambda: "missed" in rules.skipped_rules({"due_points_missed": float(passed)})
    ):
        return []
    line = window.last_day_before(crossed_us, chain.case.days)
    text = f"{chain.task.title} was not done in time: {event.text}"
    text += "" if window.completion is None else f"; done on {window.completion.day.isoformat()} ({window.completion.record})"
    return [Missed(crossed_us, _skipped(chain, "missed", crossed_us, text, "missed", is_open=window.is_open), line)]


def _line_day(chain: TaskChain, leg: LegState, point: int, reached_us: int) -> date:
    """Return the last day on which a due point could have been met."""
    if leg.leg == CALENDAR and leg.due is not None:
        return line_of(chain.task, leg.due if point == 0 else calendar_due(leg, point))
    return chain.case.days.last_day_before(reached_us)


def _points_reached(chain: TaskChain, leg: LegState) -> list[int]:
    """Return the due points of a leg that were reached, the first one always; a later one that fell into a lay-up is none."""
    return [number for number in range(due_points_reached(chain.task, leg)) if number == 0 or not _in_lay_up(chain, leg, number)]


def _missed_text(chain: TaskChain, leg: LegState, point: int, reached_us: tuple[int, int]) -> str:
    """Return the sentence of a missed due point, from when it and the next one were reached."""
    was_us, at_us = reached_us
    if leg.leg == CALENDAR and chain.task.window is not None and leg.due is not None:
        due = leg.due if point == 0 else calendar_due(leg, point)
        days = (opening_of(chain.task, due), line_of(chain.task, due))
        return text_of_missed_window(chain.task, due, days, chain.case.days.date_of(at_us))
    interval = leg.recurring if leg.leg == CALENDAR else interval_up_to(leg, point + 1)
    return text_of_missed(chain.task, leg._replace(recurring=interval), chain.case.days, was_us, at_us)


def _in_lay_up(chain: TaskChain, leg: LegState, number: int) -> bool:
    """Tell whether a calendar due point fell into a lay-up, where it waits."""
    due = leg.due if number == 0 or leg.leg != CALENDAR else calendar_due(leg, number)
    return leg.leg == CALENDAR and falls_into_lay_up(chain.case, chain.task, line_of(chain.task, due or date.min))


def _reached_us(chain: TaskChain, window: WindowEnd, leg: LegState, numbers: Sequence[int]) -> list[int]:
    """Return when each of these due points of a window was reached."""
    if leg.leg == CALENDAR:
        dues = (leg.due if number == 0 else opening_of(chain.task, calendar_due(leg, number)) for number in numbers)
        return [chain.case.days.midnight_us(due or date.min) for due in dues]
    totals = chain.case.leg_totals(chain.task, leg.leg)
    if totals is None:
        return [window.end_us] * len(numbers)
    low, high = window.start.edge, window.end_edge + 1
    # the course of the window once, however many due points lie in it
    edges_us, used = chain.case.ledger.edges_us[low:high], totals[low:high] - totals[low] + window.start.carried.get(leg.leg, 0.0)
    found = (instant_of_line(edges_us, used, allowed_up_to(leg, number), reached=True) for number in numbers)
    return [window.end_us if at_us is None else at_us for at_us in found]


def _left_out(chain: TaskChain, window: WindowEnd, visits: Visits) -> tuple[int, Skipped] | None:
    """Return the last visit of a window at which the task could have been done and was not."""
    if not window.ran_past:
        return None
    task = chain.task
    low, high = bisect_right(visits.at_us, window.start.at_us), bisect_left(visits.at_us, window.end_us)
    for index in range(high - 1, low - 1, -1):
        if visits.tasks[index] == task.id:
            continue
        day = date.fromordinal(visits.days[index])
        around = [window.start.completion, window.completion]
        done = any(entry is not None and abs((entry.day - day).days) <= task.visit_days for entry in around)
        leg, from_early = _at_visit(chain, window, visits.edges[index], day)
        facts: dict[str, FactValue] = {"at_visit": True, "ran_past": True, "done_around_visit": done, "from_early": from_early}
        if "left-out" in chain.case.standings.skipped_rules(facts):
            at_us = visits.at_us[index]
            text = text_of_left_out(task, visits.tasks[index], day, leg)
            return at_us, _skipped(chain, "left_out", at_us, text, "left-out", is_open=window.is_open)
    return None


def _at_visit(chain: TaskChain, window: WindowEnd, edge: int, day: date) -> tuple[tuple[float, float, str] | None, float | None]:
    """Return used, allowed and unit of the deciding leg at a visit, and used - allowed x (1 - early)."""
    early = Decimal(str(chain.task.early_pct))
    rows = []
    for leg in window.legs:
        if not leg.is_known:
            continue
        if leg.leg == CALENDAR:
            used = float((day - window.start.day).days)
        else:
            totals = chain.case.leg_totals(chain.task, leg.leg)
            if totals is None:
                continue
            used = rounded(window.start.carried.get(leg.leg, 0.0) + float(totals[edge] - totals[window.start.edge]))
        if leg.opens is not None:
            from_early = float((day - leg.opens).days)
        else:
            from_early = float(Decimal(str(used)) - Decimal(str(leg.allowed)) * (1 - early / 100))
        rows.append((used / leg.allowed if leg.allowed > 0 else 1.0, from_early, (used, leg.allowed, leg.unit)))
    if not rows:
        return None, None
    chosen = max(rows, key=lambda row: row[0]) if chain.task.whichever == "first" else min(rows, key=lambda row: row[0])
    return chosen[2], chosen[1]


def _not_credited(chain: TaskChain) -> list[tuple[int, Skipped]]:
    """Return the jobs that were done in part."""
    found = []
    for partial in chain.case.records.partials.get(chain.task.id, ()):
        if "not-credited" in chain.case.standings.skipped_rules({"outcome": "partial"}):
            done_since: list[Completion] = [entry for entry in chain.completions if entry.at_us > partial.at_us]
            text = text_of_partial(chain.task, partial)
            found.append((partial.at_us, _skipped(chain, "not_credited", partial.at_us, text, "not-credited", is_open=not done_since)))
    return found


def _too_early(chain: TaskChain, window: WindowEnd) -> list[tuple[int, Skipped]]:
    """Return the completion of a window that came before it could: credited, and open until the next one.

    A run that only the log shows is not open: nobody chose its date, and nothing can put it right.
    """
    leg, completion = window.governing, window.completion
    # what another task renews was not chosen for its own date, and hours that are nearly used up come before the calendar
    if leg is None or leg.opens is None or completion is None or completion.by != chain.task.id:
        return []
    from_opening = float((completion.day - leg.opens).days)
    if "too-early" not in chain.case.standings.skipped_rules({"from_opening": from_opening}):
        return []
    is_open = completion.at_us == chain.completions[-1].at_us and not completion.run
    text = text_of_early(chain.task, completion, leg)
    return [(completion.at_us, _skipped(chain, "too_early", completion.at_us, text, "too-early", is_open=is_open))]


def _fell_short(chain: TaskChain) -> list[tuple[int, Skipped]]:
    """Return the runs in the log that would have completed the task and lacked something."""
    rules = chain.case.standings
    return [
        (run.at_us, _skipped(chain, "run_fell_short", run.at_us, run.text, "run-fell-short", is_open=False))
        for run in chain.case.records.short_runs.get(chain.task.id, ())
        if rules.is_attempt(run.facts)
    ]


def _skipped(  # noqa: PLR0913 - one argument a field
    chain: TaskChain, kind: SkippedKind, at_us: int, text: str, rule: str, *, is_open: bool
) -> Skipped:
    """Return one skipped occurrence."""
    gone = chain.case.log.out_of_service_us is not None and chain.case.log.out_of_service_us <= chain.case.end_us
    day = chain.case.days.date_of(at_us).isoformat()
    return Skipped(
        engine=chain.case.engine.id,
        ruleset=chain.case.ruleset,
        task=chain.task.id,
        kind=kind,
        open=is_open and not gone,
        at=day,
        text=text,
        rule=rule,
    )
