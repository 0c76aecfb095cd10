"""A rule set made ready to judge: compiled rules, the duty cells they need, and the facts they may ask for.

In: a `RuleSet` and the levels that a site declares. Out: a `RuleBook`: which tasks fit an engine, which adjustments fire on a
duty cell or on a window, and the thresholds at which the ledger must keep hours apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from intervals.language.conditions import Condition, comparisons_of
from intervals.language.legs import RUNNING_HOURS
from intervals.language.measures import MONTH, WindowMeasure, measure_of, measures_in
from intervals.quantities import QUANTITIES, levels_of
from intervals.rulebook.duty_cells import Cell, CellPlan, thresholds_of
from intervals.rulebook.inference import FactValue, RuleBase, Verdict
from intervals.rules.budgets import Budget
from intervals.rules.effects.rule_effect import StartEffect, WindowEffect
from intervals.rules.in_place import values_behind
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Adjustment, Task
from intervals.site.model import Site

HOURS_OF = "hours of:"
"""Before a measure's name: the rule about duty that says on which hours its condition holds."""
BUDGET = "budget:"
EVENT = "event:"
STARTS = "starts"


def level_names(site: Site | None) -> frozenset[str]:
    """Return what differs from hour to hour: every level, canonical or declared by the site, and the month of the year."""
    return frozenset({*levels_of(QUANTITIES if site is None else site.quantities), MONTH})


