"""What concerns several entries of a rule set's budgets, what they could do better, and what a site must declare for them.

In: the plain data under `budgets`, or loaded budgets. Out: flaws with places from the document's top. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from intervals.language.conditions import Condition
from intervals.language.flaws import Flaw
from intervals.language.legs import RUNNING_HOURS_LEG
from intervals.problems import nearest_of
from intervals.quantities import Quantity
from intervals.rules.asked_names import Asker, check_asked

if TYPE_CHECKING:
    from intervals.rules.budgets import Budget
    from intervals.rules.ruleset import RuleSet

HOURS_UNIT = "h"


def check_budgets(data: Mapping[str, Any], named: Mapping[str, Condition], task_ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield all that is wrong between the entries of `budgets`.

    Args:
        data: the rule set's plain data.
        named: its conditions by name.
        task_ids: ids of its tasks, which a budget's id must not repeat: both name a finding.
    """
    seen: dict[str, int] = {}
    for index, budget in _entries(data):
        word = str(getattr(budget.get("id"), "text", budget.get("id")))
        if word in seen:
            text = f'two budgets with the id "{word}"; the first one is budgets[{seen[word]}]'
            yield Flaw(("budgets", index, "id"), text, "rename one of them", "duplicate")
        elif word in task_ids:
            yield Flaw(("budgets", index, "id"), f'a task has the id "{word}" too', "rename one of them", "duplicate")
        seen.setdefault(word, index)
        askers: tuple[tuple[str, Asker], ...] = (("applies_to", "applies_to"), ("when", "hour"))
        for key, asker in askers:
            yield from (flaw.below("budgets", index, key) for flaw in check_asked(budget.get(key), named, asker))
        yield from (flaw.below("budgets", index, "at_most") for flaw in _check_limits(budget.get("at_most"), named))


def counted_names(data: Mapping[str, Any]) -> set[str]:
    """Return every name that budgets count or ask for, for whoever looks for slips."""
    names: set[str] = set()
    for _, budget in _entries(data):
        counted = budget.get("of")
        names.update(str(part) for part in (counted if isinstance(counted, list | tuple) else [counted]) if isinstance(part, str))
        limits = budget.get("at_most")
        for asked in [budget, *(limits if isinstance(limits, list | tuple) else [limits])]:
            when = asked.get("when") if isinstance(asked, Mapping) else None
            names.update(str(name) for name in (when if isinstance(when, Mapping) else ()))
    return names


def _entries(data: Mapping[str, Any]) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the mappings under `budgets` with their positions."""
    listed = data.get("budgets")
    return [(index, entry) for index, entry in enumerate(listed) if isinstance(entry, Mapping)] if isinstance(listed, list | tuple) else []


def _check_limits(limits: object, named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield flaws of dated limits of which it is not clear which is in force, or which ask for what no hour knows."""
    is_list = isinstance(limits, list | tuple)
    seen: dict[str, int] = {}
    for index, limit in enumerate(limits if isinstance(limits, list | tuple) else [limits]):
        if not isinstance(limit, Mapping):
            continue
        place: tuple[int, ...] = (index,) if is_list else ()
        since = str(limit.get("in_force_from") or "")
        if since in seen:
            when = f"in force from {since}" if since else "without in_force_from"
            text = f"two limits {when}; the first one is at_most[{seen[since]}]"
            yield Flaw((*place, "in_force_from"), text, "give each its own in_force_from", "dated")
        seen.setdefault(since, index)
        yield from (flaw.below(*place, "when") for flaw in check_asked(limit.get("when"), named, "hour"))


def budget_warnings(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield what sound budgets could do better: sources, reasons, an effect for `when_unknown`."""
    for index, budget in enumerate(ruleset.budgets):
        place = ("budgets", index)
        if ruleset.source is None and budget.source is None and any(limit.source is None for limit in budget.at_most):
            text = f'the budget "{budget.id}" has no source'
            yield Flaw(place, text, 'add source: where it comes from, or "own experience"', "no_source")
        if budget.because is None:
            yield Flaw(place, f'the budget "{budget.id}" does not say why', "add because: one sentence", "no_because")
        if budget.when_unknown is not None and all(when is None for when in budget.conditions):
            text = f'"{budget.id}" has no condition that could be unknown'
            yield Flaw((*place, "when_unknown"), text, "remove it, or add when", "idle_rule")


def undeclared_counts(budget: Budget, quantities: Mapping[str, Quantity]) -> Iterator[Flaw]:
    """Yield a flaw for each thing counted that is no counter or amount of the site, or of another unit than the rest."""
    units: dict[str, str] = dict.fromkeys(budget.of.records, HOURS_UNIT)
    for name in budget.of.quantities:
        if name == RUNNING_HOURS_LEG:
            units[name] = HOURS_UNIT
        elif name not in quantities or quantities[name].kind == "level":
            uses = [RUNNING_HOURS_LEG, *(known for known, quantity in quantities.items() if quantity.kind != "level")]
            text = f'"{name}" is not a counter or an amount of this site{nearest_of(name, uses)}'
            yield Flaw(("of",), text, f"known here: {', '.join(uses)}; a site declares more under readings.quantities", "undeclared")
        else:
            units[name] = quantities[name].unit
    if len(set(units.values())) > 1:
        shown = ", ".join(f"{name} in {unit}" for name, unit in units.items())
        yield Flaw(("of",), f"different units cannot be added up: {shown}", "count them in budgets of their own", "unit")
