"""The month's compliance: every due point counted once, in the month in which it is decided.

In: the windows of every task. Out: `Occurrence` values and the month's figure. On time is decided when it is done, late when the
tolerance ends undone; how it was met is a rule of `standing_rules.MET_RULES` that fired. Everything is judged as of the month's end, so
that a later look gives the same. The figure is after SMRP metric 5.4.14 (as told): done on time / decided in the period.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import NamedTuple

from intervals.history.engine_records import Completion, DeferralRecord
from intervals.judge.deferrals import held_until_us
from intervals.judge.due_points import DuePoint, consumed_at, due_points
from intervals.judge.wording import met_text
from intervals.language.legs import rounded
from intervals.language.months import first_day_of, last_day_of
from intervals.occurrences import Compliance, MetWord, Occurrence, WeightCount
from intervals.problems import Problem, RequestProblemError
from intervals.site.model import Site
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.due_dates import calendar_crossing_us
from intervals.windows.near_lines import Visits
from intervals.windows.tolerances import share_of_interval

MET_OF_RULE: dict[str, MetWord] = {
    "met-early": "early",
    "met-late": "late",
    "met-late-deferred": "late",
    "met-on-time": "on_time",
    "met-deferred": "deferred",
    "met-pending": "pending",
}
LATE: frozenset[MetWord] = frozenset({"late", "missed"})
"""Both are late in the month's figure; a missed one was passed over."""
SECOND_US = 1_000_000
# a window that was done, all of it known, before any line was near
_BEFORE_LINES: dict[str, bool | None] = {
    "is_done": True, "is_known": True, "since_line_s": None, "since_tolerance_s": None, "since_held_s": None, "is_deferred": False,
}  # fmt: skip


@dataclass(frozen=True)
class Month:
    """A calendar month of a site: its text and its two ends as instants (the end is the next month's first moment)."""

    text: str
    start_us: int
    end_us: int

    @classmethod
    def of(cls, text: str, site: Site, not_after_us: int) -> Month:
        """Return a month, ending at the moment of judging if that is earlier.

        Raises:
            RequestProblemError: not a month, or one that has not begun at the moment of judging.
        """
        start_us = site.instant_us(first_day_of(text))
        end_us = min(site.instant_us(last_day_of(text) + timedelta(days=1)), not_after_us)
        if start_us >= not_after_us:
            raise RequestProblemError([Problem("CLI012", "--month", None, None, f"{text} has not begun at the date of judging")])
        return cls(text, start_us, end_us)

    def holds(self, at_us: int) -> bool:
        """Tell whether an instant lies in the month; its last moment, a midnight, is the next month's."""
        return self.start_us <= at_us < self.end_us


class _Look(NamedTuple):
    """A window as it stood at a month's end: what had ended it by then, and from when on that was known."""

    chain: TaskChain
    window: WindowEnd
    end_us: int
    completion: Completion | None
    known_us: int
    deferrals: tuple[DeferralRecord, ...]


class _Ends(NamedTuple):
    """The instants of a due point: its line, the end of its tolerance, and the end of what held it open."""

    line_us: int | None
    tolerance_us: int | None
    held_us: int | None


class Decided(NamedTuple):
    """How a due point was met, as it was known at a month's end; `occurrence` words it.

    Attributes:
        look: the window as it stood then.
        point: the due point.
        ends: its instants.
        met: how it was met.
        decided_us: when that was decided; None while it is not.
        missed_us: when it was passed over; None where it was not.
    """

    look: _Look
    point: DuePoint
    ends: _Ends
    met: MetWord
    decided_us: int | None
    missed_us: int | None

    @property
    def is_done(self) -> bool:
        """Whether the completion of its window was for it."""
        return self.look.completion is not None and self.missed_us is None

    @property
    def is_open(self) -> bool:
        """Whether it is late and was still not done."""
        look = self.look
        gone_us = look.chain.case.log.out_of_service_us
        is_gone = gone_us is not None and gone_us <= look.end_us
        was_open = look.window.is_open or look.end_us < look.window.end_us
        return self.met in LATE and look.completion is None and not is_gone and was_open

    @property
    def occurrence(self) -> Occurrence:
        """The same as it is printed."""
        return _occurrence(self)


