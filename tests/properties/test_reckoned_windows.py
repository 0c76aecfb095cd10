"""Whole histories reckoned a second way: in exact fractions for hours, with another library's months for dates.

Each test walks the windows of one task with a few lines of plain Python and compares the standing, the figures, every missed due point
and the month's compliance with what the package says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import Any

from dateutil.relativedelta import relativedelta
from hypothesis import assume, given
from hypothesis import strategies as st

from intervals import assess
from intervals.findings import Findings
from tests.properties.bounded import bounded
from tests.properties.made_logs import START, MadeLog, made_logs, scratch
from tests.site_maker import finding_for, leg_of, rule, task, write_site

MODES = ("done", "due", "due_if_on_time", "due_if_late")
AS_OF = START.date() + timedelta(days=40)
END_MINUTE = 41 * 1440
MARCH_END = 31 * 1440


@dataclass
class Reckoned:
    """A history by plain arithmetic: the open window's used and allowed, missed dates, and March's counts."""

    used: Fraction
    allowed: Fraction
    missed: list[str]
    met: dict[str, int]


def equivalent_h(log: MadeLog) -> Callable[[Fraction], Fraction]:
    """Return equivalent hours up to a minute: hours above 90 % load count twice, evenly within each step."""
    ends = log.ends

    def up_to(minute: Fraction) -> Fraction:
        total = Fraction(0)
        for end, step in zip(ends, log.steps, strict=True):
            weight = 2 if step.load_pct is not None and step.load_pct > 90 else 1
            share = min(max((minute - (end - step.minutes)) / step.minutes, Fraction(0)), Fraction(1))
            total += Fraction(step.run_minutes, 60) * weight * share
        return total

    return up_to


def minute_of(log: MadeLog, start: Fraction, carried: Fraction, line: Fraction) -> Fraction:
    """Return the first minute at which a window's hours are at a line that they reach."""
    up_to = equivalent_h(log)
    knots = sorted({Fraction(end) for end in (0, *log.ends)} | {start})
    for low, high in pairwise(knots):
        before, after = carried + up_to(low) - up_to(start), carried + up_to(high) - up_to(start)
        if low >= start and before < line <= after:
            return low + (high - low) * (line - before) / (after - before)
    return start


