"""The month's compliance: what fell due, and whether it was done on time, late, not at all, or is still open.

In: the windows of every task. Out: `Occurrence` values and the month's figure. How an occurrence was met is a rule of
`standing.MET_RULES` that fired. Definition after SMRP metric 5.4.14 (as told): done on time / fell due in the period.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from intervals.findings import Compliance, Occurrence
from intervals.judge.chain import TaskChain, WindowEnd
from intervals.judge.crossings import crossing_us, leg_crossing_us
from intervals.judge.months import first_day_of, last_day_of
from intervals.judge.skipped import at_last_point, missed_of
from intervals.judge.tolerances import beyond_tolerance
from intervals.judge.windows import LegState, rounded
from intervals.problems import Problem, RequestProblemError
from intervals.site.model import Site

MetWord = Literal["on_time", "late", "missed", "open", "pending"]
MET_OF_RULE: dict[str, MetWord] = {"met-on-time": "on_time", "met-late": "late", "met-pending": "pending", "met-open": "open"}
MET_WORDS: dict[MetWord, str] = {
    "on_time": "done on time",
    "late": "done late",
    "missed": "missed",
    "open": "past its tolerance and not done",
    "pending": "past its line, inside its tolerance",
}


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
        """Tell whether an instant lies in the month; its last moment, a midnight, still does."""
        return self.start_us <= at_us < self.end_us


def occurrences_of(chain: TaskChain, windows: Sequence[WindowEnd], month: Month) -> list[Occurrence]:
    """Return the occurrences of one task that belong to a month.

    One belongs to the month it was done in, if done before its line, else to the month it crossed its line in. Missed due
    points count of their own, in the month in which the next one was reached. Of a task with a window of days around its due dates,
    what is left then is the next one: it is held against its own line.
    """
    since = chain.records_from_us
    found: list[Occurrence] = []
    for window in windows:
        if not window.legs:
            continue
        found.extend(
            _occurrence(chain, window, "missed", missed.line, missed.skipped.text, window.governing)
            for missed in missed_of(chain, window)
            if month.holds(missed.at_us) and (since is None or missed.at_us >= since)
        )
        moved = at_last_point(chain, window)
        leg = moved or window.governing
        line_us = crossing_us(chain, window) if moved is None else leg_crossing_us(chain, window, moved)
        belongs_us = line_us if line_us is not None else (window.end_us if window.completion else None)
        if belongs_us is None or not month.holds(belongs_us) or (since is not None and belongs_us < since):
            continue
        met = _met(chain, window, leg)
        if met is not None:
            line = None if line_us is None else chain.case.days.last_day_before(line_us)
            found.append(_occurrence(chain, window, met, line, _text(chain, leg, met), leg))
    return found


def _met(chain: TaskChain, window: WindowEnd, leg: LegState | None) -> MetWord | None:
    """Put it to the rules how an occurrence was met; None where no leg is known."""
    if leg is None:
        return None
    rules = chain.case.standings
    facts = {
        "is_done": window.completion is not None,
        "beyond_tolerance": beyond_tolerance(chain.task, leg),
        "waits_for_start": leg.waits_for_start,
    }
    return MET_OF_RULE[rules.only(rules.met, facts)]


def _occurrence(  # noqa: PLR0913 - what is printed of it
    chain: TaskChain, window: WindowEnd, met: MetWord, line: date | None, text: str, leg: LegState | None
) -> Occurrence:
    """Return one occurrence as it is printed."""
    deferrals = chain.case.records.deferrals.get(chain.task.id, ())
    done = met not in ("missed", "open", "pending") and window.completion is not None
    return Occurrence(
        engine=chain.case.engine.id,
        ruleset=chain.case.ruleset,
        task=chain.task.id,
        met=met,
        line_on=None if line is None else line.isoformat(),
        done_on=window.end_day.isoformat() if done else None,
        consumed=None if leg is None or leg.consumed is None else rounded(leg.consumed),
        deferred=any(window.start.at_us <= entry.at_us < window.end_us for entry in deferrals),
        text=text,
    )


def _text(chain: TaskChain, leg: LegState | None, met: MetWord) -> str:
    """Return the sentence of an occurrence."""
    share = "" if leg is None or leg.consumed is None else f" at {100 * leg.consumed:,.1f} % of its interval"
    return f"{chain.task.title}: {MET_WORDS[met]}{share}"


def month_compliance(month: Month, occurrences: Sequence[Occurrence]) -> Compliance:
    """Return the month's counts and figure: on time / (on time + late + missed + open); no occurrence, no figure."""
    counts = Counter(entry.met for entry in occurrences)
    due = counts["on_time"] + counts["late"] + counts["missed"] + counts["open"]
    return Compliance(
        month=month.text,
        on_time=counts["on_time"],
        late=counts["late"],
        missed=counts["missed"],
        open=counts["open"],
        pending=counts["pending"],
        figure=rounded(counts["on_time"] / due) if due else None,
        occurrences=tuple(occurrences),
    )
