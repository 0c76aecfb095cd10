"""What comes out: findings, skipped occurrences, faults and totals, as models.

In: plain values from `assess`. Out: frozen pydantic models; `reports/document.py` prints them as `intervals.findings/2`.
Figures are rounded to six decimals here, at the border, and nowhere earlier but before a threshold.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, Protocol

from pydantic import PrivateAttr

from intervals.documents import Frozen
from intervals.faults import Fault, Spelled
from intervals.language.legs import RUNNING_HOURS
from intervals.occurrences import Compliance, Occurrence

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

StandingWord = Literal["overdue", "upcoming", "in_interval", "unknown"]
SkippedKind = Literal["missed", "left_out", "not_credited", "too_early", "run_fell_short"]
WarningKind = Literal["records_mostly_unusable", "outcomes_all_blank", "records_from_missing"]
FactValue = float | int | str | bool | None


_IDLE_RULES = frozenset({"waits-for-event", "done-once"})
"""The standing rules of a task done once while no event is open."""


class Leg(Frozen):
    """One entry of a task's `every` in the window: what was used of what is allowed (unit in `unit`).

    Only a leg of running hours is printed with `running_hours_h`, those of the clock, even where they are unknown.
    """

    leg: str
    unit: str
    used: float | None
    base: float | str
    allowed: float | None
    remaining: float | None
    consumed: float | None
    running_hours_h: float | None = None

    def model_post_init(self, context: Any, /) -> None:  # noqa: ANN401 - the library's own signature
        """Count the hours of the clock as stated where they are to be printed, and nowhere else."""
        del context
        if self.leg == RUNNING_HOURS:
            self.model_fields_set.add("running_hours_h")
        else:
            self.model_fields_set.discard("running_hours_h")


class LastDone(Frozen):
    """The completion that the window starts from; `card` is the code of its job card, where the record names one."""

    at: str
    hour_meter_h: float | None
    record: str | None
    card: str | None = None


class Amount(Frozen):
    """A figure with its unit."""

    value: float
    unit: str


class Forecast(Frozen):
    """When the line will be reached: a middle day, and the range of days around it, made of the engine's own past.

    While the log is silent, the middle is the day at the pace of its last 90 days.
    """

    on: str | None
    early: str | None
    late: str | None


class Deferral(Frozen):
    """Until when an approved deferral holds."""

    hour_meter_h: float | None
    date: str | None


class Reason(Frozen):
    """Why: a rule that fired, the sentence, the true figures it rests on, and where the rule comes from."""

    rule: str
    text: str
    facts: dict[str, FactValue]
    source: str | None


class Finding(Frozen):
    """The standing of one task of one engine under one rule set, with every reason."""

    engine: str
    # documents that were written before an engine could have several have none
    ruleset: str = ""
    task: str
    title: str
    standing: StandingWord
    within_tolerance: bool
    governing: str | None
    legs: tuple[Leg, ...]
    last_done: LastDone | None
    due_on: str | None
    crossed_at: str | None
    past_by: Amount | None
    forecast: Forecast | None
    deferred_until: Deferral | None
    unknown_hours_h: float
    reasons: tuple[Reason, ...]

    def __reduce__(self) -> tuple[Callable[[str, str | None], Finding], tuple[str, str | None]]:
        """Travel between processes as JSON, which takes half as long as one model within another."""
        return _received, (self.model_dump_json(exclude_unset=True), self.upcoming_from)

    @cached_property
    def upcoming_from(self) -> str | None:
        """The day on which the lead of a task begins whose line lies ahead; it is for the calendar, and not part of the document."""
        return None

    def with_lead_from(self, day: str | None) -> Finding:
        """Note the day on which its lead begins, and return the finding: whoever makes one notes it before anybody else has it."""
        self.__dict__["upcoming_from"] = day
        return self

    @property
    def is_minimum(self) -> bool:
        """Whether it is of a budget that asks for so much at least: what remains of its leg is lacking, and past its line it is reached."""
        return bool(self.reasons) and "asked" in self.reasons[0].facts

    @property
    def waits(self) -> bool:
        """Whether it is of a task done once of which no event is open: nothing is used, nothing is due."""
        return self.reasons[0].rule in _IDLE_RULES if self.reasons and not self.legs else False

    @property
    def governing_leg(self) -> Leg | None:
        """The leg that decides, or None where no leg is known."""
        return next((leg for leg in self.legs if leg.leg == self.governing), None)

    @property
    def crossed_on(self) -> str | None:
        """The day on which the line was crossed, at midnight the one that ends: people are shown the day of what is interpolated."""
        if self.crossed_at is None:
            return None
        if self.crossed_at[:10] == self.due_on:
            # a budget is exceeded on a day, which may be all that is known of the time
            return self.due_on
        return (datetime.fromisoformat(self.crossed_at).replace(tzinfo=None) - timedelta(microseconds=1)).date().isoformat()


def _received(text: str, upcoming_from: str | None) -> Finding:
    """Return a finding that came from another process."""
    return Finding.model_validate_json(text).with_lead_from(upcoming_from)


_FRAME_COLUMNS: dict[str, Callable[[Finding, Leg | None], object]] = {
    "engine": lambda finding, _: finding.engine,
    "task": lambda finding, _: finding.task,
    "title": lambda finding, _: finding.title,
    "standing": lambda finding, _: finding.standing,
    "within_tolerance": lambda finding, _: finding.within_tolerance,
    "governing": lambda finding, _: finding.governing,
    "unit": lambda _, leg: leg.unit if leg else None,
    "used": lambda _, leg: leg.used if leg else None,
    "allowed": lambda _, leg: leg.allowed if leg else None,
    "remaining": lambda _, leg: leg.remaining if leg else None,
    "consumed": lambda _, leg: leg.consumed if leg else None,
    "past_by": lambda finding, _: finding.past_by.value if finding.past_by else None,
    "due_on": lambda finding, _: finding.due_on,
    "crossed_at": lambda finding, _: finding.crossed_at,
    "last_done_at": lambda finding, _: finding.last_done.at if finding.last_done else None,
    "unknown_hours_h": lambda finding, _: finding.unknown_hours_h,
    "why": lambda finding, _: finding.reasons[0].text if finding.reasons else "",
    "ruleset": lambda finding, _: finding.ruleset,
}
"""The columns of a frame of findings, and what each holds of a finding and its governing leg."""


class Skipped(Frozen):
    """An occurrence that was never done, not credited, or done before it could be; a run that would have done it and fell short."""

    engine: str
    ruleset: str = ""
    task: str
    kind: SkippedKind
    open: bool
    at: str
    text: str
    rule: str


class FaultLine(Frozen):
    """One fault of the data as it is printed."""

    engine: str | None
    kind: str
    file: str | None
    line: int | None
    at: str | None
    text: str
    # for those who read: a report lists a word once for all of its rows
    _spelled: Spelled | None = PrivateAttr(None)
    _besides: tuple[Spelled, ...] = PrivateAttr(())

    @property
    def words(self) -> tuple[Spelled, ...]:
        """Every word of the row that is not known."""
        return self._besides if self._spelled is None else (self._spelled, *self._besides)

    @property
    def spelled(self) -> Spelled | None:
        """The word that is not known, where that is what is wrong."""
        return self._spelled

    @classmethod
    def of(cls, fault: Fault, at: str | None) -> FaultLine:
        """Return a fault as it is printed, at a moment of the site's clock."""
        line = cls(engine=fault.engine, kind=fault.kind, file=fault.file, line=fault.line, at=at, text=fault.text)
        line._spelled, line._besides = fault.spelled, fault.besides
        return line


