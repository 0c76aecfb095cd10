"""On which steps of an engine's log a condition of the rule set holds: each different duty cell is put to the rules once.

In: the steps, on which of them the engine ran, the rule book, what the engine states. Out: one flag per step. Refuses nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Flags
from intervals.rulebook.inference import FactValue, Verdict
from intervals.rulebook.level_rules import judge_steps
from intervals.rulebook.rulebook import RuleBook
from intervals.usage.steps import Steps


@dataclass(frozen=True)
class StepConditions:
    """What the rules about runs and levels say of each step.

    Attributes:
        steps: the engine's elementary steps.
        ran: the steps on which it ran; at standstill nothing holds.
        book: its rule book.
        facts: what it states of itself.
    """

    steps: Steps
    ran: Flags
    book: RuleBook
    facts: Mapping[str, FactValue]

    @cached_property
    def _verdicts(self) -> tuple[NDArray[np.int64], list[Verdict]]:
        """The cell of each step (-1 at standstill), and what the rule book says of each cell, judged once."""
        plan = self.book.run_plan
        known = {level: self.steps.levels[level][self.ran] for level in plan.thresholds if level in self.steps.levels}
        judged = judge_steps(self.book.runs, known, plan.thresholds, int(self.ran.sum()), self.facts)
        cell = np.full(len(self.ran), -1, dtype=np.int64)
        cell[self.ran] = judged.cell
        return cell, judged.verdicts

    def where(self, rule: str, *, unknown: bool = False) -> Flags:
        """Return the steps on which a rule holds, or cannot be judged.

        Args:
            rule: the name under which the condition stands among the rules about runs.
            unknown: whether to return where it cannot be judged.
        """
        cell, verdicts = self._verdicts
        # the last entry stands for standstill
        flags = [rule in (verdict.unknown if unknown else verdict.holds) for verdict in verdicts]
        return np.array([*flags, False], dtype=np.bool_)[cell]
