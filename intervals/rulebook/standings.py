"""The rules that every schedule shares, compiled once for a process.

In: facts about a leg, a window, a visit or an occurrence. Out: the rule that fires. The rules themselves are in `standing_rules`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from intervals.rulebook.inference import FactValue, RuleBase
from intervals.rulebook.standing_rules import (
    ANALYSIS_RULES,
    BUDGET_RULES,
    DEFERRAL_RULES,
    GRID_RULES,
    LEG_RULES,
    MET_RULES,
    MINIMUM_RULES,
    RUN_RULES,
    SKIPPED_RULES,
    STANDING_RULES,
    TOLERANCE_RULES,
)

# what the rules about skipped work suppose of a fact that is not stated
_NOTHING_SKIPPED: dict[str, FactValue] = {
    "due_points_missed": 0.0,
    "at_visit": False,
    "ran_past": False,
    "done_around_visit": False,
    "from_early": None,
    "outcome": "done",
    "from_opening": None,
    "run_short_by_min": None,
    "run_share_met": None,
    "run_share_run": None,
    "run_is_other": True,
}


@dataclass(frozen=True)
class Standings:
    """The shared rules, compiled once for a run."""

    _task_rules: dict[tuple[object, ...], str] = field(default_factory=dict, repr=False)
    _judged: dict[tuple[object, ...], bool] = field(default_factory=dict, repr=False)

    def __reduce__(self) -> tuple[Callable[[], Standings], tuple[()]]:
        """Return what travels to another process: nothing, it has these rules; what durable-rules holds of them is never given back."""
        return shared_standings, ()

    @cached_property
    def legs(self) -> RuleBase:
        """Rules about one leg."""
        return RuleBase("legs", LEG_RULES, only_first=True)

    @cached_property
    def tasks(self) -> RuleBase:
        """Rules about one task."""
        return RuleBase("standing", STANDING_RULES, only_first=True)

    @cached_property
    def tolerance(self) -> RuleBase:
        """Rules about tolerance."""
        return RuleBase("tolerance", TOLERANCE_RULES)

    @cached_property
    def deferral(self) -> RuleBase:
        """Rules about an approved deferral."""
        return RuleBase("deferral", DEFERRAL_RULES, only_first=True)

    @cached_property
    def skipped(self) -> RuleBase:
        """Rules about occurrences that were never done."""
        return RuleBase("skipped", SKIPPED_RULES)

    @cached_property
    def runs(self) -> RuleBase:
        """Rules about a part of a run in the log."""
        return RuleBase("runs", RUN_RULES)

    @cached_property
    def met(self) -> RuleBase:
        """Rules about how an occurrence was met."""
        return RuleBase("met", MET_RULES, only_first=True)

    @cached_property
    def grid(self) -> RuleBase:
        """Rules about where the next window starts."""
        return RuleBase("grid", GRID_RULES)

    @cached_property
    def analyses(self) -> RuleBase:
        """Rules about analyses that take the place of a task."""
        return RuleBase("analyses", ANALYSIS_RULES, only_first=True)

    @cached_property
    def budgets(self) -> RuleBase:
        """Rules about budgets."""
        return RuleBase("budgets", BUDGET_RULES, only_first=True)

    @cached_property
    def minima(self) -> RuleBase:
        """Rules about budgets that ask for so much at least."""
        return RuleBase("minima", MINIMUM_RULES, only_first=True)

    def skipped_rules(self, facts: Mapping[str, FactValue]) -> tuple[str, ...]:
        """Return the rules about skipped work that fire; what is not stated is not the case."""
        return self.skipped.fire({**_NOTHING_SKIPPED, **facts}).holds

    def is_attempt(self, run_facts: Mapping[str, FactValue]) -> bool:
        """Put it to the rules whether a run in the log that fell short is listed as an attempt at its task."""
        return "run-fell-short" in self.skipped_rules(run_facts)

    def is_failed_attempt(self, attempt_facts: Mapping[str, FactValue]) -> bool:
        """Put it to the rules whether a run in the log that fell short counts among the failures of its task."""
        return "attempt-failed" in self.runs.fire(attempt_facts).holds

    def task_rule(  # noqa: PLR0913 - one argument for each fact of the standing rules
        self,
        whichever: str,
        fired: frozenset[str],
        *,
        has_interval: bool = True,
        has_window: bool = True,
        is_described: bool = True,
        deferral: str = "none",
        table: str = "none",
        idle: str = "none",
    ) -> str:
        """Return the standing rule that fires, from the leg rules that fired; equal situations are judged once.

        Args:
            whichever: `first` or `last`, as the task says.
            fired: the leg rules that fired, each once.
            has_interval: whether an interval is in force.
            has_window: whether it is known when the task was last done.
            is_described: whether the engine states what the task's condition asks for.
            deferral: `none`, `holds`, `ended` or `unknown`.
            table: of an interval by results, `outside` where no row holds, `unknown` where that cannot be judged; else `none`.
            idle: of a task done once while no event is open, `done` or `waits`; else `none`.

        Returns:
            A name of `TaskRule`.

        Raises:
            InferenceFaultError: no rule fired, or the engine that judges failed.
        """
        situation = (whichever, fired, has_interval, has_window, is_described, deferral, table, idle)
        if situation not in self._task_rules:
            facts: dict[str, FactValue] = {
                "whichever": whichever,
                "is_described": is_described,
                "has_window": has_window,
                "has_interval": has_interval,
                "deferral": deferral,
                "table": table,
                "idle": idle,
                **{f"any_{word}": f"leg-{word}" in fired for word in ("past", "waits", "near", "clear", "unknown", "outrun")},
            }
            self._task_rules[situation] = self.tasks.fire_one(facts)
        return self._task_rules[situation]

    def judged_once(self, situation: tuple[object, ...], judge: Callable[[], bool]) -> bool:
        """Return a judgement of one situation; an equal one is not judged again."""
        known = self._judged.get(situation)
        if known is None:
            known = self._judged[situation] = judge()
        return known


@lru_cache(maxsize=1)
def shared_standings() -> Standings:
    """Return the shared rules of this process: what they have judged once they need not judge again."""
    return Standings()