def occurrences_in(chain: TaskChain, windows: Sequence[WindowEnd], months: Sequence[Month]) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of one task that belong to each of some months, with their month; nothing before the records are complete.

    What was decided in a month, and what was pending or deferred at its end. A window is looked at as it stood at each month's end.
    """
    yield from ((month, decided.occurrence) for month, decided in decided_in(chain, windows, months))


def decided_in(chain: TaskChain, windows: Sequence[WindowEnd], months: Sequence[Month]) -> Iterator[tuple[Month, Decided]]:
    """Yield what `occurrences_in` yields, not worded yet.

    Args:
        chain: the task's windows.
        windows: some of them.
        months: the months, or other spans up to whose end is looked.
    """
    for window in windows:
        known_us = _known_us(chain, window)
        asked = [month for month in months if window.start.at_us < month.end_us and month.start_us <= known_us]
        points = due_points(chain, window) if asked else []
        for month in asked:
            for decided in _decided(_look_at(chain, window, known_us, month.end_us), points, month):
                yield month, decided


def met_before_lines(chain: TaskChain, span_us: tuple[int, int]) -> Iterator[tuple[int, MetWord]]:
    """Yield when the windows ended that `TaskChain.done_before_lines` gives, and how they were met.

    Args:
        chain: the task's windows.
        span_us: from when on, and up to when they ended.
    """
    rules, since_us = chain.case.standings, chain.records_from_us
    for done in chain.done_before_lines(span_us):
        at_us = done.completion.at_us
        facts = {**_BEFORE_LINES, "share_done": done.share}
        met = MET_OF_RULE.get(rules.met.fire_one(facts)) if since_us is None or at_us >= since_us else None
        if met is not None:
            yield at_us, met


def windows_of(chain: TaskChain, visits: Visits, months: Sequence[Month], *, apart_until_us: int = 0) -> list[WindowEnd]:
    """Return the windows of a task that may have an occurrence in some of these months, and those that the list of skipped work needs.

    Args:
        chain: the task's windows.
        visits: the engine's visits.
        months: the months.
        apart_until_us: those that ended before this instant and that `met_before_lines` looks at are left out.
    """
    # a sample may have ended a window long before its result came
    start_us = months[0].start_us if chain.task.in_place_of_time is None else 0
    return list(chain.windows(visits, (start_us, months[-1].end_us), apart_until_us=apart_until_us))


def _known_us(chain: TaskChain, window: WindowEnd) -> int:
    """Return when it was known that a window had ended: its completion, of an analysis the day that its result came."""
    completion = window.completion
    if completion is None:
        return window.end_us
    analyses = chain.case.records.analyses.get(chain.task.id, ())
    came = [each.result_us for each in analyses if each.at_us == completion.at_us and each.record == completion.record]
    return max([window.end_us, *came])


def _look_at(chain: TaskChain, window: WindowEnd, known_us: int, end_us: int) -> _Look:
    """Return a window as it stood at an instant."""
    completion = window.completion if known_us < end_us else None
    if window.completion is None:
        # an engine out of service is not looked at after its end
        end_us = min(end_us, window.end_us)
    until_us = window.end_us if completion else end_us
    given = chain.case.records.deferrals.get(chain.task.id, ())
    deferrals = tuple(entry for entry in given if window.start.at_us <= entry.at_us < until_us)
    return _Look(chain, window, end_us, completion, known_us, deferrals)


def _decided(look: _Look, points: Sequence[DuePoint], month: Month) -> Iterator[Decided]:
    """Yield the due points of one window that belong to a month."""
    since_us = look.chain.records_from_us
    reached = [point for number, point in enumerate(points) if number == 0 or _is_reached(look, point)]
    for number, point in enumerate(reached):
        following = reached[number + 1] if number + 1 < len(reached) else None
        ends = _ends_of(look, point, following)
        # only the last point that was reached is the one that is done
        is_done = look.completion is not None and following is None
        rule = _met_rule(look, ends, is_done=is_done, is_first=number == 0 and following is None)
        met = MET_OF_RULE.get(rule)
        if met is None:
            continue
        decided_us = _decided_us(look, rule, ends)
        belongs_us = look.end_us - 1 if decided_us is None else decided_us
        if not month.holds(belongs_us) or (since_us is not None and belongs_us < since_us):
            continue
        missed_us = _missed_us(look, following, len(reached) - number - 1) if met == "late" else None
        if met == "late" and _is_passed(look):
            missed_us = ends.line_us
        yield Decided(look, point, ends, met if missed_us is None else "missed", decided_us, missed_us)


def _is_reached(look: _Look, point: DuePoint) -> bool:
    """Tell whether a further due point was reached: by the completion, or before the month's end."""
    at_us = point.reached_us
    return at_us is not None and (at_us <= look.window.end_us if look.completion else at_us < look.end_us)


