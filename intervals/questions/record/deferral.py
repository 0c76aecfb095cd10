"""A deferral that somebody asks for: how far past its line the task may then come, and whether its rule set allows it.

In: a site, an engine, a task, an end. Out: a `DeferralVerdict` with its reasons and the row. Every reason is a rule that fired. Refuses
an engine or a task that does not exist here.

Past the line is stated in per cent of the interval, for the leg that comes furthest. Where the end is a day and a leg is counted in hours,
or the other way round, the recent pace is taken to go on.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from typing import NamedTuple

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, fitting_tasks
from intervals.history.inputs import Inputs, read_inputs
from intervals.history.unknown_names import no_such
from intervals.language.legs import CALENDAR, RUNNING_HOURS, rounded
from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError
from intervals.questions.record.append_records import Written, append_rows, finish_pending
from intervals.questions.record.record_models import RecordReason
from intervals.questions.record.record_moment import record_at, written_us
from intervals.questions.record.record_site import rows_shown
from intervals.questions.record.record_wording import record_text
from intervals.questions.record.records_lock import records_lock
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.rulebook.evidence_rules import OUTCOME_OF_RULE, evidence_rules
from intervals.rulebook.inference import FactValue
from intervals.rules.tasks import Task
from intervals.site.model import Site
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.chains import chain_of
from intervals.windows.expected_days import leg_pace, meter_pace
from intervals.windows.leg_states import LegState

_PCT = 100.0


class DeferralAsked(NamedTuple):
    """What is asked for.

    Attributes:
        engine: engine id.
        task: task id, or `set.task`.
        until_date: its last day, or None.
        until_h: the meter reading that it holds to, h, or None.
        approved_by: who approved it, or nothing.
        reason: why.
        at: this moment.
    """

    engine: str
    task: str
    until_date: date | None
    until_h: float | None
    approved_by: str
    reason: str
    at: datetime


@dataclass(frozen=True)
class DeferralVerdict:
    """What becomes of it.

    Attributes:
        asked: what was asked for.
        name: the task as the record names it.
        past_pct: how far past its line the task may come, per cent of its interval; None where that is not known.
        reasons: the rules that fired.
        written: what was appended; None where nothing was.
    """

    asked: DeferralAsked
    name: str
    past_pct: float | None
    reasons: tuple[RecordReason, ...]
    written: Written | None = None

    @property
    def is_refused(self) -> bool:
        """Whether some rule refuses it."""
        return any(reason.outcome == "refuses" for reason in self.reasons)

    @property
    def ref(self) -> str:
        """The reference by which it can be taken back: `D-` and twelve signs of the SHA-256 of engine, task and moment."""
        stated = f"{self.asked.engine} {self.name} {self.asked.at.isoformat()}"
        return f"D-{sha256(stated.encode('utf-8')).hexdigest()[:12].upper()}"

    @property
    def row(self) -> RecordRow:
        """The record."""
        asked = self.asked
        return RecordRow(
            asked.at,
            asked.engine,
            self.name,
            "deferred",
            note=asked.reason,
            ref=self.ref,
            until_h=asked.until_h,
            until_date=asked.until_date,
            approved_by=asked.approved_by,
        )


def judge_deferral(site: Site, asked: DeferralAsked) -> DeferralVerdict:
    """Return what becomes of a deferral; nothing is written.

    Raises:
        ProblemsError: the site cannot be judged; there is no such engine (CLI010) or task (CLI011), or several rule sets have it (CLI016).
    """
    known = [unit.id for unit in site.judged_units]
    unknown = [] if asked.engine in known else [no_such("engine", "ENGINE", asked.engine, "at this site", known)]
    inputs = read_inputs(site, asked.at, now_us=to_us(asked.at), asked=unknown)
    case, task = _chosen(inputs, known.index(asked.engine), asked)
    chain = chain_of(case, task)
    window = chain.open_window
    no_line = "nothing says when it was last done" if chain.idle is None else "nothing is due that could be put off"
    past_pct, why = (None, no_line) if window is None else _past_pct(chain, window, asked)
    dialect = dialect_of(site)
    dropped = dialect.lacking(["note"])
    taken = record_at(case, task.id, written_us(case, dialect, asked.at, asked.at))
    facts = {
        **_facts(chain, window, asked),
        "past_pct": past_pct,
        "is_window_known": past_pct is not None,
        "is_line_known": window is not None,
        "is_moment_taken": bool(taken),
        "has_each_column": not dropped,
    }
    most = facts["most_pct"]
    if past_pct is not None and isinstance(most, (int, float)):
        facts["more_pct"] = rounded(past_pct - most)
    wait = "in a minute" if dialect.dates.gives_clock(asked.at, site.zone, asked.at) else "tomorrow"
    stated = {"why": why, "dropped": ", ".join(dropped), "taken": taken, "wait": wait}
    reasons = tuple(
        RecordReason(rule=rule, outcome=OUTCOME_OF_RULE[rule], step="", text=record_text(rule, facts, stated))
        for rule in evidence_rules().deferrals.fire(facts).holds
    )
    name = f"{case.ruleset}.{task.id}" if case.is_one_of_several else task.id
    return DeferralVerdict(asked, name, past_pct, reasons)


def shown_deferral(site: Site, verdict: DeferralVerdict) -> list[str]:
    """Return the row as it would stand in the file."""
    return rows_shown(site, [verdict.row], verdict.asked.at)


def write_deferral(site: Site, asked: DeferralAsked) -> DeferralVerdict:
    """Judge a deferral under the lock, and append its row unless it is refused.

    Raises:
        ProblemsError: as `judge_deferral`, or it cannot be written (CLI110, 164, 165).
    """
    with records_lock(site.folder):
        finish_pending(site)
        verdict = judge_deferral(site, asked)
        if verdict.is_refused:
            return verdict
        written = append_rows(dialect_of(site), [verdict.row], files={}, now=asked.at)
        return DeferralVerdict(asked, verdict.name, verdict.past_pct, verdict.reasons, written)


def _chosen(inputs: Inputs, index: int, asked: DeferralAsked) -> tuple[EngineCase, Task]:
    """Return the task and the case of its rule set; refuse one that is not for the engine, or of several rule sets."""
    cases = build_cases(inputs, index, None)
    found = [(case, task) for case in cases for task in fitting_tasks(case)[0] if asked.task in (task.id, f"{case.ruleset}.{task.id}")]
    if len(found) == 1:
        return found[0]
    if found:
        named = " or ".join(f"{case.ruleset}.{task.id}" for case, task in found)
        text = f'"{asked.task}" is a task of several rule sets that judge {asked.engine}'
        raise RequestProblemError([Problem("CLI016", "TASK", None, None, text, f"write {named}")])
    known = [task.id for case in cases for task in fitting_tasks(case)[0]]
    raise RequestProblemError([no_such("task", "TASK", asked.task, f"for engine {asked.engine}", known)])


def _facts(chain: TaskChain, window: WindowEnd | None, asked: DeferralAsked) -> dict[str, FactValue]:
    """Return the facts about a deferral but for how far it goes."""
    allowed = chain.task.deferral
    before = chain.case.records.deferrals.get(chain.task.id, ())
    times = sum(window is None or entry.at_us >= window.start.at_us for entry in before)
    ends = [each for each in (_left_days(chain.case, asked), _left_h(chain.case, asked)) if each is not None]
    return {
        "is_bounded": allowed is not None,
        "most_pct": None if allowed is None else float(allowed.at_most_pct),
        "times": times,
        "most_times": None if allowed is None else allowed.times,
        "more_times": None if allowed is None else times + 1 - allowed.times,
        "needs_approval": allowed is None or allowed.approval == "required",
        "is_approved": bool(asked.approved_by.strip()),
        "left": min(ends, default=None),
    }


def _left_days(case: EngineCase, asked: DeferralAsked) -> float | None:
    """Return the days until it ends, its last day counted; None where it ends on no day."""
    return None if asked.until_date is None else float((asked.until_date - case.last_day).days + 1)


def _left_h(case: EngineCase, asked: DeferralAsked) -> float | None:
    """Return the hours of the meter until it ends; None where it ends at no reading, or the meter is not known."""
    shown = case.log.course.meter_at(case.end_us)
    return None if asked.until_h is None or shown is None else asked.until_h - shown


def _past_pct(chain: TaskChain, window: WindowEnd, asked: DeferralAsked) -> tuple[float | None, str]:
    """Return how far past its line the task may come, per cent of its interval, and why that is not known."""
    case = chain.case
    pace = meter_pace(case)
    days, hours = _left_days(case, asked), _left_h(case, asked)
    if asked.until_h is not None and hours is None:
        return None, "the log does not tell what the hour meter shows"
    if hours is not None and pace:
        days = min(hours / pace, days if days is not None else hours / pace)
    if days is not None and pace is not None:
        hours = min(days * pace, hours if hours is not None else days * pace)
    legs = [_leg_past_pct(chain, leg, days, hours) for leg in window.legs]
    known = [each for each in legs if each is not None]
    if not known or len(known) < len(legs):
        return None, "the log does not tell how fast it is used up"
    return rounded(max(known) if chain.task.whichever == "first" else min(known)), ""


def _leg_past_pct(chain: TaskChain, leg: LegState, days: float | None, hours: float | None) -> float | None:
    """Return how far past its line one leg may come, per cent of what is allowed; None where that is not known."""
    if leg.leg == CALENDAR:
        if leg.due is None or days is None or leg.allowed <= 0:
            return None
        # what is left of the last day is no whole day
        end = chain.case.last_day + timedelta(days=int(days + 1e-9) - 1 if days == int(days) else int(days))
        return _PCT * (end - leg.due).days / leg.allowed
    if leg.used is None or leg.allowed <= 0:
        return None
    pace, plain = leg_pace(chain.case, chain.task, leg.leg), meter_pace(chain.case)
    if leg.leg == RUNNING_HOURS and hours is not None:
        weight = pace / plain if pace is not None and plain else 1.0
        return _PCT * (leg.used + weight * hours - leg.allowed) / leg.allowed
    if pace is None or days is None:
        return None
    return _PCT * (leg.used + pace * days - leg.allowed) / leg.allowed
