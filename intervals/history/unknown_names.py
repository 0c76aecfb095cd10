"""What was asked for by name: engines and tasks that exist.

In: names, a site or its rule books. Out: problems. Refuses (RequestProblemError) names that do not exist here, with the nearest that do.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Literal

from intervals.language.conditions import comparisons_of, describe_condition
from intervals.language.scalars import shown_value
from intervals.problems import Problem, RequestProblemError, nearest_name_of
from intervals.rulebook.rulebook import RuleBook
from intervals.rules.ruleset import RuleSet
from intervals.site.model import Engine, Site

MOST_NAMED = 30


def no_such(kind: Literal["engine", "task"], option: str, name: str, where: str, known: Sequence[str]) -> Problem:
    """Return the problem of a name that was asked for and does not exist."""
    code = {"engine": "CLI010", "task": "CLI011"}[kind]
    text = f'no {kind} "{name}" {where}{nearest_name_of(name, known)}'
    return Problem(code, option, None, None, text, f"{kind}s: {', '.join(known[:MOST_NAMED])}")


def engine_problems(site: Site, engines: Collection[str], *, with_components: bool = True) -> list[Problem]:
    """Return a problem for each engine asked for that the site does not have; components count as engines where they are judged as such."""
    known = [engine.id for engine in (site.judged_units if with_components else site.engines)]
    return [no_such("engine", "--engine", name, "at this site", known) for name in engines if name not in known]


def task_problems(books: Mapping[str, RuleBook], tasks: Collection[str]) -> list[Problem]:
    """Return a problem for each task asked for that no rule set of the site has."""
    known = list(dict.fromkeys(name for book in books.values() for name in book.ruleset.judged_ids))
    of_sets = {f"{book.ruleset.ruleset}.{name}" for book in books.values() for name in book.ruleset.judged_ids}
    return [no_such("task", "--task", name, f"in {', '.join(books)}", known) for name in tasks if name not in known and name not in of_sets]


def is_asked(tasks: Collection[str], ruleset: str, task: str) -> bool:
    """Tell whether a task or budget was asked for: by its id, or as `set.task`; where nothing was, all are."""
    return not tasks or task in tasks or f"{ruleset}.{task}" in tasks


def check_tasks(books: Mapping[str, RuleBook], tasks: Collection[str]) -> None:
    """Refuse tasks that no rule set of the site has."""
    problems = task_problems(books, tasks)
    if problems:
        raise RequestProblemError(problems)


def why_not(ruleset: RuleSet, engine: Engine, name: str) -> str | None:
    """Return why a task or budget is not for an engine: where it applies, and what the engine states; None where it has no condition.

    Args:
        ruleset: the rule set that judges the engine.
        engine: the engine.
        name: id of a task or budget.
    """
    facts = engine.facts()
    conditions = {entry.id: entry.applies_to for entry in ruleset.tasks} | {entry.id: entry.applies_to for entry in ruleset.budgets}
    name = name.removeprefix(f"{ruleset.ruleset}.")
    condition = conditions.get(name)
    if condition is None:
        return None
    asked = dict.fromkeys(part.name for part in comparisons_of(condition))
    stated = (f"{key} is {shown_value(facts[key])}" if key in facts else f"{key} is not stated" for key in asked)
    return f"{name} applies where {describe_condition(condition)}; for {engine.id}: {', '.join(stated)}"
