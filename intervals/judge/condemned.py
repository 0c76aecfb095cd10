"""What condemned oil comes to in a month: to be acted on so many business days after the result, done in time or late.

In: a task's chain and its judged analyses. Out: `Occurrence` values, beside those of the task's interval. One that is beyond its limits
asks for the work until it is done or a later analysis is within every limit; another one beyond them in between asks for nothing new.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from intervals.history.engine_records import Completion, JudgedAnalysis
from intervals.judge.analysis import act_line_us
from intervals.judge.compliance import MET_OF_RULE, SECOND_US, Month
from intervals.occurrences import Occurrence
from intervals.rules.in_place import InPlaceOfTime
from intervals.windows.chain import TaskChain


class _Asked(NamedTuple):
    """An analysis that asks for work: until when, and what did it, known from when on."""

    analysis: JudgedAnalysis
    line_us: int | None
    completion: Completion | None
    known_us: int


def condemned_occurrences(chain: TaskChain, months: Sequence[Month]) -> Iterator[tuple[Month, Occurrence]]:
    """Yield the occurrences of condemned analyses of one task, each with the month in which it was decided or stood undecided."""
    terms = chain.task.in_place_of_time
    if terms is None:
        return
    since_us = chain.records_from_us
    for asked in _asked_for(chain, terms):
        for month in months:
            occurrence = _occurrence(chain, terms, asked, month)
            if occurrence is not None and (since_us is None or asked.analysis.result_us >= since_us):
                yield month, occurrence


def _asked_for(chain: TaskChain, terms: InPlaceOfTime) -> Iterator[_Asked]:
    """Yield the analyses that asked for work, each up to the completion that answered it."""
    case, answered_us = chain.case, None
    judged = case.records.analyses.get(chain.task.id, ())
    came = {each.record: each.result_us for each in judged}
    for analysis in judged:
        if analysis.state != "beyond" or (answered_us is not None and analysis.result_us < answered_us):
            continue
        after = [entry for entry in chain.completions if entry.at_us > analysis.at_us]
        completion = after[0] if after else None
        known_us = case.end_us if completion is None else max(completion.at_us, came.get(completion.record, completion.at_us))
        if completion is not None and known_us <= analysis.result_us:
            # done before anybody knew
            continue
        answered_us = case.end_us if completion is None else known_us
        yield _Asked(analysis, act_line_us(analysis, terms, case), completion, known_us)


def _occurrence(chain: TaskChain, terms: InPlaceOfTime, asked: _Asked, month: Month) -> Occurrence | None:
    """Return how an analysis was answered by a month's end, where that was decided in the month."""
    case, rules, days = chain.case, chain.case.standings, chain.case.days
    if asked.analysis.result_us >= month.end_us:
        return None
    is_done = asked.completion is not None and asked.known_us < month.end_us
    since_s = None if asked.line_us is None else ((asked.known_us if is_done else month.end_us) - asked.line_us) / SECOND_US
    facts = {"is_done": is_done, "share_done": None, "since_line_s": since_s, "since_tolerance_s": since_s, "since_held_s": since_s}
    met = MET_OF_RULE.get(rules.met.fire_one({**facts, "is_deferred": False, "is_known": True}))
    decided_us = asked.line_us if met == "late" else asked.known_us
    if met is None or decided_us is None or not month.holds(decided_us):
        return None
    done_on = asked.completion.day.isoformat() if is_done and asked.completion is not None else None
    until = None if asked.line_us is None else days.last_day_before(asked.line_us).isoformat()
    came = days.date_of(asked.analysis.result_us).isoformat()
    what = f"condemned by the {terms.by} whose result came on {came} ({asked.analysis.record})"
    outcome = "acted on in time" if met == "on_time" else "acted on late" if done_on else "not acted on"
    return Occurrence(
        engine=case.engine.id,
        ruleset=case.ruleset,
        task=chain.task.id,
        weight=chain.task.weight,
        met=met,
        open=met == "late" and not is_done,
        line_on=until,
        decided_on=days.date_of(decided_us).isoformat(),
        done_on=done_on,
        consumed=None,
        deferred=False,
        text=f"{chain.task.title}: {what}, {outcome}" + (f", on time until {until}" if met == "late" else ""),
    )
