"""Analyses in the place of a task: one within every limit stands for having done it, one beyond a limit makes it due.

In: an engine's analyses and records, its rule book; later a task's open window and its finding. Out: records with what the analyses
completed, and the finding with what the latest analysis changes. Whether a value is within its limit, and whether the time to act
has run out, are for durable-rules. After 40 CFR 63.6625(i), (j): at a limit passes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from intervals.findings import Amount, FactValue, Finding, Leg, Reason
from intervals.history.engine_case import EngineCase
from intervals.history.engine_records import Completion, EngineRecords, JudgedAnalysis
from intervals.history.window_measures import NOTHING_H
from intervals.judge.wording import limit_text
from intervals.local_days import DAY_US, LocalDays
from intervals.readings import Analysis
from intervals.rulebook.inference import FactValue as RuleFact
from intervals.rulebook.rulebook import RuleBook, limit_rule
from intervals.rules.in_place import NEW, OF_NEW, InPlaceOfTime
from intervals.rules.tasks import Task
from intervals.shown_numbers import count_of
from intervals.usage.engine_log import EngineLog
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.legs import rounded

_TO_BE_ACTED_ON = frozenset({"analysis-beyond-late", "analysis-beyond"})


def credit_analyses(  # noqa: PLR0913 - what is judged, by what, until when
    records: EngineRecords,
    analyses: Sequence[Analysis],
    book: RuleBook,
    log: EngineLog,
    days: LocalDays,
    new: Mapping[str, float],
    *,
    end_us: int,
) -> EngineRecords:
    """Return records in which an analysis within every limit stands for having done its task when the sample was taken.

    Args:
        records: what the service records completed.
        analyses: the engine's analyses.
        book: its rule book.
        log: its log, which tells the meter at the sample.
        days: the site's local days.
        new: values of the new fluid, where an analysis does not give them itself.
        end_us: results that came later than this are not known yet.
    """
    tasks = [task for task in book.ruleset.tasks if task.in_place_of_time is not None]
    if not tasks or not analyses:
        return records
    completions, judged = dict(records.completions), {}
    for task in tasks:
        of_kind = [each for each in analyses if task.in_place_of_time and each.kind == task.in_place_of_time.by]
        known = [_judged(task, each, book, new) for each in of_kind if each.result_us <= end_us and each.at_us < end_us]
        judged[task.id] = tuple(sorted(known, key=lambda each: (each.result_us, each.at_us)))
        done = {completion.at_us: completion for completion in completions.get(task.id, ())}
        for each in known:
            if each.state == "within" and each.at_us not in done:
                meter = log.course.meter_at(each.at_us)
                shown = None if meter is None else rounded(meter)
                by = task.in_place_of_time.by if task.in_place_of_time else ""
                done[each.at_us] = Completion(task.id, each.at_us, days.date_of(each.at_us), shown, each.record, by=by)
        completions[task.id] = tuple(done[at] for at in sorted(done))
    return replace(records, completions=completions, analyses=judged)


def _judged(task: Task, analysis: Analysis, book: RuleBook, new: Mapping[str, float]) -> JudgedAnalysis:
    """Put one analysis to the rules."""
    terms = task.in_place_of_time
    limits = terms.limits if terms is not None else ()
    asked = terms.figures if terms is not None else ()
    figures = {name: None if _is_spoiled(analysis, name) else value_of(analysis.values, name, new) for name in asked}
    facts: dict[str, RuleFact] = dict(figures)
    verdict = book.analyses.fire(facts)
    numbered = [(limit_rule(task, number), limit) for number, limit in enumerate(limits)]
    beyond = [limit_text(limit, figures) for name, limit in numbered if name not in verdict.holds and name not in verdict.unknown]
    untold = [limit_text(limit, figures) for name, limit in numbered if name in verdict.unknown]
    within = [limit_text(limit, figures) for _, limit in numbered]
    if task.id in verdict.holds:
        return _analysis(task, analysis, "within", within, figures)
    if task.id in verdict.unknown:
        return _analysis(task, analysis, "unknown", untold, figures)
    return _analysis(task, analysis, "beyond", beyond, figures)


def _analysis(task: Task, analysis: Analysis, state: str, texts: Sequence[str], figures: Mapping[str, float | None]) -> JudgedAnalysis:
    """Return one judged analysis."""
    return JudgedAnalysis(
        task.id,
        analysis.at_us,
        analysis.result_us,
        analysis.result_is_date,
        state,  # type: ignore[arg-type]  # one of the three words, as called above
        "; ".join(texts),
        figures,
        analysis.place,
    )


def _is_spoiled(analysis: Analysis, name: str) -> bool:
    """Return whether a value rests on one that the laboratory cannot have found; the site's value of new oil does not mend that."""
    rests_on = {name, *(name.removesuffix(ending) + NEW for ending in OF_NEW if name.endswith(ending))}
    return not rests_on.isdisjoint(analysis.impossible)


def value_of(values: Mapping[str, float | None], name: str, new: Mapping[str, float]) -> float | None:
    """Return a value as it was written, or worked out against the new fluid; None where it is unknown.

    Example:
        >>> value_of({"acid_number": 4.5, "viscosity": 120.0}, "acid_number_rise", {"acid_number": 1.5})
        3.0
        >>> value_of({"viscosity": 120.0, "viscosity_new": 100.0}, "viscosity_change_pct", {})
        20.0
    """
    written = values.get(name)
    if written is not None:
        return written
    for ending in OF_NEW:
        if not name.endswith(ending):
            continue
        base = name.removesuffix(ending)
        used, fresh = values.get(base), values.get(base + NEW)
        fresh = new.get(base) if fresh is None else fresh
        if used is None or fresh is None or (ending != "_rise" and fresh == 0):
            return None
        if ending == "_rise":
            return rounded(used - fresh)
        return rounded(100.0 * (used - fresh if ending == "_change_pct" else used) / fresh)
    return None


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
    rule = standings.only(standings.analyses, {"latest": latest.state, "is_past": is_past})
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
            text = f"{sample} cannot stand for doing it: {latest.text}"
        case _:
            text = f"{sample} stands for doing it, within every limit: {latest.text}"
    return Reason(rule=rule, text=text, facts=facts, source=terms.source or source)
