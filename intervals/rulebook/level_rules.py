"""Conditions on levels that change from step to step: judged once for each duty cell, whatever number of steps lie in it.

In: conditions, and the levels of many steps or rows. Out: what the inference engine says of each of them. Refuses nothing: where a level
that decides is unknown, the verdict is unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from intervals.arrays import Floats
from intervals.language.conditions import Condition
from intervals.rulebook.duty_cells import CellsOf, Codes, cell_levels, thresholds_of
from intervals.rulebook.inference import FactValue, RuleBase, Verdict

# a site states what running means once, or for a few engines
CONDITIONS_KEPT = 64


class JudgedSteps(NamedTuple):
    """What rules say of many steps.

    Attributes:
        verdicts: what they say of each duty cell in which there is any step.
        cell: the place in `verdicts` that holds of each step.
    """

    verdicts: list[Verdict]
    cell: Codes


def judge_steps(
    rules: RuleBase,
    levels: Mapping[str, Floats],
    thresholds: Mapping[str, tuple[float, ...]],
    count: int,
    facts: Mapping[str, FactValue] | None = None,
) -> JudgedSteps:
    """Return what rules say of many steps, each different duty cell judged once.

    Args:
        rules: the rules.
        levels: the levels that are known anywhere, `count` values each, NaN where unknown.
        thresholds: by level, the thresholds that the rules name (`duty_cells.thresholds_of`).
        count: how many steps there are.
        facts: what holds of every step beside its levels.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    cells, place = CellsOf(levels, thresholds, count).present()
    given = facts or {}
    return JudgedSteps([rules.fire({**given, **cell_levels(cell, thresholds)}) for cell in cells], place)


def holds_where(condition: Condition, levels: Mapping[str, Floats], count: int) -> Floats:
    """Return 1 for each step on which a condition on levels holds, 0 where it does not, NaN where that is unknown.

    A value counts as what it is when rounded to a millionth, as in every duty cell.

    Args:
        condition: what is asked; it asks for levels only.
        levels: the levels that are known anywhere, `count` values each, NaN where unknown.
        count: how many steps there are.

    Raises:
        InferenceFaultError: the inference engine failed.

    Example:
        >>> from intervals.language.conditions import Comparison
        >>> holds_where(Comparison("load_kw", ">", 5.0), {"load_kw": np.array([4.0, 5.0000001, 6.0, np.nan])}, 4)
        array([ 0.,  0.,  1., nan])
    """
    rules = _rules_of(condition)
    verdicts, cell = judge_steps(rules, levels, thresholds_of([condition], rules.names), count)
    holds: Floats = np.array([1.0 if each.holds else np.nan if each.unknown else 0.0 for each in verdicts])[cell]
    return holds


@lru_cache(maxsize=CONDITIONS_KEPT)
def _rules_of(condition: Condition) -> RuleBase:
    """Return one condition, compiled: a site's engines mostly share what running means."""
    return RuleBase("running", {"holds": condition})
