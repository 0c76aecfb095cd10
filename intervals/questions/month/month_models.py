"""What the monthly page shows, as models: everything worked out, so that the page only draws.

In: plain values from `monthly`. Out: frozen models. Times of charts are the site's wall clock; figures carry their unit in their name.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal

from intervals.documents import Frozen
from intervals.findings import Amount, Finding, Findings, Forecast, Skipped, StandingWord, Totals
from intervals.questions.explain.explanation_models import Explanation
from intervals.questions.input_digests import InputFile

ChangeKind = Literal[
    "fell-overdue",
    "overdue-again",
    "still-overdue",
    "put-off",
    "waits",
    "put-right",
    "became-unknown",
    "became-known",
    "came-near",
    "began",
    "ended",
]
ActionKind = Literal["do-now", "do-in-tolerance", "find-out", "before-start", "plan"]
VerdictKind = Literal["needs-work", "needs-work-soon", "needs-making-good", "needs-finding-out", "needs-planning", "all-in-interval"]
MarkKind = Literal["done", "done_late", "missed", "left_out", "not_credited"]
CoverWord = Literal["whole", "part", "none"]


class Change(Frozen):
    """What became of a task since the end of the month before."""

    engine: str
    ruleset: str
    task: str
    title: str
    kind: ChangeKind
    was: StandingWord | None
    now: StandingWord | None
    text: str


class Action(Frozen):
    """One thing to do, in order of urgency."""

    kind: ActionKind
    engine: str
    ruleset: str
    task: str
    title: str
    past_by: Amount | None
    left: Amount | None
    fell_due: str | None
    expected: Forecast | None
    why: str


class MonthFigure(Frozen):
    """One month of the record: what was decided in it, as at its own end; `fell_due` is on_time + late, of which some missed or open."""

    month: str
    told: CoverWord
    fell_due: int
    on_time: int
    late: int
    missed: int
    open: int
    pending: int
    deferred: int
    early: int
    figure: float | None

    @property
    def late_not_missed(self) -> int:
        """Those late ones that were not passed over."""
        return self.late - self.missed


class MonthBefore(Frozen):
    """What the month before came to at its own end: totals, and the share on time (None: no figure)."""

    totals: Totals
    figure: float | None


class LoadBand(Frozen):
    """Running hours of the month at a load above `from_pct` (the first: from it on) up to and with `to_pct` (None: no upper end)."""

    from_pct: float
    to_pct: float | None
    hours_h: float


class ServiceDone(Frozen):
    """A job that was done in the month."""

    on: str
    task: str
    title: str
    hour_meter_h: float | None
    record: str
    renewed_by: str | None


class Mark(Frozen):
    """Something that happened on a sawtooth."""

    at: datetime
    used: float
    kind: MarkKind


class Saw(Frozen):
    """What one task used of its interval over twelve months: it rises with use and falls to its start with each service.

    Attributes:
        engine: engine id.
        task: task id.
        title: what is done.
        leg: the leg that is drawn.
        unit: unit of `used` and `allowed`.
        teeth: one rising line a window, (time, used).
        allowed: the allowed line of each window, (from, to, allowed).
        marks: services and skipped occurrences.
    """

    engine: str
    task: str
    title: str
    leg: str
    unit: str
    teeth: tuple[tuple[tuple[datetime, float], ...], ...]
    allowed: tuple[tuple[datetime, datetime, float], ...]
    marks: tuple[Mark, ...]


class IntervalMonth(Frozen):
    """How long an interval lasts at one month's duty, in plain running hours, beside the rule set's (None: nothing ran, or none in force).

    `rules` are those that fired, `not_judged` those that could not be judged on some hours or at all.
    """

    month: str
    base_h: float | None
    effective_h: float | None
    rules: tuple[str, ...]
    not_judged: tuple[str, ...]


class TaskInterval(Frozen):
    """The effective interval of one task over the months."""

    engine: str
    task: str
    title: str
    months: tuple[IntervalMonth, ...]


class EngineMonth(Frozen):
    """One engine in the month: what it ran, what was done on it, and how good its data is (None: unknown)."""

    engine: str
    title: str
    described: str
    hours_h: float
    hours_per_start_h: float | None
    starts: float | None
    oil_added_l: float | None
    energy_kwh: float | None
    mean_load_pct: float | None
    meter_h: float | None
    bands: tuple[LoadBand, ...]
    load_unknown_h: float
    doubtful_h: float
    unknown_h: float
    gaps: int
    gap_h: float
    last_row_at: str | None
    faults: int
    ranges_held: str
    services: tuple[ServiceDone, ...]
    saws: tuple[Saw, ...]
    not_drawn: tuple[str, ...]
    intervals: tuple[TaskInterval, ...]


class FleetEngine(Frozen):
    """One engine or component as the overview of a fleet names it; `hours_h` are those of the month (None: not in service yet)."""

    engine: str
    title: str
    hours_h: float | None


class TaskRow(Frozen):
    """One row of the fleet at a glance: a task, and its finding on each engine that has it."""

    task: str
    title: str
    findings: tuple[Finding | None, ...]


class MonthReport(Frozen):
    """Everything that the monthly page, the workbook and the calendar show.

    Attributes:
        site: site id.
        title: what people call it.
        month: `YYYY-MM`.
        first_day: its first day.
        last_day: the last day that is covered.
        findings: the whole answer at that moment, with everything skipped ever and the month's compliance.
        skipped: what was skipped in the month or is still open, the open ones first.
        before: what the month before came to, or None where nothing could be judged then.
        verdict: the rule about the whole site that fired.
        sentence: the verdict in one sentence.
        changes: what changed since.
        actions: what to do, most urgent first.
        fleet: engines by tasks.
        engines: one entry an engine.
        explanations: the arithmetic behind each finding that has some.
        history: compliance of the last twelve months.
        tolerances: the tolerances that tasks state, per cent -> how many tasks.
        weights: the weights of the rule sets here, with their titles.
        inputs: every file with its digest.
    """

    site: str
    title: str
    month: str
    first_day: date
    last_day: date
    findings: Findings
    skipped: tuple[Skipped, ...]
    before: MonthBefore | None
    verdict: VerdictKind
    sentence: str
    changes: tuple[Change, ...]
    actions: tuple[Action, ...]
    fleet: tuple[TaskRow, ...]
    engines: tuple[EngineMonth, ...]
    explanations: tuple[Explanation, ...]
    history: tuple[MonthFigure, ...]
    tolerances: tuple[tuple[str, int], ...]
    weights: tuple[tuple[str, str], ...]
    inputs: tuple[InputFile, ...]