class RecordsWarning(Frozen):
    """What must be read before the findings: how many rows of service records they rest on (`read` = `used` + `set_aside`), and why."""

    kind: WarningKind
    text: str
    read: int
    used: int
    set_aside: int


class PlannedLate(Frozen):
    """A task whose next stop in the site's plan lies beyond its line.

    `limit` is the last day that is not late, as the plan has it: early date, deferral and tolerance applied; `planned_on` lies `late_d`
    days after it.
    """

    engine: str
    ruleset: str
    task: str
    planned_on: str
    limit: str
    late_d: int
    text: str


class Rows(Frozen):
    """File rows of the operating log: `read` = `accepted` + `set_aside`."""

    read: int
    accepted: int
    set_aside: int


class Totals(Frozen):
    """How many findings of each standing, and how many skipped occurrences are still open."""

    overdue: int
    upcoming: int
    in_interval: int
    unknown: int
    skipped_open: int


class RuleSetUsed(Frozen):
    """A rule set that judged, as it was on the day."""

    ruleset: str
    version: str
    sha256: str


class Found(Frozen):
    """What was found of some engines."""

    findings: tuple[Finding, ...]
    skipped: tuple[Skipped, ...]
    occurrences: tuple[Occurrence, ...]


class OfRuleSet(Protocol):
    """Whatever is said of one task of one engine under one rule set."""

    @property
    def engine(self) -> str:
        """Engine id."""

    @property
    def ruleset(self) -> str:
        """Id of the rule set."""

    @property
    def task(self) -> str:
        """Task id."""


