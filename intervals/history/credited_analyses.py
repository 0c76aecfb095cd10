"""Analyses that stand for having done a task: each put to the limits of its task, one within every limit credited.

In: an engine's analyses and records, its rule book. Out: records with what the analyses completed. Whether a value is within its limit is
for durable-rules. After 40 CFR 63.6625(i), (j): at a limit passes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from intervals.history.engine_records import Completion, EngineRecords, JudgedAnalysis
from intervals.language.legs import rounded
from intervals.language.phrases import limit_text
from intervals.local_days import LocalDays
from intervals.readings import Analysis
from intervals.rulebook.inference import FactValue as RuleFact
from intervals.rulebook.rulebook import RuleBook, limit_rule
from intervals.rules.in_place import NEW, OF_NEW
from intervals.rules.tasks import Task
from intervals.usage.engine_log import EngineLog


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
        log: its log, which shows the meter at the sample.
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
    figures = figures_found(analysis, asked, new)
    facts: dict[str, RuleFact] = dict(figures)
    verdict = book.analyses.fire(facts)
    numbered = [(limit_rule(task, number), limit) for number, limit in enumerate(limits)]
    beyond = [limit_text(limit, figures) for name, limit in numbered if name not in verdict.holds and name not in verdict.unknown]
    unknown = [limit_text(limit, figures) for name, limit in numbered if name in verdict.unknown]
    within = [limit_text(limit, figures) for _, limit in numbered]
    if task.id in verdict.holds:
        return _analysis(task, analysis, "within", within, figures)
    if task.id in verdict.unknown:
        return _analysis(task, analysis, "unknown", unknown, figures)
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


def figures_found(analysis: Analysis, asked: Iterable[str], new: Mapping[str, float]) -> dict[str, float | None]:
    """Return what an analysis says of each figure that is asked for; None where it is unknown.

    Args:
        analysis: the analysis.
        asked: names of values, as written or worked out against the new fluid.
        new: values of the new fluid, where the analysis does not give them itself.
    """
    return {name: None if is_spoiled(analysis, name) else value_of(analysis.values, name, new) for name in asked}


def is_spoiled(analysis: Analysis, name: str) -> bool:
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