def _ends_of(look: _Look, point: DuePoint, following: DuePoint | None) -> _Ends:
    """Return the instants of a due point: its tolerance ends when the next one is reached at the latest, and never before its line."""
    line_us = point.line_us
    if line_us is None or line_us >= (look.window.end_us if look.completion else look.end_us):
        return _Ends(None, None, None)
    known = [at for at in (point.tolerance_us, None if following is None else following.reached_us) if at is not None]
    tolerance_us = max(line_us, min(known)) if known else None
    held_us = None if tolerance_us is None else held_until_us(look.chain.case, look.deferrals, tolerance_us)
    if look.completion is not None and following is not None:
        # passed over: what held it open ends with the completion of the window at the latest
        held_us = min(at for at in (held_us, look.window.end_us) if at is not None)
    return _Ends(line_us, tolerance_us, held_us)


def _met_rule(look: _Look, ends: _Ends, *, is_done: bool, is_first: bool) -> str:
    """Put it to the rules how a due point was met."""
    at_us = look.known_us if is_done else look.end_us
    line_s, tolerance_s, held_s = (None if end is None else (at_us - end) / SECOND_US for end in ends)
    rules = look.chain.case.standings
    facts = {
        "is_done": is_done,
        "is_known": look.window.governing is not None,
        # after an event no date is too early
        "share_done": _share_done(look) if is_done and is_first and not look.chain.task.is_once else None,
        "since_line_s": line_s,
        "since_tolerance_s": tolerance_s,
        "since_held_s": held_s,
        "is_deferred": _is_deferred(look),
    }
    return rules.met.fire_one(facts)


def _share_done(look: _Look) -> float | None:
    """Return at which share of its interval a window was ended, by the leg that decides; None where no date could be too early.

    Where the task is asked for once in each calendar month, any day of the month is in time, however soon after the month before.
    """
    task = look.chain.task
    is_monthly = task.window is not None and task.window.calendar_month
    if is_monthly and any(leg.opens is not None and look.window.end_day >= leg.opens for leg in look.window.legs):
        return None
    shares = [share for leg in look.window.legs if (share := share_of_interval(leg)) is not None]
    if not shares:
        return None
    return max(shares) if task.whichever == "first" else min(shares)


def _is_deferred(look: _Look) -> bool:
    """Tell whether an approved deferral holds the window open at the month's end."""
    return held_until_us(look.chain.case, look.deferrals, look.end_us - 1) != look.end_us - 1


def _decided_us(look: _Look, rule: str, ends: _Ends) -> int | None:
    """Return when a due point was decided; None while it is not."""
    if rule == "met-late":
        return ends.held_us
    return look.known_us if rule in ("met-early", "met-on-time", "met-late-deferred") else None


