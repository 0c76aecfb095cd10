"""What is found of each engine on this machine: kept from an earlier run, or judged now, by several processes.

In: a site's `Inputs`, which engines. Out: a `JudgedSoFar` for each. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from intervals.history.inputs import Inputs, Progress
from intervals.judge.compliance import Month
from intervals.judge.engine_answers import Watch, judge_engine
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.judge.kept_answers import KeptAnswers, rows_asked_by_all
from intervals.processes import map_in_processes, processes_for


def answers_here(  # noqa: PLR0913 - what is judged, and what was asked for
    inputs: Inputs,
    judged: Sequence[int],
    ruleset: str | None,
    tasks: Collection[str],
    span: Month | None,
    *,
    watch: Watch | None = None,
    jobs: int | None = None,
    keeps: bool = False,
    is_for_text: bool = False,
    progress: Progress | None = None,
) -> list[JudgedSoFar]:
    """Return what is found of engines and components, in their order.

    Args:
        inputs: the site's inputs.
        judged: which of its engines and components.
        ruleset: the rule set asked for instead of the site's.
        tasks: ids to judge; none means all.
        span: the month whose compliance is asked for, or None.
        watch: is handed each engine once it is judged; then one process judges all of them.
        jobs: how many processes were asked for.
        keeps: whether the inputs are as they were read: then answers of an earlier run may stand, and these are kept for the next one.
        is_for_text: whether findings are only printed.
        progress: called with a few words and the share done.
    """
    kept = KeptAnswers.of(inputs, ruleset, tasks, span, is_for_text=is_for_text) if keeps and not watch else None
    known = {} if kept is None else kept.find(judged)
    anew = [index for index in judged if index not in known]
    readings = inputs.readings.confirmed(rows_asked_by_all(inputs, anew))
    if readings is not inputs.readings:
        # kept rows were not as they were, and what was read in their place may be of other files by now
        inputs, kept = replace(inputs, readings=readings), None
    # who watches is handed what cannot travel between processes
    processes = 1 if watch else processes_for(len(anew), jobs)

    def answer_of(numbered: tuple[int, int]) -> JudgedSoFar:
        number, index = numbered
        if progress and number < len(anew) // processes:
            progress(f"judging {inputs.site.judged_units[index].id}", 0.4 + 0.6 * number * processes / len(anew))
        found = JudgedSoFar([], is_for_text=is_for_text)
        for judged_engine in judge_engine(inputs, index, ruleset, tasks, span, found):
            if watch:
                watch(judged_engine)
        if is_for_text:
            found.write()
        return found

    answers = known | dict(zip(anew, map_in_processes(answer_of, list(enumerate(anew)), processes), strict=True))
    if kept is not None and anew:
        kept.keep(answers)
    return [answers[index] for index in judged]
