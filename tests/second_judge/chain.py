"""The windows of a task, one after the other: what restarted it, its legs, and where the next window starts."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from tests.second_judge.clock import HOUR, Clock, Duration, Instant, add, read_duration
from tests.second_judge.conditions import judge_condition, near
from tests.second_judge.duty import Track, Weigher, attributes_of, names_asked
from tests.second_judge.site_folder import Plain, as_list, exact
from tests.second_judge.usage import pieces_between

MEASURES = (
    "mean_",
    "average_power_pct",
    "starts_per_100h",
    "hours_share_pct",
    "days_since",
    "running_hours_per_day",
    "month",
    "age_years",
    "total_hours_h",
    "oil_consumption",
)


@dataclass
class Leg:
    """One leg of a window. A leg of use counts from `carried`; a calendar leg counts days from `first_day`, and alone has days."""

    name: str
    start: Instant
    allowed: Fraction
    further: list[Fraction] = field(default_factory=list)  # the intervals after the first, the last one again and again
    carried: Fraction = Fraction(0)
    track: Track | None = None
    even: Track | None = None  # the same, spread evenly over each day
    beyond: Track | None = None
    clock: Any = None
    first_day: Any = None
    due: Any = None
    line: Any = None
    opens: Any = None
    tolerance: Fraction = Fraction(0)
    anchor: Any = None
    grid: list[date] = field(default_factory=list)
    steps: list[Duration] = field(default_factory=list)
    window: Any = None
    start_anchor: Any = None
    done_at: Instant | None = None
    missing: bool = False

    @property
    def is_calendar(self) -> bool:
        """Whether it counts local days."""
        return self.name == "calendar"

    def used(self, at: Instant) -> Fraction:
        """Return what is used at an instant, as far as it is known: a job is done on its day."""
        if self.is_calendar:
            last = self.clock.day(at) if at == self.done_at else self._last_day(at)
            return Fraction((last - self.first_day).days)
        return near(self.carried + self.track.between(self.start, at)) if self.track else Fraction(0)

    def _last_day(self, at: Instant) -> date:
        last: date = max(self.clock.last_day(at), self.first_day)
        return last

    def is_known(self, at: Instant) -> bool:
        """Return whether all that it needs is told."""
        if self.missing:
            return False
        if self.is_calendar:
            return True
        fine = self.track is not None and self.track.is_known(self.start, at)
        return fine and (self.beyond is None or self.beyond.is_known(self.start, at))

    def is_sure(self, at: Instant) -> bool:
        """Return whether it is known, or past its line by what is known."""
        return self.is_known(at) or (self.is_told(at) and self.is_past(at))

    def is_told(self, at: Instant) -> bool:
        """Return whether all that it used is told, hours beyond a table apart."""
        return not self.missing and (self.is_calendar or (self.track is not None and self.track.is_known(self.start, at)))

    def is_past(self, at: Instant, tolerance: Fraction = Fraction(0)) -> bool:
        """Return whether it is past its line, and past so much tolerance."""
        return self.used(at) > near(self.allowed + tolerance)

    def consumed(self, at: Instant) -> Fraction:
        """Return the share used."""
        return near(self.used(at) / self.allowed) if self.allowed else Fraction(10**9 if self.used(at) > 0 else 0)

    def crossing(self, more: Fraction = Fraction(0)) -> Instant | None:
        """Return when it goes past its line, or so much past it."""
        if self.is_calendar:
            days = int((self.allowed + more) // 1) + 1
            after: int = self.clock.midnight(self.first_day + timedelta(days=days))
            return after
        return self.even.passes(self.start, self.allowed + more - self.carried) if self.even else None

    def points(self, at: Instant, closed: bool = False) -> list[Fraction]:
        """Return the due points, as what is used there, that are reached at an instant: a job is done on its day."""
        found = []
        if self.window:
            last = self.clock.day(at) if closed else self._last_day(at)
            return [self.point(number) for number in range(len(self.grid)) if number == 0 or self.opening(number) <= last]
        point, number, used = self._base(), 0, self.used(at)
        if self.is_calendar and closed:
            used = Fraction((self.clock.day(at) - self.first_day).days)
        while point <= used and number < 2000:
            found.append(point)
            number += 1
            if self.is_calendar and number >= len(self.grid):
                break
            point = self.point(number)
        return found

    def _base(self) -> Fraction:
        return Fraction((self.due - self.first_day).days) if self.is_calendar else self.allowed

    def point(self, number: int) -> Fraction:
        """Return the due point of a number, the first being 0, as what is used there."""
        if self.is_calendar:
            return Fraction((self.grid[min(number, len(self.grid) - 1)] - self.first_day).days)
        point = self.allowed
        for step in range(number):
            point += self.further[min(step, len(self.further) - 1)]
        return point

    def has(self, number: int) -> bool:
        """Return whether it knows a due point of a number."""
        return not self.is_calendar or number < len(self.grid)

    def opening(self, number: int) -> date:
        """Return the day on which the window of a due point opens."""
        due = self.grid[number]
        return due.replace(day=1) if self.window.get("calendar_month") else add(due, read_duration(self.window["before"]), -1)

    def reached_at(self, number: int) -> Instant | None:
        """Return when a due point is reached."""
        if self.is_calendar:
            begins: int = self.clock.midnight(self.opening(number) if self.window else self.grid[number])
            return begins
        return self.even.reaches(self.start, self.point(number) - self.carried) if self.even else None


def _after(day: date, anchor: date, span: Duration) -> date:
    """Return the first day of a grid after a day."""
    longest = 366 * span.years + 31 * span.months + span.days
    times = max(1, (day - anchor).days // longest)
    while add(anchor, span, times) <= day:
        times += 1
    return add(anchor, span, times)


@dataclass
class Window:
    """From one completion to the next, or to as-of."""

    start: Instant
    end: Instant
    closed: bool
    record: Any
    legs: list[Leg]
    index: int | None
    whichever: str
    fired: set[str] = field(default_factory=set)
    untold: Fraction = Fraction(0)
    unknown: bool = False
    early: bool = False

    def governing(self, at: Instant) -> Leg:
        """Return the leg that decides."""
        known = [leg for leg in self.legs if leg.is_sure(at)] or self.legs
        best = known[0]
        for leg in known[1:]:
            if self.whichever == "first" and leg.consumed(at) > best.consumed(at):
                best = leg
            if self.whichever == "last" and leg.consumed(at) < best.consumed(at):
                best = leg
        return best

    def is_past(self, at: Instant, with_tolerance: bool = False) -> bool:
        """Return whether it is past its line, or past its tolerance."""
        answers = [leg.is_told(at) and leg.is_past(at, leg.tolerance if with_tolerance else Fraction(0)) for leg in self.legs]
        return any(answers) if self.whichever == "first" else all(answers)

    def crossing(self, with_tolerance: bool = False) -> Instant | None:
        """Return when it goes past its line, or its tolerance."""
        found = [leg.crossing(leg.tolerance if with_tolerance else Fraction(0)) for leg in self.legs]
        if self.whichever == "first":
            return min((one for one in found if one is not None), default=None)
        return None if None in found else max(one for one in found if one is not None)


class Chain:
    """The windows of one task of one engine."""

    def __init__(self, clock: Clock, rules: Plain, task: Plain, weigher: Weigher, edges: list[int]) -> None:
        self.clock, self.rules, self.task, self.weigher = clock, rules, task, weigher
        self.edges = edges
        self.engine = weigher.usage.told
        self.series = task.get("first") or []
        if isinstance(self.series, dict):
            self.series = [self.series]
        self.is_steady = not isinstance(task["every"], list) and not any(
            name.startswith(MEASURES) for one in weigher.windowed for name in names_asked(one["when"], rules.get("conditions", {}))
        )

    def windows(self, starts: list[tuple[Instant, Any, bool]], as_of: Instant) -> list[Window]:
        """Return the windows from each start on: its instant, its record, and whether it makes new."""
        found: list[Window] = []
        index: int | None = None
        carry: dict[str, Any] = {}
        for number, (at, record, new) in enumerate(starts):
            end = starts[number + 1][0] if number + 1 < len(starts) else as_of
            if new:
                index, carry = 0, {}
            window = self.window(at, end, number + 1 < len(starts), record, index, carry)
            found.append(window)
            if window.closed:
                carry = self._next(window)
                if index is not None:
                    index += max(1, len(window.governing(window.end).points(window.end, closed=True))) if carry else 1
        return found

    def window(self, start: Instant, end: Instant, closed: bool, record: Any, index: int | None, carry: dict[str, Any]) -> Window:  # noqa: ANN401 - plain data of a YAML file
        """Return one window with its legs as they are at its end."""
        every = self._in_force(end)
        window = Window(start, end, closed, record, [], index, self.task.get("whichever", "first"))
        factor, becomes, window.fired, window.unknown = self._window_rules(start, end)
        window.fired |= self.weigher.fired_hourly(start, end)
        window.untold = self.weigher.untold.between(start, end)
        for name, base in every.items():
            entries = [self._entry(name, base, index, step, becomes) for step in range(len(self.series) + 2)]
            leg = self._calendar(name, start, end, entries, carry) if name == "calendar" else self._use(name, start, entries, factor, carry)
            leg.tolerance = self.tolerance(leg, 0)
            leg.missing = window.unknown
            leg.done_at = end if closed else None
            window.legs.append(leg)
        return window

    def _in_force(self, end: Instant) -> Plain:
        every = self.task["every"]
        if isinstance(every, dict):
            return every
        day = self.clock.last_day(end).isoformat()
        chosen = [one for one in every if one.get("in_force_from", "0000") <= day][-1]
        return {key: value for key, value in chosen.items() if key not in ("in_force_from", "source")}

    def _entry(self, name: str, base: Any, index: int | None, step: int, becomes: list[Plain]) -> list[Any]:  # noqa: ANN401 - plain data of a YAML file
        """Return the values that bid for an interval: the shortest of them counts."""
        bids = [one[name] for one in becomes if name in one]
        if index is not None and index + step < len(self.series) and name in self.series[index + step]:
            bids.append(self.series[index + step][name])
        return bids or [base]

    def _use(self, name: str, start: Instant, entries: list[list[Any]], factor: Fraction, carry: dict[str, Any]) -> Leg:
        lengths = [min(exact(bid) for bid in bids) * factor for bids in entries]
        track = (
            self.weigher.equivalent
            if name == "running_hours"
            else self.weigher.elapsed
            if name == "elapsed_hours"
            else self.weigher.amounts.get(name)
        )
        even = track.evened(self.edges) if track is not None else None
        beyond = self.weigher.beyond if name == "running_hours" else None
        return Leg(name, start, lengths[0], lengths[1:], carry.get(name, Fraction(0)), track, even, beyond)

    def _calendar(self, name: str, start: Instant, end: Instant, entries: list[list[Any]], carry: dict[str, Any]) -> Leg:
        day = self.clock.day(start)
        anchor, met = carry.get(name, (day, day))
        start_anchor = anchor
        span = [[read_duration(bid) for bid in bids] for bids in entries]
        grid: list[date] = []
        until = self.clock.day(end) + timedelta(days=70)
        for number in range(2000):
            if number > 4 and grid[-1] > until:
                break
            if number < len(span) and span[number] != span[-1]:
                anchor = min(add(grid[-1] if grid else met, one) for one in span[number])
                grid.append(anchor)
            else:
                before = grid[-1] if grid else max(met, day)
                day_after = min(_after(before, anchor, one) for one in span[-1])
                while grid and self._waits(day_after):
                    day_after = min(_after(day_after, anchor, one) for one in span[-1])
                grid.append(day_after)
        due = grid[0]
        told = self.task.get("window")
        line, opens = self._line(due), None
        if told:
            opens = due.replace(day=1) if told.get("calendar_month") else add(due, read_duration(told["before"]), -1)
        leg = Leg(name, start, Fraction((line - day).days), clock=self.clock, first_day=day, due=due, line=line, opens=opens)
        leg.anchor, leg.grid, leg.steps = anchor, grid, [min(bids, key=lambda one: add(day, one)) for bids in span]
        leg.window, leg.start_anchor = told, start_anchor
        return leg

    def _waits(self, due: date) -> bool:
        """Return whether a due date's last day lies in a lay-up."""
        if self.task.get("in_lay_up") == "counts":
            return False
        line = self._line(due).isoformat()
        return any(one["from"] <= line < one["to"] for one in as_list(self.engine.get("laid_up")))

    def further_line(self, leg: Leg, number: int) -> Fraction:
        """Return how far beyond the first one's the line of a due point lies."""
        if not leg.is_calendar:
            return leg.point(number) - leg.point(0)
        return Fraction((self._line(leg.grid[number]) - leg.line).days)

    def _line(self, due: date) -> date:
        told = self.task.get("window")
        if told and told.get("calendar_month"):
            return add(due.replace(day=1), Duration(months=1)) - timedelta(days=1)
        return add(due, read_duration(told["after"])) if told else due

    def tolerance(self, leg: Leg, number: int) -> Fraction:
        """Return the tolerance of a due point of a leg."""
        interval = leg.allowed if number == 0 else leg.point(number) - leg.point(number - 1)
        if leg.is_calendar and number > 0:
            interval = Fraction((leg.grid[number] - add(leg.grid[number], leg.steps[-1], -1)).days)
        if leg.window and number == 0:
            interval = Fraction((leg.due - leg.first_day).days)
        told = self.task.get("tolerance", {})
        bounds = []
        pct = told.get("pct", self.task.get("tolerance_pct"))
        if pct is not None:
            bounds.append(interval * exact(pct) / 100)
        if leg.name in told:
            if leg.is_calendar:
                bounds.append(Fraction((add(leg.line, read_duration(told["calendar"])) - leg.line).days))
            else:
                bounds.append(exact(told[leg.name]))
        if not bounds:
            return Fraction(0)
        bound = min(bounds)
        if leg.is_calendar:
            rounding = told.get("rounding")
            bound = (
                Fraction(
                    bound.__floor__()
                    if rounding == "inward"
                    else bound.__ceil__()
                    if rounding == "outward"
                    else (bound + Fraction(1, 2)).__floor__()
                )
                if rounding
                else bound
            )
        return bound

    def _window_rules(self, start: Instant, end: Instant) -> tuple[Fraction, list[Plain], set[str], bool]:
        named = self.rules.get("conditions", {})
        factor, becomes, fired, unknown = Fraction(1), [], set(), False
        for one in self.weigher.windowed:
            facts = attributes_of(self.engine) | self._measures(start, end, one)
            answer = judge_condition(one["when"], facts, named)
            if answer is None:
                answer = one.get("when_unknown") == "holds"
            if not answer:
                continue
            fired.add(one["id"])
            if "interval_times" in one:
                factor *= exact(one["interval_times"])
            if "interval_becomes" in one:
                becomes.append(one["interval_becomes"])
            unknown = unknown or "unknown" in one
        severe = self.engine.get("severe_duty")
        if severe and (severe["tasks"] == "all" or self.task["id"] in severe["tasks"]):
            factor *= exact(severe["interval_times"])
        limits = self.weigher.limits
        if "interval_times_at_least" in limits:
            factor = max(factor, exact(limits["interval_times_at_least"]))
        if "interval_times_at_most" in limits:
            factor = min(factor, exact(limits["interval_times_at_most"]))
        return factor, becomes, fired, unknown

    def _measures(self, start: Instant, end: Instant, rule: Plain) -> Plain:
        weigher = self.weigher
        last = self.clock.last_day(end)
        log_end = weigher.usage.log_end
        if log_end is not None:
            end = max(start, min(end, log_end))
        hours = weigher.hours.between(start, end) if weigher.hours.is_known(start, end) else None
        days = (max(last, self.clock.day(start)) - self.clock.day(start)).days
        facts: Plain = {"days_since": Fraction(days), "month": Fraction(last.month)}
        if end > start:
            facts["running_hours_per_day"] = weigher.hours.between(start, end) / (Fraction(end - start) / (24 * HOUR))
        starts = weigher.amounts.get("starts")
        if starts and hours and starts.is_known(start, end):
            facts["starts_per_100h"] = starts.between(start, end) * 100 / hours
        inside = pieces_between(weigher.pieces, start, end)
        known = Fraction(str(rule.get("known_share_at_least", 0.5)))
        total = sum(((piece.hours or 0) * share for piece, share in inside), Fraction(0))
        for name in {key for piece, _ in inside for key in piece.levels}:
            held = [(piece.levels.get(name), (piece.hours or 0) * share) for piece, share in inside]
            sure = sum((h for v, h in held if v is not None), Fraction(0))
            if total and sure / total >= known and hours is not None:
                facts[f"mean_{name}"] = sum((v * h for v, h in held if v is not None), Fraction(0)) / sure
        for name, when in self.rules.get("conditions", {}).items():
            answers = [
                (judge_condition(when, attributes_of(self.engine) | piece.levels, self.rules["conditions"]), (piece.hours or 0) * share)
                for piece, share in inside
            ]
            sure = sum((h for v, h in answers if v is not None), Fraction(0))
            if total and sure / total >= known and hours is not None:
                facts[f"hours_share_pct.{name}"] = sum((h for v, h in answers if v), Fraction(0)) * 100 / sure
        return facts

    def is_on_time(self, window: Window, leg: Leg) -> bool:
        """Return whether a window was closed within tolerance of its due point, before or after."""
        used = leg.used(window.end)
        if leg.opens:
            return bool(leg.opens <= self.clock.day(window.end) and self.clock.last_day(window.end) <= leg.line)
        return abs(used - near(leg.allowed)) <= near(leg.tolerance)

    def _next(self, window: Window) -> dict[str, Any]:
        """Return what the legs of the next window start from."""
        leg = window.governing(window.end)
        passed = len(leg.points(window.end, closed=True))
        restarts = self.task.get("restarts_from", "done")
        late = window.is_past(window.end)
        early = self.is_early(window)
        keeps = (
            restarts == "due"
            or (restarts == "due_if_on_time" and self.is_on_time(window, leg))
            or (restarts == "due_if_late" and late)
            or (restarts == "due_unless_early" and not early)
        )
        if not leg.is_sure(window.end):
            return {}
        if not keeps:
            after = self.task.get("early_restarts_after")
            if restarts == "due_unless_early" and after and leg.is_calendar:
                moved = min(add(self.clock.day(window.end), read_duration(after)), leg.due)
                return {"calendar": (moved, moved)}
            return {}
        if leg.is_calendar:
            number = max(passed, 1)
            return {"calendar": (leg.anchor if leg.anchor <= leg.grid[number - 1] else leg.start_anchor, leg.grid[number - 1])}
        carried = leg.used(window.end) - leg.allowed
        step = 0
        while carried >= leg.further[min(step, len(leg.further) - 1)]:
            carried -= leg.further[min(step, len(leg.further) - 1)]
            step += 1
        return {leg.name: carried}

    def is_early(self, window: Window) -> bool:
        """Return whether a window was closed before its window and tolerance began."""
        leg = window.governing(window.end)
        if leg.opens:
            return bool(self.clock.day(window.end) < leg.opens)
        return leg.used(window.end) < near(leg.allowed - leg.tolerance)
