"""Analyses in the place of a task: one within every limit stands for having done it, one beyond a limit makes it due.

In: an engine's analyses and records, its rule book; later a task's open window and its finding. Out: records with what the analyses
completed, and the finding with what the latest analysis changes. Whether a value is within its limit, and whether the time to act
has run out, are for durable-rules. After 40 CFR 63.6625(i), (j): at a limit passes.
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from intervals.findings import Amount, FactValue, Finding, Leg, Reason
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import JudgedAnalysis
from intervals.history.window_measures import NOTHING_H
from intervals.language.legs import rounded
from intervals.local_days import DAY_US
from intervals.rules.in_place import InPlaceOfTime
from intervals.shown_numbers import count_of
from intervals.windows.chain import TaskChain, WindowEnd

_TO_BE_ACTED_ON = frozenset({"analysis-beyond-late", "analysis-beyond"})


def with_analysis(chain: TaskChain, window: WindowEnd, finding: Finding) -> Finding:
    """Return a finding with what the latest analysis of its open window changes: beyond a limit the task is due, whatever is left."""
    terms = chain.task.in_place_of_time
    latest = _latest(chain, window)
    if terms is None or latest is None:
        return finding
    case = chain.case
    due_day = act_by(latest, terms, case)
    due_us = case.days.midnight_us(due_day + timedelta(days=1))
    crossed_us = act_line_us(latest, terms, case)
    is_past = crossed_us is not None and crossed_us < case.end_us
    standings = case.standings
    rule = standings.analyses.fire_one({"latest": latest.state, "is_past": is_past})
    reason = _reason(rule, latest, terms, due_day, case, finding.reasons[0].source)
    if rule not in _TO_BE_ACTED_ON or (rule == "analysis-beyond" and finding.standing == "overdue"):
        return finding.model_copy(update={"reasons": (finding.reasons[0], reason, *finding.reasons[1:])})
    finding = finding.with_lead_from(None)
    leg = _result_leg(latest, terms, due_day if crossed_us is None else case.days.last_day_before(crossed_us), case)
    changes: dict[str, object] = {"legs": (*finding.legs, leg), "reasons": (reason, *finding.reasons), "forecast": None}
    if rule == "analysis-beyond":
        waits = due_us < case.end_us
        changes |= {"standing": "upcoming", "governing": leg.leg, "due_on": None if waits else due_day.isoformat()}
        return finding.model_copy(update=changes)
    crossed = case.days.iso(crossed_us or due_us)
    if finding.standing == "overdue":
        changes |= {"crossed_at": min(crossed, finding.crossed_at or crossed), "within_tolerance": False}
        return finding.model_copy(update=changes)
    changes |= {
        "standing": "overdue",
        "governing": leg.leg,
        "due_on": case.days.last_day_before(crossed_us or due_us).isoformat(),
        "crossed_at": crossed,
        "past_by": None if leg.remaining is None or leg.remaining >= 0 else Amount(value=-leg.remaining, unit=leg.unit),
    }
    return finding.model_copy(update=changes)


def _result_leg(latest: JudgedAnalysis, terms: InPlaceOfTime, last_day: date, case: EngineCase) -> Leg:
    """Return the days since a result, of those in which it is to be acted on."""
    result_day = case.days.date_of(latest.result_us)
    used, allowed = float((case.last_day - result_day).days), float((last_day - result_day).days)
    return Leg(
        leg=terms.by,
        unit="d",
        used=used,
        base=count_of(terms.act_within_business_days, "business day"),
        allowed=allowed,
        remaining=allowed - used,
        consumed=rounded(used / allowed) if allowed > 0 else None,
    )


def _latest(chain: TaskChain, window: WindowEnd) -> JudgedAnalysis | None:
    """Return the analysis whose result came last, unless the task was done after its sample was taken."""
    known = chain.case.records.analyses.get(chain.task.id, ())
    if not known:
        return None
    latest = known[-1]
    start = window.start.completion
    if latest.at_us > window.start.at_us or (start is not None and start.record == latest.record):
        return latest
    return None


def act_by(latest: JudgedAnalysis, terms: InPlaceOfTime, case: EngineCase) -> date:
    """Return the last day on which the task may be done after a result: so many business days after the day it came."""
    result_day = case.days.date_of(latest.result_us)
    holidays = [day.isoformat() for day in (*terms.holidays, *case.site.holidays)]
    # counted from the day of the result, a day off itself counting as the business day before it
    due = np.busday_offset(np.datetime64(result_day), terms.act_within_business_days, roll="backward", holidays=holidays)
    found: date = due.astype(object)
    return max(found, result_day)


def act_line_us(latest: JudgedAnalysis, terms: InPlaceOfTime, case: EngineCase) -> int | None:
    """Return when it was too late to act on a result: after its last day or at the next start, whichever is later; None: not run yet."""
    due_us = case.days.midnight_us(act_by(latest, terms, case) + timedelta(days=1))
    crossed_us = due_us if ran_when_it_came(latest, case) else case.first_running_us(latest.result_us)
    return None if crossed_us is None else max(due_us, crossed_us)


def ran_when_it_came(latest: JudgedAnalysis, case: EngineCase) -> bool:
    """Tell whether the engine ran when a result came: in the step of the log around it, or on its day where only that is known."""
    course, days = case.log.course, case.days
    if not course.is_known:
        return False
    start_us = end_us = latest.result_us
    if latest.result_is_date:
        start_us = days.midnight_us(days.date_of(latest.result_us))
        end_us = min(start_us + DAY_US, case.end_us)
    else:
        line_us, _ = course.line
        after = int(np.searchsorted(line_us, latest.result_us, side="right"))
        if after in (0, len(line_us)):
            return False
        start_us, end_us = int(line_us[after - 1]), int(line_us[after])
    ran = (course.hours_at_one(end_us) or 0.0) - (course.hours_at_one(start_us) or 0.0)
    return ran > NOTHING_H


def _reason(  # noqa: PLR0913 - what is said of an analysis
    rule: str, latest: JudgedAnalysis, terms: InPlaceOfTime, due_day: date, case: EngineCase, source: str | None
) -> Reason:
    """Return what the latest analysis says."""
    taken = case.days.date_of(latest.at_us).isoformat()
    sample = f"{terms.by} of {taken} ({latest.record})"
    came = case.days.date_of(latest.result_us).isoformat()
    facts: dict[str, FactValue] = dict(latest.figures)
    until = f"by {due_day.isoformat()} or before the next start, whichever is later"
    match rule:
        case "analysis-beyond-late":
            text = f"overdue: {sample} is beyond its limits, {latest.text}; result of {came}, to be acted on {until}"
        case "analysis-beyond":
            text = f"upcoming: {sample} is beyond its limits, {latest.text}; result of {came}, to be acted on {until}"
        case "analysis-not-known":
            text = f"{sample} cannot take the place of the job: {latest.text}"
        case _:
            text = f"{sample} takes the place of the job, within every limit: {latest.text}"
    return Reason(rule=rule, text=text, facts=facts, source=terms.source or source)
