"""The sentences of a finding: what is due, by how much, since which record, under which rule; and how an occurrence was met.

In: facts that were already judged. Out: text. Nothing is decided here, and no figure is shown on the wrong side of its line.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from intervals.history.engine_records import Completion, DeferralRecord, PartialRecord
from intervals.language.conditions import Condition
from intervals.language.durations import CalendarStep
from intervals.language.legs import CALENDAR, RUNNING_HOURS
from intervals.language.phrases import fact_in_words, legs_in_words, measured_in_words, name_in_words, phrase_of
from intervals.language.result_measures import result_measure_of
from intervals.local_days import LocalDays
from intervals.occurrences import MetWord
from intervals.rules.tasks import SEVERE_DUTY, Adjustment, Task
from intervals.shown_numbers import amount, figure, figure_of
from intervals.windows.leg_states import LegState, WindowStart


def since_text(start: WindowStart) -> str:
    """Return since when a window counts, with the record: `since 2026-06-02 (services.csv:41)`."""
    if start.event is not None:
        place = f"{start.event.text}, {start.event.place}" if start.event.place else start.event.text
        return f"since {start.day.isoformat()} ({place})"
    if start.is_first_asked:
        return f"since {start.day.isoformat()}, the day from which it asks for anything"
    if start.completion is None:
        return f"since the first day {start.day.isoformat()}"
    card = f", card {start.completion.card}" if start.completion.card else ""
    return f"since {start.day.isoformat()} ({start.completion.record}{card})"


def used_text(leg: LegState, start: WindowStart) -> str:
    """Return what was used of what is allowed: `2,311 equivalent hours since 2026-06-02 (services.csv:41), allowed 2,000`."""
    used, allowed = figure_of(leg.used, leg.allowed)
    if leg.leg == CALENDAR:
        due = f", due {leg.due.isoformat()}" if leg.due else ""
        if leg.opens is not None and leg.line is not None:
            due += f", may be done from {leg.opens.isoformat()} to {leg.line.isoformat()}"
        return f"{used} {leg.unit} {since_text(start)}, allowed {allowed}{due}"
    words = leg.used_words
    if leg.leg == RUNNING_HOURS and leg.running_h is not None and leg.used is not None and abs(leg.running_h - leg.used) < 1e-6:  # noqa: PLR2004
        words = "running hours"
    carried = start.carried.get(leg.leg, 0.0)
    note = f", {_carried_text(carried)}" if carried else ""
    return f"{used} {words} {since_text(start)}{note}, allowed {allowed}"


def _carried_text(carried: float) -> str:
    """Return what the due point of the window before left to this one: hours run past it, or hours not run up to it."""
    if carried > 0:
        return f"{figure(carried)} of them carried over from the window before"
    return f"after {figure(-carried)} left over from the window before were taken off"


def overdue_text(leg: LegState, start: WindowStart) -> str:
    """Return the sentence of a task past its line."""
    return f"overdue by {amount(leg.past_by, leg.unit)}: {used_text(leg, start)}"


def inside_lead_text(leg: LegState, start: WindowStart) -> str:
    """Return the sentence of a task near its line."""
    left = "at its line" if leg.remaining == 0 else f"{amount(leg.remaining, leg.unit)} left"
    return f"upcoming, {left}: {used_text(leg, start)}"


def in_interval_text(leg: LegState, start: WindowStart) -> str:
    """Return the sentence of a task well inside its interval."""
    return f"in interval, {amount(leg.remaining, leg.unit)} left: {used_text(leg, start)}"


def before_start_text(leg: LegState, start: WindowStart) -> str:
    """Return the sentence of a task that fell due while the engine was laid up."""
    return f"before next start: fell due on {leg.due} while laid up; {used_text(leg, start)}"


def unknown_text(legs: tuple[LegState, ...]) -> str:
    """Return the sentence of a task whose standing is unknown."""
    unknown = [leg for leg in legs if not leg.is_known]
    why = "; ".join(
        dict.fromkeys(f"{_spoken(leg)}: {_expected_before(leg.expected)}{leg.why_unknown}{_left_since(leg)}" for leg in unknown)
    )
    return f"unknown: {why}" if why else "unknown"


def _left_since(leg: LegState) -> str:
    """Return, after the words that the log ended, what was left then, or an empty text."""
    if leg.left is None or leg.left < 0 or not leg.why_unknown:
        return ""
    return f" with {amount(leg.left, leg.unit)} of {amount(leg.allowed, leg.unit)} left, which may have been used since"


def no_interval_text(results: Mapping[str, Sequence[object]], *, is_outside: bool) -> str:
    """Return the sentence of a task for which results choose no interval."""
    why = "no row of its table holds" if is_outside else "its table cannot be judged"
    found = _results_text(results)
    return f"unknown: {why} at the start of its window: {found}" if found else f"unknown: {why} at the start of its window"


def chosen_text(
    legs: Mapping[str, float | CalendarStep], results: Mapping[str, Sequence[object]], number: int, when: Condition | None
) -> str:
    """Return the sentence of the interval that results chose.

    Args:
        legs: its legs.
        results: by measure the values that it can have.
        number: of the row that holds, from 0.
        when: what that row asks for; None where no row holds.
    """
    which = "as every says, since no row of its table holds" if when is None else f"by row {number + 1} of its table ({phrase_of(when)})"
    found = _results_text(results)
    return f"interval of {legs_in_words(legs, 'or')} {which}" + (f": {found} when its window began" if found else "")


def _results_text(results: Mapping[str, Sequence[object]]) -> str:
    """Return what was found: `3 failures in the last 20 attempts, latest iron ppm unknown`."""
    return ", ".join(_result_text(name, values) for name, values in results.items())


def _result_text(name: str, values: Sequence[object]) -> str:
    """Return what was found of one measure; of several possible numbers the least and the most."""
    if len(values) > 1:
        least, most = (fact_in_words(value) for value in (values[0], values[-1]))
        return f"{measured_in_words(name, values[-1]).replace(most, f'{least} to {most}', 1)} (records do not reach back further)"
    measure = result_measure_of(name)
    if not values:
        return f"{name_in_words(name) if measure is None or not measure.words else measure.words} unknown"
    if measure is not None and measure.words_of_one and values[0] == 1.0:
        return f"1 {measure.words_of_one}"
    return measured_in_words(name, values[0])


def _spoken(leg: LegState) -> str:
    """Return a leg's name in words."""
    return leg.leg.replace("_", " ")