@dataclass(frozen=True)
class RuleBook:
    """One rule set, compiled.

    Attributes:
        ruleset: the rule set.
        levels: names that are levels; every other name of an hour-by-hour rule is an attribute of the engine.
        site_rules: rules that the site adds of its own.
    """

    ruleset: RuleSet
    levels: frozenset[str]
    site_rules: tuple[Adjustment, ...] = ()

    @cached_property
    def waits_for_events(self) -> bool:
        """Whether some task is done once after an event."""
        return any(task.is_once for task in self.ruleset.tasks)

    @cached_property
    def hourly(self) -> tuple[Adjustment, ...]:
        """Adjustments that weigh hours."""
        return tuple(rule for rule in self.ruleset.adjustments if rule.weighs_hours(self.levels))

    @cached_property
    def windowed(self) -> tuple[Adjustment, ...]:
        """Adjustments that change the interval, judged on the window as a whole."""
        rules = (*self.ruleset.adjustments, *self.site_rules)
        return tuple(rule for rule in rules if isinstance(rule.effect, WindowEffect) and not rule.weighs_hours(self.levels))

    @cached_property
    def per_start(self) -> tuple[Adjustment, ...]:
        """Adjustments that make starts count as hours."""
        return tuple(rule for rule in self.ruleset.adjustments if isinstance(rule.effect, StartEffect))

    @cached_property
    def fits(self) -> RuleBase:
        """Which tasks and budgets are for an engine."""
        rules = {task.id: task.applies_to for task in self.ruleset.tasks if task.applies_to is not None}
        rules |= {BUDGET + budget.id: budget.applies_to for budget in self.ruleset.budgets if budget.applies_to is not None}
        return RuleBase("fit", rules)

    @cached_property
    def duty(self) -> RuleBase:
        """Which adjustments, conditions of window measures and conditions of budgets hold on a duty cell."""
        rules: dict[str, Condition] = {rule.id: rule.when for rule in (*self.hourly, *self.per_start)}
        rules |= {
            HOURS_OF + measure.name: self.ruleset.conditions[where] if isinstance(where, str) else where
            for measure in self.measures
            if (where := measure.hours_on) is not None
        }
        rules |= {
            budget_rule(budget, index): when
            for budget in self.ruleset.budgets
            for index, when in enumerate(budget.conditions)
            if when is not None
        }
        return RuleBase("duty", rules)

    @cached_property
    def window(self) -> RuleBase:
        """Which adjustments fire on a window as a whole, and which tasks fall due by its measures."""
        return RuleBase("window", {**{rule.id: rule.when for rule in self.windowed}, **self._events_on(measured=True)})

    @cached_property
    def analyses(self) -> RuleBase:
        """Whether an analysis is within the limits that let it take the place of a task, all and each, and whether it is an event."""
        rules: dict[str, Condition] = {}
        for task in self.ruleset.tasks:
            if task.in_place_of_time is not None:
                rules[task.id] = task.in_place_of_time.within
                rules |= {limit_rule(task, number): limit for number, limit in enumerate(task.in_place_of_time.limits)}
            for number, event in enumerate(task.events):
                if event.kind == "result" and event.when is not None:
                    rules[event_rule(task, number)] = event.when
        return RuleBase("analyses", rules)

    @cached_property
    def lab_values(self) -> frozenset[str]:
        """Every value that some task asks of an analysis."""
        asked = [task.in_place_of_time.values for task in self.ruleset.tasks if task.in_place_of_time is not None]
        asked += [row.lab_values for task in self.ruleset.tasks for row in task.table]
        asked += [values_behind(event.figures) for task in self.ruleset.tasks for event in task.events]
        return frozenset[str]().union(*asked)

    @cached_property
    def tables(self) -> RuleBase:
        """Which rows of the tables of intervals hold by the results that were known."""
        rows = ((table_rule(task, number), row.when) for task in self.ruleset.tasks for number, row in enumerate(task.table))
        return RuleBase("table", dict(rows))

    @cached_property
    def asks_found(self) -> bool:
        """Whether some table or some event asks how parts were found, or what failed."""
        tasks = self.ruleset.tasks
        kinds = {measure.kind for task in tasks for row in task.table for measure in row.measures.values()}
        return not kinds.isdisjoint(("found", "failures")) or any(event.found for task in tasks for event in task.events)

    @cached_property
    def measures(self) -> tuple[WindowMeasure, ...]:
        """Every figure of a window that some rule asks for, by name."""
        return tuple(measure for name in sorted(self.window.names) if (measure := measure_of(name)) is not None)

    @cached_property
    def plan(self) -> CellPlan:
        """What the ledger must keep apart and sum."""
        return CellPlan(
            thresholds_of(self.duty.rules.values(), self.levels),
            frozenset(level for measure in self.measures for level in measure.levels),
            frozenset({STARTS} if self.per_start else ()) | self._counted_by_cell,
        )

    @cached_property
    def _counted_by_cell(self) -> frozenset[str]:
        """Counters and amounts that some budget counts under a condition."""
        asked = [budget for budget in self.ruleset.budgets if any(when is not None for when in budget.conditions)]
        return frozenset(name for budget in asked for name in budget.of.quantities if name != RUNNING_HOURS)

    @cached_property
    def runs(self) -> RuleBase:
        """Which parts of a task's `done_when` hold on a step of the log, and which events."""
        parts = ((run_rule(task, index), part.when) for task in self.ruleset.tasks for index, part in enumerate(task.run_parts))
        return RuleBase("run", {**{name: when for name, when in parts if when is not None}, **self._events_on(measured=False)})

    def _events_on(self, *, measured: bool) -> dict[str, Condition]:
        """Return the conditions after which tasks are due: those on measures of a window, or those on levels of the log."""
        return {
            event_rule(task, number): event.when
            for task in self.ruleset.tasks
            for number, event in enumerate(task.events)
            if event.kind == "when" and event.when is not None and bool(measures_in(event.when)) == measured
        }

    @cached_property
    def run_plan(self) -> CellPlan:
        """The cells that the conditions of runs distinguish."""
        return CellPlan(thresholds_of(self.runs.rules.values(), self.levels))

    @cached_property
    def _hourly_of(self) -> dict[str, tuple[Adjustment, ...]]:
        return {task.id: tuple(rule for rule in self.hourly if is_for(rule, task)) for task in self.ruleset.tasks}

    @cached_property
    def _per_start_of(self) -> dict[str, tuple[Adjustment, ...]]:
        return {task.id: tuple(rule for rule in self.per_start if is_for(rule, task)) for task in self.ruleset.tasks}

    @cached_property
    def _windowed_of(self) -> dict[str, tuple[Adjustment, ...]]:
        return {task.id: tuple(rule for rule in self.windowed if is_for(rule, task)) for task in self.ruleset.tasks}

    def hourly_for(self, task: Task) -> tuple[Adjustment, ...]:
        """Return the hour-by-hour adjustments of a task."""
        return self._hourly_of[task.id]

    def per_start_for(self, task: Task) -> tuple[Adjustment, ...]:
        """Return the adjustments that make starts count as hours of a task."""
        return self._per_start_of[task.id]

    @cached_property
    def _weight_keys(self) -> dict[str, tuple[str, ...]]:
        return {task.id: tuple(rule.id for rule in (*self.hourly_for(task), *self.per_start_for(task))) for task in self.ruleset.tasks}

    def verdicts_of_cells(self, stated: Mapping[str, FactValue]) -> dict[Cell, Verdict]:
        """Return a memory of what the rules say of duty cells of engines that state the same, filled as needed.

        Args:
            stated: what an engine states of itself.
        """
        # a number and a truth value that are equal are not the same fact
        asked = tuple([(type(value), value) for value in map(stated.get, self._asked_of_cells)])
        return self._verdicts_of_cells.setdefault(asked, {})

    @cached_property
    def _asked_of_cells(self) -> tuple[str, ...]:
        """Every fact that the rules about duty ask for."""
        return tuple(sorted(self.duty.names))

    @cached_property
    def _verdicts_of_cells(self) -> dict[tuple[tuple[type, FactValue], ...], dict[Cell, Verdict]]:
        """What the rules say of duty cells, by what the engines state that they are of."""
        return {}

    @cached_property
    def counts_of_cells(self) -> dict[tuple[str, ...], Any]:
        """A memory of what an hour and a start count, by the rules of a task and what they say of a duty cell, filled as needed."""
        return {}

    def weight_key(self, task: Task) -> tuple[str, ...]:
        """Return the ids of the rules that weigh a task's hours: tasks of one key use up their hours alike."""
        return self._weight_keys[task.id]

    def windowed_for(self, task: Task) -> tuple[Adjustment, ...]:
        """Return the window adjustments of a task."""
        return self._windowed_of[task.id]


