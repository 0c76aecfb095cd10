"""What concerns several entries of a rule set's budgets.

In: the plain data under `budgets`. Out: flaws with places from the document's top. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition
from intervals.language.flaws import Flaw
from intervals.rules.checking.asked_names import Asker, check_asked

_LIMITS = ("at_most", "at_least")


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
        for key in _LIMITS:
            yield from (flaw.below("budgets", index, key) for flaw in _check_limits(key, budget.get(key), named))


def counted_names(data: Mapping[str, Any]) -> set[str]:
    """Return every name that budgets count or ask for, for whoever looks for slips."""
    names: set[str] = set()
    for _, budget in _entries(data):
        counted = budget.get("of")
        names.update(str(part) for part in (counted if isinstance(counted, list | tuple) else [counted]) if isinstance(part, str))
        limits = [limit for key in _LIMITS for limit in _listed(budget.get(key))]
        for asked in [budget, *limits]:
            when = asked.get("when") if isinstance(asked, Mapping) else None
            names.update(str(name) for name in (when if isinstance(when, Mapping) else ()))
    return names


def _entries(data: Mapping[str, Any]) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the mappings under `budgets` with their positions."""
    listed = data.get("budgets")
    return [(index, entry) for index, entry in enumerate(listed) if isinstance(entry, Mapping)] if isinstance(listed, list | tuple) else []


def _listed(limits: object) -> Sequence[object]:
    """Return limits as a list; one may stand by itself."""
    return limits if isinstance(limits, list | tuple) else [limits]


def _check_limits(key: str, limits: object, named: Mapping[str, Condition]) -> Iterator[Flaw]:
    """Yield flaws of dated limits of which it is not clear which is in force, or which ask for what no hour knows."""
    is_list = isinstance(limits, list | tuple)
    seen: dict[str, int] = {}
    for index, limit in enumerate(_listed(limits)):
        if not isinstance(limit, Mapping):
            continue
        place: tuple[int, ...] = (index,) if is_list else ()
        since = str(limit.get("in_force_from") or "")
        if since in seen:
            when = f"in force from {since}" if since else "without in_force_from"
            text = f"two limits {when}; the first one is {key}[{seen[since]}]"
            yield Flaw((*place, "in_force_from"), text, "give each its own in_force_from", "dated")
        seen.setdefault(since, index)
        yield from (flaw.below(*place, "when") for flaw in check_asked(limit.get("when"), named, "hour"))