def _expected_before(expected: date | None) -> str:
    """Return the day that was expected, before the words that say why it is unknown, or an empty text."""
    return "" if expected is None else f"expected on {expected.isoformat()}, "


def expected_gone_text(legs: Sequence[LegState], leg: LegState, start: WindowStart, ended: str) -> str:
    """Return the sentence of a task whose expected day went by after the log's end; `ended` says when that was."""
    which = f"{_spoken(leg)} " if len(legs) > 1 else ""
    left = f"{amount(leg.left, leg.unit)} of {amount(leg.allowed, leg.unit)} left"
    return f"unknown: {which}{_expected_before(leg.expected)}{ended} with {left}, counted {since_text(start)}"


def deferral_unknown_text(deferral: DeferralRecord, expected: date | None, ended: str) -> str:
    """Return the sentence of an approved deferral that may have run out since the log ended; `ended` says when that was."""
    reading = amount(deferral.until_h, "h")
    why = f"the meter may have passed {reading} since: {_expected_before(expected)}{ended}"
    return f"unknown: deferred until {_ends_of(deferral)}; {why}; approved by {deferral.approved_by} ({deferral.record})"


def deferral_text(deferral: DeferralRecord, *, ended: bool) -> str:
    """Return the sentence of an approved deferral."""
    state = "overdue: deferral has run out, it held" if ended else "upcoming: deferred"
    return f"{state} until {_ends_of(deferral)}, approved by {deferral.approved_by} ({deferral.record})"


def _ends_of(deferral: DeferralRecord) -> str:
    """Return until when a deferral holds."""
    ends = []
    if deferral.until_h is not None:
        ends.append(f"the meter passes {amount(deferral.until_h, 'h')}")
    if deferral.until_date is not None:
        ends.append(f"{deferral.until_date.isoformat()} ends")
    return " or ".join(ends)


def hourly_text(rule: Adjustment, hours_h: float) -> str:
    """Return the sentence of an hour-by-hour rule: `417 h above 90 % load count 1.5 times`."""
    return f"{amount(hours_h, 'h')} {rule.hours_in_words}"


def starts_text(rule: Adjustment, starts: float) -> str:
    """Return the sentence of a rule about starts: `42 starts with duty peaking count 8 h each`."""
    return f"{figure(starts)} starts {rule.hours_in_words}"


