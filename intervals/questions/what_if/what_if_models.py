"""What would have been under other rules, as models: the past and today of each task, before and after.

In: plain values from `what_if`. Out: frozen models; `reports/what_if/what_if_table.py` draws them and `reports/document.py` prints them as
`intervals.what-if/2`.
"""

from __future__ import annotations

from typing import Literal

from intervals.documents import Frozen
from intervals.findings import RecordsWarning, RuleSetUsed, StandingWord, Totals


class Past(Frozen):
    """How a task went as far as the records reach back.

    `done` jobs; `intervals_used`: how many jobs the use was worth, used / allowed of every window, and past its line full intervals;
    `fell_due`: how often the line was reached; `late`: due points whose tolerance ended undone, as a month's figure
    counts them; `missed`: those of them that were passed over; `overdue_h`: running hours run past a line; `overdue_d`: days past one.
    """

    done: int
    intervals_used: float
    fell_due: int
    late: int
    missed: int
    overdue_h: float
    overdue_d: float


class Judged(Frozen):
    """One task under one set of rules: its past, how it stands, how long its interval lasts, how often it comes in a year."""

    standing: StandingWord
    within_tolerance: bool
    used: float | None
    allowed: float | None
    unit: str | None
    due_on: str | None
    past: Past | None
    lasts_h: float | None
    per_year: float | None


class Compared(Frozen):
    """One task before and after; None where the rules do not have it for this engine.

    `ruleset` is that of the rules as they are, or where only the changed ones have the task, one of those.
    """

    engine: str
    ruleset: str
    task: str
    title: str
    before: Judged | None
    after: Judged | None

    @property
    def is_changed(self) -> bool:
        """Whether anything is different."""
        return self.before != self.after


class EngineStops(Frozen):
    """The stops of one engine in the year ahead, its visits while it runs, and how often a task is done late at one of them."""

    engine: str
    stops: int
    visits: int
    late: int


class StopsAhead(Frozen):
    """The stops of a site in the year ahead under one set of rules, as `intervals plan` would place them from nothing, by weeks.

    `without_day`: tasks that the plan has no day for. `status` and `gap` are those of the plan: whether it is proved that none is better,
    and by what share the first aim that is not proved could at most be better.
    """

    stops: int
    visits: int
    late: int
    without_day: int
    status: Literal["optimal", "best so far"]
    gap: float
    engines: tuple[EngineStops, ...]


class StopsCompared(Frozen):
    """The stops from the day after that of judging until a year later, under the rules as they are and under changed ones."""

    until: str
    before: StopsAhead
    after: StopsAhead


class WhatIf(Frozen):
    """A site under its own rules and under changed ones."""

    site: str
    as_of: str
    changes: tuple[str, ...]
    rulesets_before: tuple[RuleSetUsed, ...]
    rulesets_after: tuple[RuleSetUsed, ...]
    totals_before: Totals
    totals_after: Totals
    tasks: tuple[Compared, ...]
    warnings: tuple[RecordsWarning, ...] = ()
    # only where they were asked for; why there are none, where they cannot be planned
    stops: StopsCompared | None = None
    stops_unknown: str | None = None

    def name_of(self, row: Compared) -> str:
        """Return a task's id as it is distinguished from the engine's others: with its rule set where there are several."""
        is_one = len({each.ruleset for each in self.tasks if each.engine == row.engine and each.before is not None}) <= 1
        return row.task if is_one else f"{row.ruleset}.{row.task}"
