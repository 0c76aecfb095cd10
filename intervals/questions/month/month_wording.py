"""The sentences of the monthly page: the verdict, and what changed since the month before.

In: findings that were already judged. Out: text. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from intervals.findings import Amount, Finding, Findings, Forecast
from intervals.questions.month.month_models import Change, VerdictKind
from intervals.questions.month.month_rules import MonthRules
from intervals.shown_numbers import amount, count_of

MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip
_VERDICTS: dict[VerdictKind, str] = {
    "needs-work": "Work is overdue",
    "needs-work-soon": "Work is past its line, all of it still inside its tolerance",
    "needs-making-good": "Nothing is overdue, but skipped work is still open",
    "needs-finding-out": "Nothing is overdue as far as is known",
    "needs-planning": "Nothing is overdue",
    "all-in-interval": "Every task is inside its interval",
}
STANDING_WORDS = {"overdue": "overdue", "upcoming": "upcoming", "in_interval": "in interval", "unknown": "unknown"}


def month_name(month: str) -> str:
    """Return a month as it is spoken.

    Example:
        >>> month_name("2026-10")
        'October 2026'
    """
    return f"{MONTH_NAMES[int(month[5:]) - 1]} {month[:4]}"


def day_name(day: date) -> str:
    """Return a day as it is spoken.

    Example:
        >>> day_name(date(2026, 10, 31))
        '31 October 2026'
    """
    return f"{day.day} {MONTH_NAMES[day.month - 1]} {day.year}"


def sentence_of(verdict: VerdictKind, findings: Findings, last_day: date) -> str:
    """Return the verdict on the whole site in one sentence."""
    totals = findings.totals
    within = sum(entry.within_tolerance for entry in findings.findings)
    parts = []
    if totals.overdue:
        inside = f" ({within} inside {'its' if within == 1 else 'their'} tolerance)" if within and verdict == "needs-work" else ""
        parts.append(f"{totals.overdue} of {count_of(len(findings.findings), 'task')} {_are(totals.overdue)} overdue{inside}")
    if totals.skipped_open:
        parts.append(f"{count_of(totals.skipped_open, 'skipped job')} {_are(totals.skipped_open)} still open")
    if totals.unknown:
        parts.append(f"the status of {count_of(totals.unknown, 'task')} is unknown")
    if totals.upcoming:
        parts.append(f"{count_of(totals.upcoming, 'task')} {_are(totals.upcoming)} coming up")
    summary = _joined(parts) if parts else f"{count_of(len(findings.findings), 'task')} judged"
    return f"{_VERDICTS[verdict]}: at the end of {day_name(last_day)}, {summary}."


def _are(number: int) -> str:
    """Return the verb that goes with a number."""
    return "is" if number == 1 else "are"


def _joined(parts: Sequence[str]) -> str:
    """Return parts as one enumeration."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def expected_of(finding: Finding) -> Forecast | None:
    """Return when an upcoming finding falls due, with its range where its line still lies ahead."""
    if finding.standing != "upcoming" or finding.due_on is None:
        return None
    ahead = finding.forecast if finding.forecast is not None and left_of(finding) is not None and finding.deferred_until is None else None
    return Forecast(on=finding.due_on, early=ahead.early if ahead else None, late=ahead.late if ahead else None)


def left_of(finding: Finding) -> Amount | None:
    """Return what is left before a finding's line, or None where it is past it or it is unknown."""
    leg = finding.governing_leg
    # what remains of a minimum is lacking
    if leg is None or leg.remaining is None or leg.remaining < 0 or finding.is_minimum:
        return None
    return Amount(value=leg.remaining, unit=leg.unit)


def changes_between(rules: MonthRules, before: Findings, now: Findings) -> Iterator[Change]:
    """Yield what became of each task since the month before, in the order of the findings."""
    was = {(entry.engine, entry.ruleset, entry.task): entry for entry in before.findings}
    here = {(entry.engine, entry.ruleset, entry.task): entry for entry in now.findings}
    for key in dict.fromkeys([*here, *was]):
        earlier, later = was.get(key), here.get(key)
        kind = rules.change_of(earlier, later)
        either = later or earlier
        if kind is None or either is None:
            continue
        yield Change(
            engine=either.engine,
            ruleset=either.ruleset,
            task=either.task,
            title=now.title_of(either),
            kind=kind,
            was=None if earlier is None else earlier.standing,
            now=None if later is None else later.standing,
            text=_change_text(earlier, later),
        )


def _change_text(was: Finding | None, now: Finding | None) -> str:
    """Return what became of a task in a few words."""
    then = "not there" if was is None else STANDING_WORDS[was.standing]
    if now is None:
        return f"was {then}, is no longer there"
    parts = [f"was {then}, is {STANDING_WORDS[now.standing]}"]
    if now.past_by is not None:
        parts.append(f"by {amount(now.past_by.value, now.past_by.unit)}")
    if now.crossed_on is not None:
        parts.append(f"since {now.crossed_on}")
    text = " ".join(parts)
    if was is not None and now.last_done is not None and now.last_done != was.last_done:
        text += f"; done on {now.last_done.at[:10]}" + (f" ({now.last_done.record})" if now.last_done.record else "")
    return text