def window_rule_text(rule: Adjustment, values: dict[str, object]) -> str:
    """Return the sentence of a window rule that fired."""
    if rule.id == SEVERE_DUTY:
        return f"{rule.effect.in_finding}, the site's own factor: {rule.because}"
    shown = ", ".join(measured_in_words(name, value) for name, value in values.items())
    effect = rule.effect.in_finding
    return f"{effect}: {shown} ({rule.condition_in_words})" if shown else f"{effect}: {rule.condition_in_words}"


def text_of_missed(task: Task, leg: LegState, days: LocalDays, due_us: int, next_us: int) -> str:
    """Return the sentence of a missed due point."""
    return (
        f"{task.title} fell due on {days.date_of(due_us).isoformat()} and was not done before the next due point "
        f"on {days.date_of(next_us).isoformat()} ({amount(leg.recurring, leg.unit)} later)"
    )


def text_of_missed_window(task: Task, due: date, days: tuple[date, date], next_opening: date) -> str:
    """Return the sentence of a due date whose window passed; `days` are the first and the last day of that window."""
    first, last = (day.isoformat() for day in days)
    return (
        f"{task.title} fell due on {due.isoformat()} (to be done from {first} to {last}) and was not done "
        f"before the next window opened on {next_opening.isoformat()}"
    )


def text_of_early(task: Task, completion: Completion, leg: LegState) -> str:
    """Return the sentence of a completion before its window."""
    opens, line, due = ((day or date.min).isoformat() for day in (leg.opens, leg.line, leg.due))
    early = ((leg.opens or date.min) - completion.day).days
    return (
        f"{task.title} was done on {completion.day.isoformat()} ({completion.record}), "
        f"{amount(float(early), 'd')} before its window opened: due on {due}, to be done from {opens} to {line}; it counts"
    )


def text_of_left_out(task: Task, visit: str, day: date, leg: tuple[float, float, str] | None) -> str:
    """Return the sentence of a task left out of a visit."""
    share = "" if leg is None else f" with {figure_of(leg[0], leg[1])[0]} of {figure_of(leg[0], leg[1])[1]} {leg[2]} used"
    was_past = leg is not None and leg[0] > leg[1]
    since = "already past its line" if was_past else "and has since run past its line"
    return f"{task.title} was left out when the engine stopped for {visit} on {day.isoformat()}{share}, {since}"


def text_of_partial(task: Task, partial: PartialRecord) -> str:
    """Return the sentence of a job done in part."""
    note = f": {partial.note}" if partial.note else ""
    return f"{task.title} was done in part on {partial.day.isoformat()} ({partial.record}) and does not count{note}"


def met_text(  # noqa: PLR0913 - what is said of an occurrence
    title: str,
    met: MetWord,
    *,
    consumed: float | None,
    line_on: str | None,
    until: date | None,
    passed_on: date | None,
    is_open: bool,
    is_deferred: bool,
    passed: str = "",
) -> str:
    """Return the sentence of an occurrence.

    Args:
        title: of the task.
        met: how it was met.
        consumed: used / allowed when it was done, else at the month's end.
        line_on: the last day before its line.
        until: the last day of its tolerance.
        passed_on: when the next due point was reached, where this one was passed over.
        is_open: whether it was still not done at the month's end.
        is_deferred: whether a deferral was approved.
        passed: of one that a planned time passed undone, that time in words.
    """
    share = "" if consumed is None else f" at {100 * consumed:,.1f} % of its interval"
    match met:
        case "on_time":
            outcome = f"done on time{share}"
        case "early":
            outcome = f"done early{share}; it starts again, and is not counted"
        case "pending":
            outcome = f"past its line of {line_on}, still inside its tolerance, not done{share}"
        case "deferred":
            outcome = f"past its line of {line_on}, deferred, not done{share}"
        case "missed" if passed:
            outcome = f"missed, not done in time: {passed}"
        case "late" | "missed":
            outcome = _late_text(share, until, passed_on, is_open=is_open)
    return f"{title}: {outcome}" + (", under a deferral" if is_deferred and met in ("late", "missed", "on_time") else "")


def _late_text(share: str, until: date | None, passed_on: date | None, *, is_open: bool) -> str:
    """Return what is said of an occurrence that is late."""
    ended = "" if until is None else f"; its tolerance ended on {until.isoformat()}"
    if passed_on is not None:
        return f"missed{ended}, and the next due point was reached on {passed_on.isoformat()}"
    return f"late and not done{share}{ended}" if is_open else f"done late{share}{ended}"
