"""The findings of the budgets that are for an engine, in the order of the rule set.

In: an engine made ready to be judged. Out: one `Finding` for each budget; budgets over the whole site are judged in `budget_site.py`, of
what each engine counted. A failing inference is a named fault and an unknown budget.
"""

from __future__ import annotations

from collections.abc import Collection

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.unknown_names import is_asked
from intervals.judge.budget_account import Account
from intervals.judge.budget_bench import Bench
from intervals.judge.budget_counts import count_of_engine
from intervals.judge.budget_judge import BudgetJudge
from intervals.judge.budget_minimum import MinimumJudge
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.rulebook import BUDGET
from intervals.rules.budgets import Budget


def budget_findings(case: EngineCase, wanted: Collection[str] = ()) -> list[Finding]:
    """Return the findings of the budgets that are for an engine, in the order of the rule set; without those over the whole site.

    Args:
        case: the engine; a failing inference is added to its faults.
        wanted: ids of tasks and budgets to judge; none means all.
    """
    fit, unclear = fitting_budgets(case)
    found = []
    for budget in case.book.ruleset.budgets:
        if budget.over == "site" or not is_asked(wanted, case.ruleset, budget.id) or budget not in (*fit, *unclear):
            continue
        judge = judge_of_engine(case, budget, is_described=budget in fit)
        try:
            found.append(judge.finding())
        except InferenceFaultError as error:
            case.faults.append(Fault(case.engine.id, "inference_fault", None, None, None, f"{case.name_of(budget.id)}: {error}"))
            found.append(judge.without_account("inference-fault", f"unknown: {error}"))
    return found


def fitting_budgets(case: EngineCase) -> tuple[list[Budget], list[Budget]]:
    """Return the budgets that are for an engine, and those that cannot be decided, because it does not state enough."""
    budgets = [budget for budget in case.book.ruleset.budgets if case.may_be_for(budget.applies_to)]
    if not budgets:
        return [], []
    verdict = case.book.fits.fire(case.facts)
    fit = [budget for budget in budgets if budget.applies_to is None or BUDGET + budget.id in verdict.holds]
    return fit, [budget for budget in budgets if BUDGET + budget.id in verdict.unknown]


def judge_of_engine(case: EngineCase, budget: Budget, *, is_described: bool = True) -> BudgetJudge:
    """Return who judges a budget of one engine.

    Args:
        case: the engine.
        budget: the budget.
        is_described: whether the engine states what the budget asks for.
    """
    account = Account(budget, case.days, case.end_us, case.last_day, (count_of_engine(case, budget),))
    return judge_of(Bench.of_engine(case, budget, is_described=is_described), budget, account)


def judge_of(bench: Bench, budget: Budget, account: Account) -> BudgetJudge:
    """Return who judges a budget: a limit or a minimum."""
    return (MinimumJudge if budget.is_minimum else BudgetJudge)(bench, budget, account)