def reckon_hours(log: MadeLog, every: Fraction, first: Fraction | None, tolerance: Fraction, mode: str) -> Reckoned:
    """Walk the windows of a task of one running-hours leg."""
    up_to = equivalent_h(log)
    start, carried, allowed = Fraction(0), Fraction(0), first or every
    missed, met = [], dict.fromkeys(("on_time", "late", "missed", "open", "pending", "deferred", "early"), 0)
    for end in [*(Fraction(minute) for minute in log.completions), Fraction(END_MINUTE)]:
        used = carried + up_to(end) - up_to(start)
        steer_clear(used, allowed, tolerance, every)
        reached = 0 if used < allowed else 1 + (used - allowed) // every
        for number in range(1, int(reached)):
            at = minute_of(log, start, carried, allowed + number * every)
            assume(at % 1440 != 0)
            missed.append((START + timedelta(minutes=float(at))).date().isoformat())
        if start < MARCH_END:
            # March is judged as of its end: what was done later was not done then
            seen = min(end, Fraction(MARCH_END))
            used_then = carried + up_to(seen) - up_to(start)
            steer_clear(used_then, allowed, tolerance, every)
            count_march(met, used_then, allowed, every, tolerance, is_done=end < MARCH_END)
            lines = [allowed + number * every for number in range(int(max(used_then - allowed, Fraction(0)) // every) + 1)]
            assume(all(line > used_then or abs(minute_of(log, start, carried, line) - MARCH_END) > 1 for line in lines))
        if end == END_MINUTE:
            return Reckoned(used, allowed, missed, met)
        over = used - allowed
        keeps = {"done": False, "due": True, "due_if_on_time": abs(over) <= allowed * tolerance, "due_if_late": over > 0}[mode]
        carried = Fraction(0) if not keeps else over % every if over > 0 else over
        start, allowed = end, every
    raise AssertionError


def count_march(met: dict[str, int], used: Fraction, allowed: Fraction, every: Fraction, tolerance: Fraction, *, is_done: bool) -> None:
    """Count the due points of one window, by what was used at its end or at March's, whichever came first.

    Each point that was passed over by the next one was late, and is missed; it is open while the window is. The last one is what was done
    or is to be done: late beyond its tolerance, on time before, early before half of its interval; undone past its line it is pending.
    """
    passed_over = max(0, int((used - allowed) // every))
    met["late"] += passed_over
    met["missed"] += passed_over
    met["open"] += 0 if is_done else passed_over
    over = used - allowed - passed_over * every
    if over > tolerance * (every if passed_over else allowed):
        met["late"] += 1
        met["open"] += 0 if is_done else 1
    elif is_done:
        met["early" if used < allowed / 2 else "on_time"] += 1
    elif over > 0:
        met["pending"] += 1


def steer_clear(used: Fraction, allowed: Fraction, tolerance: Fraction, every: Fraction) -> None:
    """Leave out what lies so near a line that rounding to a millionth decides."""
    lines = [allowed, allowed * (1 + tolerance), allowed * (1 - tolerance), allowed * Fraction(9, 10), allowed / 2]
    points = [allowed + number * every for number in range(1, 2 + int(max(used, Fraction(0)) // every))]
    lines += [line for point in points for line in (point, point + tolerance * every)]
    assume(all(used == line or abs(used - line) > Fraction(1, 10**5) for line in lines))


@bounded(60)
@given(
    made_logs(most_completions=6),
    st.sampled_from([Fraction(3), Fraction(10), Fraction(33, 2), Fraction(50)]),
    st.none() | st.just(Fraction(4)),
    st.sampled_from([Fraction(0), Fraction(1, 10), Fraction(1, 2)]),
    st.sampled_from(MODES),
)
def test_a_history_by_hours(log: MadeLog, every: Fraction, first: Fraction | None, tolerance: Fraction, mode: str) -> None:
    """Used, allowed, standing, missed points and March's compliance of a task by running hours, in all four ways to restart."""
    expected = reckon_hours(log, every, first, tolerance, mode)
    keys: dict[str, Any] = {} if first is None else {"first": {"running_hours": float(first)}}
    oil = task(every={"running_hours": float(every)}, tolerance_pct=float(tolerance * 100), restarts_from=mode, **keys)
    with scratch() as folder:
        site = write_site(
            folder, [oil], log.rows(), services=log.records(), engine={"in_service": START.date().isoformat()},
            rules={"adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=2)]},
        )  # fmt: skip
        findings = assess(site, AS_OF, month="2024-03")
        whole = assess(site, AS_OF)
    leg = leg_of(finding_for(findings))
    assert leg.used is not None
    assert leg.allowed == round(float(expected.allowed), 6)
    assert abs(leg.used - float(expected.used)) < 1e-5
    standing = (
        "overdue"
        if expected.used > expected.allowed
        else "upcoming"
        if expected.used >= expected.allowed * Fraction(9, 10)
        else "in_interval"
    )
    assert finding_for(findings).standing == standing
    assert missed_of(whole) == sorted(expected.missed)
    assert compliance_of(findings) == expected.met
    counted = expected.met["on_time"] + expected.met["late"]
    assert findings.compliance is not None
    assert findings.compliance.figure == (round(expected.met["on_time"] / counted, 6) if counted else None)


def missed_of(findings: Findings) -> list[str]:
    """Return the dates of missed due points."""
    return [entry.at for entry in findings.skipped if entry.kind == "missed"]


def compliance_of(findings: Findings) -> dict[str, int]:
    """Return the month's counts."""
    found = findings.compliance
    assert found is not None
    return {word: getattr(found, word) for word in ("on_time", "late", "missed", "open", "pending", "deferred", "early")}


STEPS = {
    "P1M": relativedelta(months=1),
    "P3M": relativedelta(months=3),
    "P1Y": relativedelta(years=1),
    "P10D": relativedelta(days=10),
    "P2W": relativedelta(weeks=2),
    "P1M5D": relativedelta(months=1, days=5),
}


def point(anchor: date, step: relativedelta, number: int) -> date:
    """Return the anchor plus so many steps: months from the anchor, clipped, then days."""
    return anchor + step * number


@dataclass
class Dates:
    """A window by the calendar: its start, the day it ended, its due dates reached by then (the first one always), whether it is open."""

    start: date
    end: date
    due: list[date]
    is_open: bool


def reckon_dates(first_day: date, days: Sequence[date], last_day: date, step: relativedelta, tolerance: Fraction, mode: str) -> list[Dates]:
    """Walk the windows of a task of one calendar leg, the open one last."""
    anchor, number, start = first_day, 1, first_day
    windows: list[Dates] = []
    for end in [*days, last_day]:
        due = point(anchor, step, number)
        windows.append(Dates(start, end, [due], is_open=end is last_day))
        following = number + 1
        while point(anchor, step, following) <= end:
            windows[-1].due.append(point(anchor, step, following))
            following += 1
        if end is last_day:
            return windows
        used, allowed = (end - start).days, (due - start).days
        keeps = {
            "done": False,
            "due": True,
            "due_if_on_time": abs(used - allowed) <= allowed * tolerance,
            "due_if_late": used > allowed,
        }[mode]
        if keeps:
            # the first point after the one that was served, and after the day itself
            number += 1
            while point(anchor, step, number) <= end:
                number += 1
        else:
            anchor, number = end, 1
        start = end
    raise AssertionError


def count_month(windows: Sequence[Dates], first: date, last: date, tolerance: Fraction) -> dict[str, int]:
    """Count the due dates that were decided in a month, as of its last day.

    A due date is late on the day after its tolerance, in whole days of its own interval; it is missed once the next one has come.
    """
    met = dict.fromkeys(("on_time", "late", "missed", "open", "pending", "deferred", "early"), 0)
    for window in windows:
        if window.start > last:
            break
        is_done = not window.is_open and window.end <= last
        seen = min(window.end, last)
        due = [window.due[0], *(day for day in window.due[1:] if day <= seen)]
        for number, (before, day) in enumerate(pairwise([window.start, *due])):
            late_on = day + timedelta(days=int((day - before).days * tolerance) + 1)
            is_last = number == len(due) - 1
            if late_on <= seen:
                is_here = first <= late_on
                met["late"] += is_here
                met["missed"] += is_here and not is_last
                met["open"] += is_here and not is_done
            elif is_done and is_last:
                is_early = number == 0 and 2 * (seen - before).days < (day - before).days
                met["early" if is_early else "on_time"] += first <= seen
            elif day < seen:
                met["pending"] += 1
    return met


@bounded(60)
@given(
    st.dates(date(2020, 1, 1), date(2020, 12, 31)),
    st.lists(st.integers(1, 1400), max_size=8, unique=True),
    st.sampled_from(sorted(STEPS)),
    st.sampled_from([Fraction(0), Fraction(1, 10), Fraction(1, 4)]),
    st.sampled_from(MODES),
    st.integers(0, 46),
)
def test_a_history_by_dates(first_day: date, offsets: list[int], step: str, tolerance: Fraction, mode: str, months: int) -> None:
    """Start, due date, missed points and a month's compliance of a task by the calendar, months as dateutil adds them."""
    days = [first_day + timedelta(days=offset) for offset in sorted(offsets)]
    last_day = first_day + timedelta(days=1401)
    windows = reckon_dates(first_day, days, last_day, STEPS[step], tolerance, mode)
    start, due = windows[-1].start, windows[-1].due[0]
    month = min(first_day.replace(day=1) + relativedelta(months=months), last_day.replace(day=1))
    rows = [{"at": f"{day.isoformat()}T00:00", "hour_meter_h": 0} for day in (first_day, last_day)]
    services = [{"at": f"{day.isoformat()}T12:00", "engine": "G1", "task": "oil", "outcome": "done"} for day in days]
    oil = task(every={"calendar": step}, tolerance_pct=float(tolerance * 100), restarts_from=mode)
    with scratch() as folder:
        site = write_site(folder, [oil], rows, services=services, engine={"in_service": first_day.isoformat()})
        findings = assess(site, last_day)
        of_month = assess(site, last_day, month=f"{month:%Y-%m}")
    leg = leg_of(finding_for(findings), "calendar")
    assert (leg.used, leg.allowed) == ((last_day - start).days, (due - start).days)
    assert finding_for(findings).standing == ("overdue" if last_day > due else finding_for(findings).standing)
    assert (finding_for(findings).standing == "overdue") is (last_day > due)
    assert missed_of(findings) == sorted(day.isoformat() for window in windows for day in window.due[1:])
    month_end = min(month + relativedelta(months=1) - timedelta(days=1), last_day)
    assert compliance_of(of_month) == count_month(windows, month, month_end, tolerance)


RANK = {"in_interval": 0, "upcoming": 1, "overdue": 2}


@bounded(60)
@given(made_logs(), st.lists(st.integers(0, 1440), min_size=25, max_size=25), st.sampled_from(["first", "last"]))
def test_more_use_never_makes_a_task_less_due(log: MadeLog, more: list[int], whichever: str) -> None:
    """More hours in any step, the same records, no window rules: every leg has used as much or more, and no standing is better."""
    tasks = [
        task("oil", every={"running_hours": 60, "calendar": "P20D"}, first={"running_hours": 15}, whichever=whichever, tolerance_pct=10),
        task("plugs", every={"running_hours": 25}, lead={"running_hours": 5}),
    ]
    rules = {
        "adjustments": [rule("heavy", {"load_pct": {"above": 90}}, counts_as=2), rule("low", {"load_pct": {"below": 30}}, counts_as=1.5)]
    }
    answers = []
    for one in (log, log.harder(more)):
        with scratch() as folder:
            engine = {"in_service": START.date().isoformat()}
            site = write_site(folder, tasks, one.rows(), services=one.records(), engine=engine, rules=rules)
            answers.append(assess(site, AS_OF))
    for less, harder in zip(answers[0].findings, answers[1].findings, strict=True):
        assert RANK[harder.standing] >= RANK[less.standing]
        for before, after in zip(less.legs, harder.legs, strict=True):
            assert before.used is not None
            assert after.used is not None
            assert after.used >= before.used - 1e-6
