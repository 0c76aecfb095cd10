"""Which tasks of an engine another one does too: what it renews, what is the same work, what the site calls one job.

In: the rule sets of one engine, and its tasks by their words `set.task`. Out: names.
"""

from __future__ import annotations

from collections.abc import Mapping

from intervals.rules.ruleset import RuleSet
from intervals.site.model import Site


def covered_by(ruleset: str, task: str, names: Mapping[str, str], rules: Mapping[str, RuleSet], site: Site) -> tuple[str, ...]:
    """Return the names of the other tasks of an engine that one does too, in the order of `names`.

    Args:
        ruleset: the rule set of the task.
        task: its id.
        names: `set.task` -> the name under which a task of the engine is planned.
        rules: the engine's rule sets by their ids.
        site: the site.
    """
    word = f"{ruleset}.{task}"
    used = rules[ruleset]
    done = {f"{ruleset}.{each}" for each in used.renewed.get(task, {})} | set(used.task(task).same_as)
    done |= {each for group in site.one_job if word in group for each in group}
    done |= {f"{other.ruleset}.{each.id}" for other in rules.values() for each in other.tasks if word in each.same_as}
    return tuple(name for each, name in names.items() if each in done and each != word)
