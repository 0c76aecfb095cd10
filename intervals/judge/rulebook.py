"""A rule set made ready to judge: compiled rules, the duty cells they need, and the facts they may ask for.

In: a `RuleSet` and the levels that a site declares. Out: a `RuleBook`: which tasks fit an engine, which adjustments fire on a
duty cell or on a window, and the thresholds at which the ledger must keep hours apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from intervals.inference import FactValue, RuleBase
from intervals.language.conditions import Comparison, Condition, comparisons_of
from intervals.quantities import QUANTITIES
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Adjustment, Task
from intervals.site.model import Site
from intervals.usage.ledger import CellPlan

CONDITION = "condition:"
SHARE = "hours_share_pct:"
MEAN = "mean_"
AVERAGE_POWER = "average_power_pct"
OIL_CONSUMPTION = "oil_consumption_g_per_kwh"
PLAIN_MEASURES = frozenset({AVERAGE_POWER, OIL_CONSUMPTION, "starts_per_100h", "days_since", "running_hours_per_day"})


def level_names(site: Site | None) -> frozenset[str]:
    """Return every level: the canonical ones and those that the site declares."""
    declared = {
        name
        for source in (site.readings if site else ())
        for name, column in source.quantities.items()
        if name not in QUANTITIES and column.kind == "level"
    }
    return frozenset(declared | {name for name, quantity in QUANTITIES.items() if quantity.kind == "level"})


@dataclass(frozen=True)
class RuleBook:
    """One rule set, compiled.

    Attributes:
        ruleset: the rule set.
        levels: names that are levels; every other name of an hour-by-hour rule is an attribute of the engine.
    """

    ruleset: RuleSet
    levels: frozenset[str]

    @cached_property
    def hourly(self) -> tuple[Adjustment, ...]:
        """Adjustments that weigh hours."""
        return tuple(rule for rule in self.ruleset.adjustments if rule.counts_as is not None)

    @cached_property
    def windowed(self) -> tuple[Adjustment, ...]:
        """Adjustments that change the interval, judged on the window as a whole."""
        return tuple(rule for rule in self.ruleset.adjustments if rule.counts_as is None)

    @cached_property
    def fits(self) -> RuleBase:
        """Which tasks are for an engine."""
        return RuleBase("fit", {task.id: task.applies_to for task in self.ruleset.tasks if task.applies_to is not None})

    @cached_property
    def duty(self) -> RuleBase:
        """Which adjustments and named conditions hold on a duty cell."""
        rules: dict[str, Condition] = {rule.id: rule.when for rule in self.hourly}
        rules |= {CONDITION + name: self.ruleset.conditions[name] for name in sorted(self.shared_conditions)}
        return RuleBase("duty", rules)

    @cached_property
    def window(self) -> RuleBase:
        """Which adjustments fire on a window as a whole."""
        return RuleBase("window", {rule.id: rule.when for rule in self.windowed})

    @cached_property
    def shared_conditions(self) -> frozenset[str]:
        """Named conditions of which a rule asks the share of hours."""
        return frozenset(name.removeprefix(SHARE) for name in self.window.names if name.startswith(SHARE))

    @cached_property
    def measures(self) -> tuple[str, ...]:
        """Every figure of a window that some rule asks for."""
        return tuple(sorted(name for name in self.window.names if is_window_measure(name)))

    @cached_property
    def plan(self) -> CellPlan:
        """What the ledger must keep apart and sum."""
        thresholds: dict[str, set[float]] = {}
        for condition in self.duty.rules.values():
            for part in comparisons_of(condition):
                if part.name in self.levels:
                    thresholds.setdefault(part.name, set()).update(_numbers(part))
        means = {name.removeprefix(MEAN) for name in self.window.names if name.startswith(MEAN)}
        if OIL_CONSUMPTION in self.window.names:
            means.add("load_kw")
        return CellPlan(
            {name: tuple(sorted(values)) for name, values in sorted(thresholds.items())},
            frozenset(means),
            AVERAGE_POWER in self.window.names,
        )

    @cached_property
    def _hourly_of(self) -> dict[str, tuple[Adjustment, ...]]:
        return {task.id: tuple(rule for rule in self.hourly if is_for(rule, task)) for task in self.ruleset.tasks}

    @cached_property
    def _windowed_of(self) -> dict[str, tuple[Adjustment, ...]]:
        return {task.id: tuple(rule for rule in self.windowed if is_for(rule, task)) for task in self.ruleset.tasks}

    def hourly_for(self, task: Task) -> tuple[Adjustment, ...]:
        """Return the hour-by-hour adjustments of a task."""
        return self._hourly_of[task.id]

    def windowed_for(self, task: Task) -> tuple[Adjustment, ...]:
        """Return the window adjustments of a task."""
        return self._windowed_of[task.id]


def is_window_measure(name: str) -> bool:
    """Tell whether a name is a figure of the window as a whole."""
    return name in PLAIN_MEASURES or name.startswith((MEAN, SHARE))


def is_for(rule: Adjustment, task: Task) -> bool:
    """Tell whether an adjustment is for a task."""
    return rule.tasks == "all" or task.id in rule.tasks


def _numbers(part: Comparison) -> list[float]:
    """Return the numbers that a comparison names."""
    values = part.value if isinstance(part.value, tuple) else (part.value,)
    return [round(float(value), 6) for value in values if isinstance(value, int | float) and not isinstance(value, bool)]


def cell_levels(levels: Sequence[str], cell: Sequence[int], plan: CellPlan) -> dict[str, float | None]:
    """Return a representative value for each level of a duty cell: the threshold itself, or one between two; None for unknown."""
    return {level: representative(plan.thresholds[level], code) for level, code in zip(levels, cell, strict=True)}


def representative(thresholds: Sequence[float], code: int) -> float | None:
    """Return the value that stands for a cell of the k thresholds (codes 0 to 2k, and 2k + 1 for unknown)."""
    if code > 2 * len(thresholds):
        return None
    if not thresholds:
        return 0.0
    if code % 2:
        return thresholds[code // 2]
    if code == 0:
        return thresholds[0] - 1.0
    if code == 2 * len(thresholds):
        return thresholds[-1] + 1.0
    return (thresholds[code // 2 - 1] + thresholds[code // 2]) / 2.0


def attributes_only(condition: Condition, levels: frozenset[str], facts: Mapping[str, FactValue]) -> tuple[str, ...]:
    """Return the attributes that a condition asks for and the engine does not state."""
    asked = dict.fromkeys(part.name for part in comparisons_of(condition))
    return tuple(name for name in asked if name not in levels and facts.get(name) is None)
