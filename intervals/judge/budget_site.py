"""Budgets over all engines of a site together: what each engine counted, and one finding of the whole site.

In: engines made ready to be judged, one by one, in whatever process; then what they counted. Out: `SiteShare` values, plain figures that
travel, and findings whose engine is the site's own id. An engine of which it is unknown whether the budget is for it makes the sum
unknown, unless what is certain breaks the limit, or reaches the minimum, without it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import NamedTuple

from intervals.faults import Fault
from intervals.findings import Finding
from intervals.history.engine_case import EngineCase
from intervals.history.inputs import Inputs
from intervals.history.unknown_names import is_asked
from intervals.judge.budget_account import Account
from intervals.judge.budget_bench import Bench
from intervals.judge.budget_counts import EngineCount, count_of_engine
from intervals.judge.budget_findings import fitting_budgets, judge_of
from intervals.judge.budget_judge import BudgetJudge
from intervals.rulebook.inference import InferenceFaultError
from intervals.rulebook.rulebook import attributes_only
from intervals.rulebook.standings import shared_standings
from intervals.rules.budgets import Budget
from intervals.rules.ruleset import RuleSet


class SiteShare(NamedTuple):
    """What one engine counted for a budget over the whole site.

    Attributes:
        ruleset: id of the rule set.
        budget: id of the budget.
        engine: id of the engine.
        counted: what it counted; None where it does not state what the budget asks for.
        missing: what it does not state.
    """

    ruleset: str
    budget: str
    engine: str
    counted: EngineCount | None
    missing: tuple[str, ...] = ()


def site_shares(case: EngineCase, wanted: Collection[str] = ()) -> Iterator[SiteShare]:
    """Yield what one engine counted for each budget over the whole site that was asked for."""
    if not any(budget.over == "site" for budget in case.book.ruleset.budgets):
        return
    fit, unclear = fitting_budgets(case)
    for budget in case.book.ruleset.budgets:
        if budget.over != "site" or not is_asked(wanted, case.ruleset, budget.id):
            continue
        if budget in fit:
            yield SiteShare(case.ruleset, budget.id, case.engine.id, count_of_engine(case, budget))
        elif budget in unclear and budget.applies_to is not None:
            missing = attributes_only(budget.applies_to, frozenset(), case.facts)
            yield SiteShare(case.ruleset, budget.id, case.engine.id, None, tuple(missing))


def whole_shares(inputs: Inputs, shares: Iterable[SiteShare], engines: Collection[str], ruleset: str | None) -> list[SiteShare]:
    """Return the shares of rule sets of which every engine was judged: what some engines counted is not what the site did.

    Args:
        inputs: the site's inputs.
        shares: what the engines counted that were judged.
        engines: ids of these engines; none means all.
        ruleset: the rule set asked for instead of the site's.
    """
    units = inputs.site.judged_units
    own = {unit.id: set(inputs.rulesets_of(unit, None)) for unit in units}
    if ruleset is not None:
        # one of the site's own is for the engines that go by it, another one for all
        is_own = any(ruleset in names for names in own.values())
        own = {engine: (names & {ruleset} if is_own else {ruleset}) for engine, names in own.items()}
    broken = {inputs.books[name].ruleset.ruleset for engine, names in own.items() if engines and engine not in engines for name in names}
    return [share for share in shares if share.ruleset not in broken]


def site_judges(inputs: Inputs, shares: Sequence[SiteShare]) -> Iterator[BudgetJudge]:
    """Yield who judges each budget over the whole site, in the order of the rule sets; none of which no engine counted anything.

    Args:
        inputs: the site's inputs.
        shares: what every engine counted.
    """
    for ruleset in {book.ruleset.ruleset: book.ruleset for book in inputs.books.values()}.values():
        for budget in ruleset.budgets:
            own = [share for share in shares if (share.ruleset, share.budget) == (ruleset.ruleset, budget.id)]
            if own:
                yield _judge_of_site(inputs, ruleset, budget, own)


def _judge_of_site(inputs: Inputs, ruleset: RuleSet, budget: Budget, shares: Sequence[SiteShare]) -> BudgetJudge:
    """Return who judges one budget over the whole site."""
    unstated = [f"{', '.join(share.missing)}, which {share.engine} does not state" for share in shares if share.counted is None]
    bench = Bench(inputs.site.site, ruleset, inputs.site, shared_standings(), None, "; ".join(unstated))
    counts = tuple(share.counted for share in shares if share.counted is not None)
    return judge_of(bench, budget, Account(budget, inputs.days, inputs.moment.at_us, inputs.moment.last_day, counts))


def site_findings(inputs: Inputs, shares: Sequence[SiteShare], faults: list[Fault]) -> list[Finding]:
    """Return the findings of the budgets over the whole site; a failing inference is added to the faults.

    Args:
        inputs: the site's inputs.
        shares: what every engine counted.
        faults: what is wrong with the site's data, as far as it is known.
    """
    found = []
    for judge in site_judges(inputs, shares):
        try:
            found.append(judge.finding() if judge.account.counts else judge.undescribed())
        except InferenceFaultError as error:
            faults.append(Fault(None, "inference_fault", None, None, None, f"{judge.budget.id}: {error}"))
            found.append(judge.without_account("inference-fault", f"unknown: {error}"))
    return found