def _is_passed(look: _Look) -> bool:
    """Tell whether a line that was crossed cannot be met any more: that of a planned time, as the rules say."""
    event, rules = look.window.start.event, look.chain.case.standings
    passed = 1 if event is not None and event.stands_alone else 0
    return rules.judged_once(("missed", passed), lambda: "missed" in rules.skipped_rules({"due_points_missed": float(passed)}))


def _missed_us(look: _Look, following: DuePoint | None, after: int) -> int | None:
    """Return when a due point was passed over, as the rules say; None where it was not."""
    rules = look.chain.case.standings
    if not rules.judged_once(("missed", after), lambda: "missed" in rules.skipped_rules({"due_points_missed": float(after)})):
        return None
    return None if following is None else following.reached_us


def _occurrence(decided: Decided) -> Occurrence:
    """Return one occurrence as it is printed."""
    look, point, ends, met, decided_us, missed_us = decided
    chain, window, days = look.chain, look.window, look.chain.case.days
    at_us = window.end_us if look.completion else min(look.end_us, window.end_us)
    consumed = consumed_at(chain, window, point, at_us, chain.case.ledger.edge(at_us))
    line = None if ends.line_us is None else _line_day(look, point, ends.line_us)
    return Occurrence(
        engine=chain.case.engine.id,
        ruleset=chain.case.ruleset,
        task=chain.task.id,
        weight=chain.task.weight,
        met=met,
        open=decided.is_open,
        line_on=line,
        decided_on=None if decided_us is None else days.date_of(decided_us).isoformat(),
        done_on=window.end_day.isoformat() if decided.is_done else None,
        consumed=consumed,
        deferred=bool(look.deferrals),
        text=met_text(
            chain.task.title,
            met,
            consumed=consumed,
            line_on=line,
            until=None if ends.tolerance_us is None else window.last_day_before(ends.tolerance_us, days),
            passed_on=None if missed_us is None else days.date_of(missed_us),
            is_open=decided.is_open,
            is_deferred=bool(look.deferrals),
            passed=window.start.event.text if window.start.event is not None and met == "missed" else "",
        ),
    )


def _line_day(look: _Look, point: DuePoint, line_us: int) -> str:
    """Return the last day on which a due point could be met before its line was crossed."""
    for leg in point.legs:
        if leg.line is not None and calendar_crossing_us(look.chain.case, look.chain.task, leg) == line_us:
            return leg.line.isoformat()
    return look.window.last_day_before(line_us, look.chain.case.days).isoformat()


def month_compliance(month: Month, occurrences: Iterable[Occurrence]) -> Compliance:
    """Return the month's counts and figure: on time / (on time + late); `missed` and `open` are parts of late; none counted, no figure."""
    listed = tuple(occurrences)
    met = Counter(entry.met for entry in listed)
    by_weight: dict[str, list[Occurrence]] = defaultdict(list)
    for entry in listed:
        by_weight[entry.weight].append(entry)
    counted = count_of_occurrences(listed)
    return Compliance(
        month=month.text,
        on_time=counted.on_time,
        late=counted.late,
        missed=counted.missed,
        open=counted.open,
        pending=met["pending"],
        deferred=met["deferred"],
        early=met["early"],
        figure=counted.figure,
        by_weight={weight: count_of_occurrences(entries) for weight, entries in by_weight.items()},
        occurrences=listed,
    )


def count_of_occurrences(occurrences: Sequence[Occurrence]) -> WeightCount:
    """Return the counts and the figure of some occurrences."""
    on_time = sum(entry.met == "on_time" for entry in occurrences)
    late = sum(entry.met in LATE for entry in occurrences)
    return WeightCount(
        on_time=on_time,
        late=late,
        missed=sum(entry.met == "missed" for entry in occurrences),
        open=sum(entry.open for entry in occurrences),
        figure=rounded(on_time / (on_time + late)) if on_time + late else None,
    )
