"""What is found of one engine: every task of it judged on its windows.

In: a site's `Inputs`, which engine. Out: its findings, skipped occurrences and faults, added to an `Answer`. A failing inference is
a named fault and an unknown task, never a silent pass.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import NamedTuple

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.inference import InferenceFaultError
from intervals.judge.answers import Answer
from intervals.judge.budgets import budget_findings, fitting_budgets
from intervals.judge.cases import NO_METER, EngineCase
from intervals.judge.chain import TaskChain, WindowEnd, chains_of
from intervals.judge.compliance import Month, occurrences_of
from intervals.judge.engine_cases import build_case, fitting_tasks
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.inputs import Inputs
from intervals.judge.plain import Visits
from intervals.judge.requests import MOST_NAMED
from intervals.judge.skipped import find_skipped, visits_of
from intervals.judge.windows import RUNNING_HOURS


class JudgedEngine(NamedTuple):
    """One engine as it was judged: its case, the windows of its tasks by task id, its visits."""

    case: EngineCase
    chains: dict[str, TaskChain]
    visits: Visits


Watch = Callable[[JudgedEngine], None]


def judge_engine(  # noqa: PLR0913 - what one engine's answer is made of
    inputs: Inputs, index: int, ruleset: str | None, tasks: Collection[str], span: Month | None, answer: Answer
) -> JudgedEngine | None:
    """Judge every task of one engine."""
    case = build_case(inputs, index, ruleset)
    if case is None:
        return None
    name = ruleset or inputs.site.ruleset_of(case.engine)
    fit, untold = fitting_tasks(case)
    answer.fitted.update((name, task.id) for task in [*fit, *untold])
    is_over = case.log.out_of_service_us is not None and case.log.out_of_service_us <= inputs.moment.at_us
    chains = chains_of(case, fit)
    visits = visits_of(case, chains.values())
    for task in case.book.ruleset.tasks:
        if tasks and task.id not in tasks:
            continue
        if task in untold:
            if not is_over:
                answer.findings.append(finding_without_window(TaskChain(case, task), is_described=False))
            continue
        chain = chains.get(task.id)
        if chain is None:
            continue
        _judge_task(chain, visits, span, answer, is_over=is_over)
    answer.fitted.update((name, budget.id) for some in fitting_budgets(case) for budget in some)
    if not is_over:
        answer.findings += budget_findings(case, tasks)
    answer.faults += case.faults
    if case.untold_hours:
        why = next(iter(case.untold_hours.values()))
        text = f"{why}: {', '.join(list(case.untold_hours)[:MOST_NAMED])} cannot be judged by running hours"
        answer.faults.append(Fault(case.engine.id, "history_unknown", None, None, None, text))
    return JudgedEngine(case, chains, visits)


def _judge_task(chain: TaskChain, visits: Visits, span: Month | None, answer: Answer, *, is_over: bool) -> None:
    """Judge one task of one engine; a failing inference is a named fault and an unknown task, never a silent pass."""
    try:
        windows = list(chain.windows(visits, None if span is None else (span.start_us, span.end_us)))
        if not is_over:
            answer.findings.append(_finding(chain, windows))
        answer.skipped += find_skipped(chain, windows, visits)
        if span is not None:
            answer.occurrences += occurrences_of(chain, windows, span)
    except InferenceFaultError as error:
        case = chain.case
        case.faults.append(Fault(case.engine.id, "inference_fault", None, None, None, f"{chain.task.id}: {error}"))
        answer.findings = [entry for entry in answer.findings if (entry.engine, entry.task) != (case.engine.id, chain.task.id)]
        answer.findings.append(finding_without_window(chain, is_described=True, why=str(error)))


def _finding(chain: TaskChain, windows: Sequence[WindowEnd]) -> Finding:
    """Return the finding of one task, with the faults of what it rests on."""
    window = windows[-1] if windows and windows[-1].completion is None else None
    if window is None:
        case = chain.case
        text = f"{chain.task.id}: no completion is known, and the records do not reach back to the engine's first day"
        case.faults.append(Fault(case.engine.id, "no_completion_known", None, None, None, text))
        return finding_without_window(chain, is_described=True)
    for leg in window.legs:
        if leg.leg == RUNNING_HOURS and leg.why_unknown.startswith(NO_METER):
            chain.case.untold_hours[chain.task.id] = leg.why_unknown
    return finding_of(chain, window)
