"""What is found of one engine: every task of it judged on its windows.

In: a site's `Inputs`, which engine. Out: its findings, skipped occurrences and faults, added to a `JudgedSoFar`. A failing inference is
a named fault and an unknown task, never a silent pass.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, faults_of, fitting_tasks
from intervals.history.inputs import Inputs
from intervals.history.unknown_names import MOST_NAMED, is_asked
from intervals.judge.budget_findings import budget_findings, fitting_budgets
from intervals.judge.budget_months import budget_occurrences
from intervals.judge.budget_site import site_shares
from intervals.judge.compliance import Month, occurrences_in, windows_of
from intervals.judge.condemned import condemned_occurrences
from intervals.judge.finding_of import finding_of, finding_without_window
from intervals.judge.idle_finding import finding_now
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.judge.skipped import find_skipped, visits_of
from intervals.rulebook.inference import InferenceFaultError
from intervals.rules.tasks import Task
from intervals.windows.chain import TaskChain, WindowEnd
from intervals.windows.chains import chains_of
from intervals.windows.near_lines import Visits


class JudgedEngine(NamedTuple):
    """One engine as it was judged by one of its rule sets: its case, the windows of its tasks by task id, its visits."""

    case: EngineCase
    chains: dict[str, TaskChain]
    visits: Visits


Watch = Callable[[JudgedEngine], None]


def judge_engine(  # noqa: PLR0913 - what one engine's answer is made of
    inputs: Inputs, index: int, ruleset: str | None, tasks: Collection[str], span: Month | None, so_far: JudgedSoFar
) -> list[JudgedEngine]:
    """Judge every task of one engine, by each of its rule sets; none where it was not in service yet.

    Args:
        inputs: the site's inputs.
        index: which engine or component.
        ruleset: the rule set asked for instead of the site's.
        tasks: ids to judge, bare or as `set.task`; none means all.
        span: the month whose compliance is asked for, or None.
        so_far: what is found is added to it, a fault of the engine's data once.
    """
    ready = [_Ready(case, *fitting_tasks(case)) for case in build_cases(inputs, index, ruleset)]
    chains = [chains_of(each.case, each.fit) for each in ready]
    names = inputs.rulesets_of(inputs.site.judged_units[index], ruleset)
    judged: list[JudgedEngine] = []
    for place, each in enumerate(ready):
        others = [chain for number, row in enumerate(chains) if number != place for chain in row.values()]
        visits = visits_of(each.case, chains[place].values(), others)
        _judge_by(each, chains[place], visits, names[place], tasks, span, so_far)
        judged.append(JudgedEngine(each.case, chains[place], visits))
    so_far.faults += faults_of(each.case for each in ready)
    return judged


class _Ready(NamedTuple):
    """An engine as one rule set judges it, its tasks, and those of which it is unknown whether they are for it."""

    case: EngineCase
    fit: list[Task]
    unclear: list[Task]


def _judge_by(  # noqa: PLR0913 - what one engine's answer is made of
    ready: _Ready,
    chains: Mapping[str, TaskChain],
    visits: Visits,
    name: str,
    tasks: Collection[str],
    span: Month | None,
    so_far: JudgedSoFar,
) -> None:
    """Judge every task that one rule set has for an engine; `name` is how the site names the set."""
    case, fit, unclear = ready
    so_far.fitted.update((name, task.id) for task in [*fit, *unclear])
    is_over = case.log.out_of_service_us is not None and case.log.out_of_service_us <= case.end_us
    for task in case.book.ruleset.tasks:
        if not is_asked(tasks, case.ruleset, task.id):
            continue
        if task in unclear:
            if not is_over:
                so_far.findings.append(finding_without_window(TaskChain(case, task), is_described=False))
            continue
        chain = chains.get(task.id)
        if chain is None:
            continue
        _judge_task(chain, visits, span, so_far, is_over=is_over)
    so_far.fitted.update((name, budget.id) for some in fitting_budgets(case) for budget in some)
    so_far.shares += site_shares(case, tasks)
    if not is_over:
        so_far.findings += budget_findings(case, tasks)
    if span is not None:
        so_far.occurrences += [entry for _, entry in budget_occurrences(case, tasks, [span])]
    if case.unknown_hours:
        why = next(iter(case.unknown_hours.values()))
        named = ", ".join(case.name_of(task) for task in list(case.unknown_hours)[:MOST_NAMED])
        text = f"{why}: {named} cannot be judged by running hours"
        case.faults.append(Fault(case.engine.id, "history_unknown", None, None, None, text))


def _judge_task(chain: TaskChain, visits: Visits, span: Month | None, so_far: JudgedSoFar, *, is_over: bool) -> None:
    """Judge one task of one engine; a failing inference is a named fault and an unknown task, never a silent pass."""
    try:
        windows = list(chain.windows(visits)) if span is None else windows_of(chain, visits, [span])
        if not is_over:
            so_far.findings.append(_finding(chain, windows, notes_lead=not so_far.is_for_text))
        so_far.skipped += find_skipped(chain, windows, visits)
        if span is not None:
            so_far.occurrences += [entry for _, entry in occurrences_in(chain, windows, [span])]
            so_far.occurrences += [entry for _, entry in condemned_occurrences(chain, [span])]
    except InferenceFaultError as error:
        case = chain.case
        case.faults.append(Fault(case.engine.id, "inference_fault", None, None, None, f"{case.name_of(chain.task.id)}: {error}"))
        of = (case.engine.id, case.ruleset, chain.task.id)
        so_far.findings = [entry for entry in so_far.findings if (entry.engine, entry.ruleset, entry.task) != of]
        so_far.findings.append(finding_without_window(chain, is_described=True, why=str(error)))


def _finding(chain: TaskChain, windows: Sequence[WindowEnd], *, notes_lead: bool) -> Finding:
    """Return the finding of one task, with the faults of what it rests on."""
    window = windows[-1] if windows and windows[-1].is_open else None
    if window is None and chain.idle is not None:
        return finding_now(chain, None)
    if window is None:
        case = chain.case
        text = f"{case.name_of(chain.task.id)}: no completion is known, and the records do not reach back to the engine's first day"
        case.faults.append(Fault(case.engine.id, "no_completion_known", None, None, None, text))
        return finding_without_window(chain, is_described=True)
    for leg in window.legs:
        if leg.meter_misses:
            chain.case.unknown_hours[chain.task.id] = leg.why_unknown
    return finding_of(chain, window, notes_lead=notes_lead)
