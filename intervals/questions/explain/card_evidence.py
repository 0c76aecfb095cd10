"""What the job card behind a window tells: the card, each value that was measured with its step, and cautions where a trend goes.

In: the window that a record with a card began, the kept cards and measures. Out: lines of an explanation. Refuses nothing: a kept card
that cannot be read is told in its line.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.findings import Finding
from intervals.history.inputs import Inputs
from intervals.problems import ProblemsError
from intervals.questions.card.last_results import LastResults
from intervals.questions.card.trends import due_again_on, results_of, trend_cautions
from intervals.questions.explain.explanation_models import Step
from intervals.questions.record.handed_in import read_handed_in
from intervals.questions.record.recorded_cards import recorded_file, standing_measures
from intervals.readings.records.found_grades import AS_FOUND
from intervals.shown_numbers import figure
from intervals.windows.chain import TaskChain, WindowEnd

_SHOWN_BEFORE = 3


def card_steps_of(inputs: Inputs, chain: TaskChain, window: WindowEnd, finding: Finding) -> Iterator[Step]:
    """Yield lines about the card of a window's first record; none where the record names no card.

    Args:
        inputs: the site's inputs.
        chain: the windows of the task.
        window: the window.
        finding: its finding, for the day on which it is due again.
    """
    completion = window.start.completion
    if completion is None or not completion.card:
        return
    path = recorded_file(inputs.site, completion.card)
    if path is None:
        yield Step(label="card", sum=f"{completion.card}, which is not in records/")
        return
    shown = path.relative_to(inputs.site.folder).as_posix()
    try:
        handed = read_handed_in(path)
        lines = [line for line in standing_measures(inputs.site, inputs.records) if line.engine == chain.case.engine.id]
    except ProblemsError as error:
        yield Step(label="card", sum=f"{completion.card} ({shown}), which cannot be read: {error.problems[0].text}")
        return
    by = f", by {handed.by}" if handed.by else ""
    yield Step(label="card", sum=f"{completion.card} ({shown}){by}")
    names = {chain.task.id, f"{chain.case.ruleset}.{chain.task.id}"}
    for line in lines:
        if line.card == completion.card and line.measure == AS_FOUND and line.task in names:
            yield Step(label="found", sum=line.value.replace("_", " "))
    earlier = LastResults(line.model_dump() for line in lines)
    for step in handed.card.steps:
        if step.kind == "measure" and step.value is not None and names & set(step.tasks):
            measure = step.value if step.place is None else f"{step.value}.{step.place}"
            results = results_of(earlier.of(chain.case.engine.id, None, measure, step.unit or ""))
            own = [result for result in results if result.card == completion.card]
            if own:
                unit = f" {step.unit}" if step.unit else ""
                before = [f"{figure(each.value)} ({each.at.date()})" for each in results if each.at < own[-1].at][-_SHOWN_BEFORE:]
                told = f"; before it {', '.join(before)}" if before else ""
                yield Step(label=measure, sum=f"{figure(own[-1].value)}{unit}, measured in step {step.id}{told}")
            limits = {str(word): bound for word, bound in (step.limits or {}).items()}
            for caution in trend_cautions(results, measure, step.unit or "", limits, due_again_on(finding)):
                yield Step(label="caution", sum=caution)
