"""On whose behalf a budget is judged: an engine, or a site.

In: an engine made ready, or a site. Out: a `Bench`: the id that findings carry, the rules, what is not stated.
"""

from __future__ import annotations

from typing import NamedTuple

from intervals.history.engine_case import EngineCase
from intervals.rulebook.rulebook import attributes_only
from intervals.rulebook.standings import Standings
from intervals.rules.budgets import Budget
from intervals.rules.ruleset import RuleSet
from intervals.site.model import Site


class Bench(NamedTuple):
    """On whose behalf a budget is judged.

    Attributes:
        engine: the id that the finding carries: the engine's, or the site's.
        ruleset: the rule set.
        site: the site.
        standings: the shared rules.
        case: the engine, where there is one; how fast something is used up is asked of it.
        undescribed: what is not stated that the budget asks for, in words; empty where all is.
    """

    engine: str
    ruleset: RuleSet
    site: Site
    standings: Standings
    case: EngineCase | None = None
    undescribed: str = ""

    @classmethod
    def of_engine(cls, case: EngineCase, budget: Budget, *, is_described: bool) -> Bench:
        """Return the bench of one engine."""
        missing = () if is_described or budget.applies_to is None else attributes_only(budget.applies_to, frozenset(), case.facts)
        undescribed = "" if is_described else f"{', '.join(missing)}, which the engine does not state"
        return cls(case.engine.id, case.book.ruleset, case.site, case.standings, case, undescribed)
