"""What would have been under other rules, as models: the past and today of each task, before and after.

In: plain values from `what_if`. Out: frozen models; `reports/what_if_table.py` draws them and `reports/document.py` prints them as
`intervals.what-if/1`.
"""

from __future__ import annotations

from intervals.findings import Frozen, RecordsWarning, RuleSetUsed, StandingWord, Totals


class Past(Frozen):
    """How a task went as far as the records reach back.

    `done` jobs; `intervals_used`: how many jobs the use was worth, used / allowed of every window, and past its line full intervals;
    `fell_due`: how often the line was reached; `late`: jobs done past it; `missed`: due points that passed undone; `overdue_h`: running
    hours run past a line; `overdue_d`: days past one.
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
    """One task before and after; None where the rules do not have it for this engine."""

    engine: str
    task: str
    title: str
    before: Judged | None
    after: Judged | None

    @property
    def is_changed(self) -> bool:
        """Whether anything is different."""
        return self.before != self.after


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
