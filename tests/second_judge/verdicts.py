"""The second judge's verdict on a site: standing, skipped work, and the figure of a month."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from tests.second_judge.budgets import judge_budgets
from tests.second_judge.chain import Chain, Leg, Window
from tests.second_judge.clock import HOUR, Instant, add, read_duration
from tests.second_judge.conditions import judge_condition, near
from tests.second_judge.duty import Weigher, attributes_of
from tests.second_judge.records import TaskRecords, offset_at, read_records
from tests.second_judge.site_folder import Plain, Record, SiteFolder, as_list, exact
from tests.second_judge.usage import Usage, build_usage

HALF = Fraction(1, 2)


@dataclass
class Verdict:
    """What the second judge says of a site."""

    findings: dict[tuple[str, str], Plain] = field(default_factory=dict)
    skipped: list[tuple[str, str, str, bool, str]] = field(default_factory=list)
    occurrences: list[tuple[Any, ...]] = field(default_factory=list)
    unsteady: set[tuple[str, str]] = field(default_factory=set)


def judge(site: SiteFolder, as_of: Instant, month: str | None = None) -> Verdict:
    """Return the verdict on a site at an instant; of a month, as-of is its end."""
    verdict = Verdict()
    for engine in site.told["engines"]:
        usage = build_usage(site, engine["id"], int(as_of))
        _judge_engine(site, usage, as_of, month, verdict)
    return verdict


def _judge_engine(site: SiteFolder, usage: Usage, as_of: Instant, month: str | None, verdict: Verdict) -> None:
    rules, name = site.rules, usage.told["id"]
    facts = attributes_of(usage.told)
    tasks = [one for one in rules["tasks"] if judge_condition(one.get("applies_to", {}), facts, {}) is not False]
    plain = Weigher(usage, site.clock, {}, "")
    records = read_records(site, name, rules["tasks"], plain, as_of)
    stopping = {task["id"] for task in tasks if task.get("stops_engine")}
    visits = sorted({at for task in tasks for at, (record, _) in records[task["id"]].done.items() if record.task in stopping})
    born = usage.born
    known_from = site.clock.read(str(usage.told.get("records_from") or site.told.get("records_from") or usage.told["in_service"]))
    for task in tasks:
        weigher = Weigher(usage, site.clock, rules, task["id"])
        cuts = {int(as_of), born, *(int(at) for one in records.values() for at in one.done)}
        chain = Chain(site.clock, rules, task, weigher, by_day(site, usage, cuts))
        mine = records[task["id"]]
        starts: list[tuple[Instant, Any, bool]] = [(at, record, new) for at, (record, new) in sorted(mine.done.items())]
        if known_from <= born:
            starts.insert(0, (born, None, True))
        case = TaskCase(site, usage, task, chain, chain.windows(starts, as_of), mine, as_of, known_from, visits)
        verdict.findings[name, task["id"]] = case.finding()
        if not chain.is_steady or (task.get("whichever") == "last" and case.is_silent()):
            verdict.unsteady.add((name, task["id"]))
        for kind, open_, at in case.skipped():
            if not isinstance(at, date) and at % 10**6 and site.clock.day(at - 10**6) != site.clock.day(at + 10**6):
                # a figure is rounded to a millionth: so near a midnight either day will do
                verdict.unsteady.add((name, task["id"]))
            day = site.clock.day(at) if not isinstance(at, date) else at
            if month is None or day.isoformat()[:7] == month:
                verdict.skipped.append((name, task["id"], kind, open_, day.isoformat()))
        if month is not None:
            verdict.occurrences += [(name, task["id"], *one) for one in case.occurrences(month)]
    for budget, finding in judge_budgets(site, usage, as_of):
        verdict.findings[name, budget] = finding


def _second(at: Instant) -> int:
    """Return an instant to the second."""
    return round(Fraction(at) / 10**6) * 10**6


def by_day(site: SiteFolder, usage: Usage, cuts: set[int]) -> list[int]:
    """Return the instants at which days begin, or are cut: inside of such a stretch what was used is spread evenly."""
    edges, day = set(cuts), site.clock.day(usage.born)
    end = max(usage.pieces[-1].end if usage.pieces else usage.born, *cuts)
    while site.clock.midnight(day) <= end:
        edges.add(site.clock.midnight(day))
        day += timedelta(days=1)
    return sorted(edges)


@dataclass
class TaskCase:
    """One task of one engine with its windows."""

    site: SiteFolder
    usage: Usage
    task: Plain
    chain: Chain
    windows: list[Window]
    records: TaskRecords
    as_of: Instant
    known_from: int
    visits: list[Instant]

    def finding(self) -> Plain:
        """Return the standing and what it rests on."""
        if not self.windows:
            return {"standing": "unknown"}
        window, at = self.windows[-1], self.as_of
        leg = window.governing(at)
        found: Plain = {
            "legs": {one.name: (near(one.used(at)) if self._is_sure(one) else None, near(one.allowed)) for one in window.legs},
            "fired": window.fired,
            "untold": near(window.untold),
            "governing": leg.name if leg.is_sure(at) and self._is_sure(leg) else None,
            "within": False,
            "crossed": None,
            "due": None,
        }
        found["standing"] = self._standing(window, found)
        return found

    def _standing(self, window: Window, found: Plain) -> str:  # noqa: PLR0911 - one return for each verdict
        at = self.as_of
        until = self.deferral(window)
        if until is not None:
            found["due"] = None
            if at <= until[0] and not until[1](at):
                return "unknown" if self._may_have_passed(window) else "upcoming"
            found["crossed"] = until[0]
            found["due"] = self.site.clock.last_day(until[0])
            return "overdue"
        past = [self._is_past(leg) for leg in window.legs]
        near_ = [self._is_near(leg) for leg in window.legs]
        known = [self._is_sure(leg) for leg in window.legs]
        if window.whichever == "first":
            if any(past):
                crossed = {leg.name: self._crossed(leg) for leg, is_past in zip(window.legs, past, strict=True) if is_past}
                found["crossed"] = min(crossed.values())
                first = next(leg for leg in window.legs if crossed.get(leg.name) == found["crossed"])
                found["due"] = first.due if first.is_calendar else self.site.clock.last_day(found["crossed"])
                found["within"] = not self._is_late(window, at)
                return "overdue"
            if any(is_near and is_sure for is_near, is_sure in zip(near_, known, strict=True)):
                return "upcoming"
            return "in_interval" if all(known) else "unknown"
        if all(past):
            found["crossed"] = max(self._crossed(leg) for leg in window.legs)
            last = next(leg for leg in window.legs if self._crossed(leg) == found["crossed"])
            found["due"] = last.due if last.is_calendar else self.site.clock.last_day(found["crossed"])
            found["within"] = not self._is_late(window, at)
            return "overdue"
        if any(is_sure and not is_near and not is_past for is_sure, is_near, is_past in zip(known, near_, past, strict=True)):
            return "in_interval"
        if all(is_sure or is_past for is_sure, is_past in zip(known, past, strict=True)):
            return "upcoming"
        return "unknown"

    def _is_late(self, window: Window, at: Instant) -> bool:
        answers = [self._is_past(leg) and leg.is_past(at, leg.tolerance) for leg in window.legs]
        return any(answers) if window.whichever == "first" else all(answers)

    def _lay_up_of(self, at: Instant) -> tuple[Instant, Instant] | None:
        if self.task.get("in_lay_up") == "counts":
            return None
        for one in as_list(self.usage.told.get("laid_up")):
            begin, end = self.site.clock.read(one["from"]), self.site.clock.read(one["to"])
            if begin < at <= end:
                return begin, end
        return None

    def _crossing(self, leg: Leg, further: Fraction, tolerance: Fraction) -> Instant | None:
        """Return when a tolerance ends: what falls due while the engine is laid up is due before the next start."""
        line = leg.crossing(further)
        ends = leg.crossing(further + tolerance)
        if leg.is_calendar and line is not None and self._lay_up_of(line):
            start = self.chain.weigher.hours.passes(line, Fraction(0))
            return None if start is None or ends is None else max(start, ends)
        return ends

    def _crossed(self, leg: Leg) -> Instant:
        at = leg.crossing()
        assert at is not None
        lay_up = self._lay_up_of(at) if leg.is_calendar else None
        if lay_up:
            start = self.chain.weigher.hours.passes(at, Fraction(0))
            return start if start is not None else Fraction(10**18)
        return at

    def _is_past(self, leg: Leg) -> bool:
        if not leg.is_past(self.as_of) or leg.missing:
            return False
        if not leg.is_told(self.as_of):
            return False
        return not leg.is_calendar or self._crossed(leg) < self.as_of or not self._lay_up_of(leg.crossing() or 0)

    def _is_near(self, leg: Leg) -> bool:
        if leg.opens:
            told = self.task.get("lead", {}).get("calendar")
            half = leg.due - timedelta(days=(leg.due - leg.first_day).days // 2)
            begins = max(add(leg.due, read_duration(told), -1), half) if told else leg.opens
            return bool(self.site.clock.last_day(self.as_of) >= begins)
        remaining = near(leg.allowed) - leg.used(self.as_of)
        told = self.task.get("lead", {})
        lead = leg.allowed / 10
        if leg.name in told:
            if leg.is_calendar:
                assert leg.line is not None
                lead = Fraction((leg.line - add(leg.line, read_duration(told["calendar"]), -1)).days)
            else:
                lead = exact(told[leg.name])
        return remaining <= near(min(lead, leg.allowed / 2))

    def _is_sure(self, leg: Leg) -> bool:
        if not leg.is_known(self.as_of):
            return leg.is_told(self.as_of) and leg.is_past(self.as_of)
        if leg.name in ("calendar", "elapsed_hours") or not self.is_silent() or leg.is_past(self.as_of):
            return True
        since = Fraction(self._silence()) / HOUR
        return leg.name == "running_hours" and near(leg.allowed - leg.used(self.as_of)) > since

    def is_silent(self) -> bool:
        """Return whether the log fell silent before the moment of judging."""
        gap = exact(self.usage.told.get("gap_h") or as_list(self.site.told["readings"])[0].get("gap_h", 36)) * HOUR
        return self.usage.log_end is not None and self._silence() > gap

    def _silence(self) -> Instant:
        """Return how long the log has been silent, lay-ups left out."""
        end = self.usage.log_end
        silent: Instant = self.as_of - end
        for one in as_list(self.usage.told.get("laid_up")):
            begin, back = self.site.clock.read(one["from"]), self.site.clock.read(one["to"])
            silent -= max(0, min(back, self.as_of) - max(begin, end))
        return silent

    def deferral(self, window: Window) -> Any:  # noqa: ANN401 - plain data of a YAML file
        """Return until when the window's occurrence is put off, and whether the meter is past it; None without a deferral."""
        mine = [one for at, one in self.records.deferred if window.start <= at and (not window.closed or at < window.end)]
        if not mine:
            return None
        return self._held_until(mine[-1]), (lambda at: False)

    def _may_have_passed(self, window: Window) -> bool:
        """Return whether the meter may have passed the end of a deferral since the log ended."""
        last = [one for at, one in self.records.deferred if window.start <= at][-1]
        if last.until_h is None or not self.is_silent() or not self.usage.readings:
            return False
        goal = last.until_h + offset_at(self.site, self.usage.told, last.at)
        first_at, first = self.usage.readings[0]
        left = goal - first - self.chain.weigher.hours.between(first_at, self.as_of)
        return near(left) <= Fraction(self._silence()) / HOUR

    def _held_until(self, last: Record) -> Instant:
        ends: list[Instant] = []
        if last.until_date:
            ends.append(self.site.clock.midnight(date.fromisoformat(last.until_date) + timedelta(days=1)))
        hours = self.chain.weigher.hours
        if last.until_h is not None:
            goal = last.until_h + offset_at(self.site, self.usage.told, last.at)
            if self.usage.readings:
                first_at, first = self.usage.readings[0]
                passed = hours.passes(first_at, goal - first)
                if passed is not None:
                    ends.append(passed)
        return min(ends) if ends else Fraction(10**18)

    def skipped(self) -> Iterator[tuple[str, bool, Any]]:
        """Yield what was skipped: its kind, whether it is open, and its instant or day."""
        for window in self.windows:
            yield from self._missed(window)
            yield from self._left_out(window)
            if window.closed and self._is_too_early(window):
                after = [one for one in self.records.done if one > window.end]
                if self.known_from <= window.end:
                    yield "too_early", not after, window.end
        for at, _ in self.records.partial:
            if at >= self.known_from:
                yield "not_credited", not any(one > at for one in self.records.done), at

    def _is_too_early(self, window: Window) -> bool:
        own = self.records.done[window.end][0].task == self.task["id"]
        return own and bool(self.task.get("window")) and self.chain.is_early(window)

    def _missed(self, window: Window) -> Iterator[tuple[str, bool, Any]]:
        leg = window.governing(window.end)
        if not leg.is_sure(window.end):
            return
        for number in range(1, len(leg.points(window.end, window.closed))):
            at = leg.reached_at(number)
            if at is not None and at >= self.known_from:
                yield "missed", not window.closed, at

    def _left_out(self, window: Window) -> Iterator[tuple[str, bool, Any]]:
        if not window.is_past(window.end):
            return
        clock, nearly = self.site.clock, 1 - exact(self.task.get("early_pct", 10)) / 100
        days = self.task.get("visit_days", 3)
        chosen = None
        for visit in self.visits:
            if not window.start < visit < window.end or visit < self.known_from:
                continue
            if window.closed and (clock.day(window.end) - clock.day(visit)).days <= days:
                continue
            if window.record is not None and (clock.day(visit) - clock.day(window.start)).days <= days:
                continue
            if self._nearly_due(window, visit, nearly):
                chosen = clock.day(visit)
        if chosen:
            yield "left_out", not window.closed, chosen

    def _nearly_due(self, window: Window, visit: Instant, nearly: Fraction) -> bool:
        day = self.site.clock.day(visit)
        consumed = []
        for leg in window.legs:
            if leg.opens:
                return bool(day >= leg.opens)
            share = Fraction((day - leg.first_day).days) / leg.allowed if leg.is_calendar else leg.consumed(visit)
            if leg.is_calendar or leg.is_known(visit):
                consumed.append(near(share))
        if not consumed:
            return False
        return (max(consumed) if window.whichever == "first" else min(consumed)) >= nearly

    def occurrences(self, month: str) -> Iterator[tuple[Any, ...]]:
        """Yield what is listed of a month: how it was met, whether it is open, its line, and when it was decided and done."""
        for window in self.windows:
            for met, open_, line, decided, done in self._met(window):
                if decided is not None and self.site.clock.day(_second(decided)).isoformat()[:7] != month:
                    continue
                if decided is None and window.closed:
                    continue
                if (self.as_of - 1 if decided is None else decided) < self.known_from:
                    continue
                yield met, open_, line, self._day(decided), self._day(done)

    def _day(self, at: Instant | None) -> str | None:
        return None if at is None else self.site.clock.day(_second(at)).isoformat()

    def _met(self, window: Window) -> Iterator[tuple[Any, ...]]:  # noqa: C901 - one case after the other
        end = window.end
        leg = window.governing(end)
        count = self._count(window)
        for number in range(count - 1):
            decided = self._tolerance_end(window, leg, number)
            if decided is None:
                continue
            # the next one came first, and never before the line
            following = self._reached(window, number + 1)
            lines = [
                self._crossing(one, self.chain.further_line(one, number), Fraction(0))
                for one in window.legs
                if one.is_sure(end) and one.has(number)
            ]
            crossed = min((one for one in lines if one is not None), default=None)
            if following is not None and crossed is not None:
                decided = max(crossed, min(decided, following))
            held = self._decided(window, decided)
            if window.closed or held < end:
                yield "missed", not window.closed, None, min(held, end), None
            else:
                yield "deferred", False, None, None, None
        number = max(count - 1, 0)
        if not leg.is_sure(end):
            return
        if window.closed and self._share(window) < HALF:
            yield "early", False, None, end, end
            return
        tolerance_end = self._tolerance_end(window, leg, number)
        # figures meet a line to a millionth of an hour
        late = tolerance_end is not None and tolerance_end + 4000 < end
        decided = self._decided(window, tolerance_end if tolerance_end is not None and late else end)
        if window.closed:
            if late:
                yield "late", False, None, min(decided, end), end
            else:
                yield "on_time", False, None, end, end
            return
        if late and decided < end:
            yield "late", True, None, decided, None
        elif self._is_past_point(window, leg, number):
            yield ("deferred" if decided > end or late else "pending"), False, None, None, None

    def _reached(self, window: Window, number: int) -> Instant | None:
        found = [one.reached_at(number) for one in window.legs if one.is_sure(window.end) and one.has(number)]
        if window.whichever == "first":
            return min((one for one in found if one is not None), default=None)
        return None if None in found else max(one for one in found if one is not None)

    def _count(self, window: Window) -> int:
        """Return how many due points of all legs together were reached; one that use reaches as the month ends is the next month's."""
        counts = []
        for leg in window.legs:
            if leg.is_sure(window.end):
                points = leg.points(window.end, window.closed)
                reached = leg.reached_at(len(points) - 1)
                last = not window.closed and not leg.is_calendar and len(points) > 1 and (reached is None or reached >= window.end)
                counts.append(len(points) - last)
        return (max(counts) if window.whichever == "first" else min(counts)) if counts else 0

    def _still_waits(self, leg: Leg) -> bool:
        """Return whether what fell due in a lay-up waits for the next start."""
        line = leg.crossing() if leg.is_calendar else None
        return line is not None and self._lay_up_of(line) is not None and self._crossed(leg) >= self.as_of

    def _share(self, window: Window) -> Fraction:
        """Return what was used as a share of what is allowed up to the due point itself."""
        known = [leg for leg in window.legs if leg.is_sure(window.end) and leg.point(0) > 0]
        shares = [leg.used(window.end) / leg.point(0) for leg in known]
        if not shares or (self.task.get("window", {}).get("calendar_month") and self.site.clock.day(window.end) >= window.legs[0].opens):
            return Fraction(1)
        return max(shares) if window.whichever == "first" else min(shares)

    def _is_past_point(self, window: Window, leg: Leg, number: int) -> bool:
        if number == 0:
            past = [one.is_told(window.end) and one.is_past(window.end) and not self._still_waits(one) for one in window.legs]
            return any(past) if window.whichever == "first" else all(past)
        legs = [
            one.is_sure(window.end) and one.used(window.end) > near(one.point(number) + one.allowed - one.point(0)) for one in window.legs
        ]
        return any(legs) if window.whichever == "first" else all(legs)

    def _decided(self, window: Window, at: Instant) -> Instant:
        """Return when a tolerance that ends at an instant is decided: a deferral that was written before holds it open."""
        for when, record in self.records.deferred:
            if window.start <= when <= at:
                at = max(at, self._held_until(record))
        return at

    def _tolerance_end(self, window: Window, leg: Leg, number: int) -> Instant | None:
        legs = [one for one in window.legs if one.is_sure(window.end)]
        if window.whichever == "last" and len(legs) < len(window.legs):
            return None
        found = [
            self._crossing(one, self.chain.further_line(one, number), self.chain.tolerance(one, number)) for one in legs if one.has(number)
        ]
        if window.whichever == "first":
            return min((one for one in found if one is not None), default=None)
        return None if None in found else max(one for one in found if one is not None)