def run_rule(task: Task, index: int) -> str:
    """Return the name under which one part of a task's `done_when` stands among the rules about runs."""
    return f"{task.id} {index}"


def table_rule(task: Task, number: int) -> str:
    """Return the name under which one row of a task's table stands among the rules about tables."""
    return f"{task.id}:{number}"


def event_rule(task: Task, number: int) -> str:
    """Return the name under which the condition of one of a task's events stands among the rules."""
    return f"{EVENT}{task.id}:{number}"


def limit_rule(task: Task, number: int) -> str:
    """Return the name under which one limit of a task's analysis stands among the rules about analyses."""
    return f"{task.id}:{number}"


def budget_rule(budget: Budget, place: int) -> str:
    """Return the name under which the condition of a budget's limit stands among the rules about duty."""
    return f"{BUDGET}{budget.id}:{place}"


def is_for(rule: Adjustment, task: Task) -> bool:
    """Tell whether an adjustment is for a task."""
    return rule.tasks == "all" or task.id in rule.tasks


def attributes_only(condition: Condition, levels: frozenset[str], facts: Mapping[str, FactValue]) -> tuple[str, ...]:
    """Return the attributes that a condition asks for and the engine does not state."""
    asked = dict.fromkeys(part.name for part in comparisons_of(condition))
    return tuple(name for name in asked if name not in levels and facts.get(name) is None)