class Findings(Frozen):
    """The whole answer for a site at a moment."""

    site: str
    as_of: str
    rulesets: tuple[RuleSetUsed, ...]
    warnings: tuple[RecordsWarning, ...] = ()
    findings: tuple[Finding, ...]
    skipped: tuple[Skipped, ...]
    faults: tuple[FaultLine, ...]
    rows: Rows
    totals: Totals
    compliance: Compliance | None = None
    planned_late: tuple[PlannedLate, ...] = ()

    _several: frozenset[str] = PrivateAttr(frozenset())

    def model_post_init(self, context: Any, /) -> None:  # noqa: ANN401 - the library's own signature
        """Note the engines that findings of several rule sets are of."""
        del context
        pairs = {(entry.engine, entry.ruleset) for entry in self.findings} | {(entry.engine, entry.ruleset) for entry in self.skipped}
        self._several = frozenset(engine for engine, count in Counter(engine for engine, _ in pairs).items() if count > 1)

    def of_several(self, engines: Iterable[str]) -> Findings:
        """Return the same findings, with engines that several rule sets judge, whether or not something was found by each.

        Args:
            engines: their ids.
        """
        made = self.model_copy()
        made._several = self._several.union(engines)
        return made

    @property
    def has_several(self) -> bool:
        """Whether several rule sets judge some engine."""
        return bool(self._several)

    def name_of(self, found: OfRuleSet) -> str:
        """Return a task's id as it is distinguished from the others of its engine: with its rule set where several judge the engine."""
        return f"{found.ruleset}.{found.task}" if found.engine in self._several else found.task

    def title_of(self, finding: Finding) -> str:
        """Return a task's title as it is distinguished from the others of its engine: with its rule set where several judge the engine."""
        return f"{finding.title} ({finding.ruleset})" if finding.engine in self._several else finding.title

    def frame(self) -> pd.DataFrame:
        """Return one row a finding, ready to sort and filter.

        Returns:
            Columns engine, task, title, standing, within_tolerance, governing, unit, used, allowed, remaining, consumed,
            past_by, due_on, crossed_at, last_done_at, unknown_hours_h, why, ruleset. Figures are in `unit`.
        """
        import pandas as pd  # noqa: PLC0415 - pandas is loaded only by those who ask for a frame

        pairs = [(finding, finding.governing_leg) for finding in self.findings]
        return pd.DataFrame({name: [value_of(*pair) for pair in pairs] for name, value_of in _FRAME_COLUMNS.items()})
