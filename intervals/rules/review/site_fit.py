"""What a site must declare for a rule set: the counters, quantities and attributes that its rules ask for.

In: a loaded rule set and a site. Out: problems at the places of the rule set, to be raised by the caller. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from intervals.language.conditions import STANDARD_FACTS, Condition, comparisons_of, facts_compared_alike
from intervals.language.flaws import Flaw, in_file_order, problems_from_flaws
from intervals.language.legs import CALENDAR, LEGS, RUNNING_HOURS, UNDECLARED, uses_of
from intervals.language.measures import SHARE_MEASURE, condition_of_share, is_window_measure, mean_of, names_of_measures
from intervals.language.result_measures import result_measure_of
from intervals.problems import Problem, nearest_of, nearest_word
from intervals.quantities import QUANTITIES, Quantity, levels_of
from intervals.rules.budgets import Budget
from intervals.rules.effects.effect_fields import HOUR_KEY
from intervals.rules.effects.rule_effect import WindowEffect
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.site.model import Site

_SLIP = 0.75
"""From this likeness on, an attribute that nobody states is taken for a slip for one that somebody does."""


def check_against_site(ruleset: RuleSet, site: Site, reported: Collection[str] = ()) -> list[Problem]:
    """Return what a rule set asks for that a site declares nowhere.

    A leg must be a counter or amount, and what is asked for with a bound must be a quantity or an attribute that some engine
    states or that the rule set lists under `attributes`. An attribute that is asked for by value and that no engine states is
    simply not known of them, unless its name is a slip for one that is.

    Args:
        ruleset: the rule set that judges engines of the site.
        site: the site.
        reported: names of which a slip in the site file was reported already.

    Returns:
        Problems at the places of the rule set; empty where everything is declared.
    """
    quantities = site.quantities
    levels = levels_of(quantities)
    stated = {*ruleset.attributes, *reported, *(name for engine in site.judged_units for name in engine.attributes)}
    flaws: list[Flaw] = []
    for index, task in enumerate(ruleset.tasks):
        flaws.extend(flaw.below("tasks", index) for flaw in _undeclared_in_task(task, site, stated))
    for index, adjustment in enumerate(ruleset.adjustments):
        effect = adjustment.effect
        flaws.extend(flaw.below("adjustments", index, effect.key) for flaw in _undeclared_legs(effect.legs, quantities))
        flaws.extend(flaw.below("adjustments", index, "when") for flaw in _undeclared_names(adjustment.when, quantities, stated))
        is_window = isinstance(effect, WindowEffect) and not adjustment.weighs_hours(levels)
        flaws.extend(flaw.below("adjustments", index, "when") for flaw in _wrong_rule(adjustment.when, quantities, is_window=is_window))
    for index, budget in enumerate(ruleset.budgets):
        flaws.extend(flaw.below("budgets", index) for flaw in _undeclared_counts(budget, quantities))
        flaws.extend(flaw.below("budgets", index, "applies_to") for flaw in _undeclared_names(budget.applies_to, quantities, stated))
        for when in dict.fromkeys(budget.conditions):
            flaws.extend(flaw.below("budgets", index, "when") for flaw in _undeclared_names(when, quantities, stated))
            if when is not None:
                flaws.extend(flaw.below("budgets", index, "when") for flaw in _wrong_rule(when, quantities, is_window=False))
    for name, condition in ruleset.conditions.items():
        flaws.extend(flaw.below("conditions", name) for flaw in _undeclared_names(condition, quantities, stated))
    return in_file_order(problems_from_flaws(flaws, ruleset.marked))


def _undeclared_in_task(task: Task, site: Site, stated: set[str]) -> Iterator[Flaw]:
    """Yield a flaw for each leg and each name of a task that nobody declares."""
    quantities = site.quantities
    placed: list[tuple[tuple[str | int, ...], Iterable[str] | None]] = []
    for key, several in (("within" if task.is_once else "every", [every.legs for every in task.every]), ("first", list(task.first or ()))):
        placed += [((key, number) if len(several) > 1 else (key,), legs) for number, legs in enumerate(several)]
    placed += [(("table", number, "every"), row.every) for number, row in enumerate(task.table)]
    placed += [(("lead",), task.lead), (("tolerance",), None if task.tolerance is None else task.tolerance.legs)]
    for place, legs in placed:
        yield from (flaw.below(*place) for flaw in _undeclared_legs(legs, quantities))
    for number, row in enumerate(task.table):
        yield from (flaw.below("table", number, "when") for flaw in _undeclared_names(row.when, quantities, stated))
    yield from (flaw.below("done_when") for flaw in _undeclared_in_runs(task, quantities, stated))
    yield from _undeclared_in_events(task, site, stated)
    yield from (flaw.below("applies_to") for flaw in _undeclared_names(task.applies_to, quantities, stated))


def _undeclared_legs(legs: Iterable[str] | None, quantities: dict[str, Quantity]) -> Iterator[Flaw]:
    """Yield a flaw for each leg that is no counter or amount of the site."""
    for leg in legs or ():
        if leg in UNDECLARED:
            continue
        if leg not in quantities or quantities[leg].kind == "level":
            hours, *counted = uses_of(quantities)
            uses = [hours, CALENDAR, *counted]
            text = f'"{leg}" is not a counter or an amount of this site{nearest_of(leg, uses)}'
            yield Flaw((leg,), text, f"legs here: {', '.join(uses)}; a site declares more under readings.quantities", "undeclared")


def _undeclared_in_runs(task: Task, quantities: dict[str, Quantity], stated: set[str]) -> Iterator[Flaw]:
    """Yield a flaw for each name that a task's run asks for and that nobody declares or no step knows."""
    for part in task.run_parts:
        yield from _undeclared_names(part.when, quantities, stated)
        if part.when is not None:
            yield from _wrong_rule(part.when, quantities, is_window=False)


def _undeclared_in_events(task: Task, site: Site, stated: set[str]) -> Iterator[Flaw]:
    """Yield a flaw for each planned list that the site does not have, and each name that an event asks of the log and nobody declares."""
    for index, event in enumerate(task.after):
        if event.planned is not None and event.planned not in site.planned:
            place = ("after", index, "planned") if len(task.after) > 1 else ("after", "planned")
            text = f'the site has no planned list "{event.planned}"{nearest_of(event.planned, tuple(site.planned))}'
            yield Flaw(place, text, f'write planned: {{{event.planned}: ["2026-11-03T14:00"]}} into site.yaml', "undeclared")
    for event in task.events:
        if event.kind == "when" and event.when is not None:
            key = "due_when" if event.when is task.due_when else "after"
            is_measured = any(is_window_measure(name) for name in event.asked)
            yield from (flaw.below(key) for flaw in _undeclared_names(event.when, site.quantities, stated))
            yield from (flaw.below(key) for flaw in _wrong_rule(event.when, site.quantities, is_window=is_measured))


def _undeclared_names(condition: Condition | None, quantities: dict[str, Quantity], stated: set[str]) -> Iterator[Flaw]:
    """Yield a flaw for each name in a condition that nobody declares."""
    levels = levels_of(quantities)
    for part in dict.fromkeys(comparisons_of(condition)) if condition is not None else ():
        name = part.name
        known = [*levels, *facts_compared_alike(part), *stated, *names_of_measures(levels)]
        is_elsewhere = condition_of_share(name) is not None or result_measure_of(name) is not None
        if name in known or name in STANDARD_FACTS or name in quantities or is_elsewhere:
            continue
        if part.op == "in" and nearest_word(name, known, _SLIP) is None:
            continue
        fix = "declare it: a quantity under readings.quantities of the site, an attribute under attributes of an engine or of the rule set"
        yield Flaw((name,), f'"{name}" is declared nowhere{nearest_of(name, known)}', fix, "undeclared")


def _wrong_rule(condition: Condition, quantities: dict[str, Quantity], *, is_window: bool) -> Iterator[Flaw]:
    """Yield a flaw for each quantity of the site's own that the rule's kind cannot ask for."""
    for part in dict.fromkeys(comparisons_of(condition)):
        quantity = quantities.get(part.name)
        if quantity is None or part.name in QUANTITIES:
            continue
        if quantity.kind != "level":
            yield Flaw((part.name,), f'"{part.name}" is a running total or an amount, not something that holds', None, "asks_wrongly")
        elif is_window:
            text = f'"{part.name}" changes from hour to hour; this rule is judged once, on the window as a whole'
            yield Flaw((part.name,), text, f"ask for {mean_of(part.name)} or {SHARE_MEASURE}, or use {HOUR_KEY}", "asks_wrongly")


def _undeclared_counts(budget: Budget, quantities: Mapping[str, Quantity]) -> Iterator[Flaw]:
    """Yield a flaw for each thing counted that is no counter or amount of the site, or of another unit than the rest."""
    units: dict[str, str] = dict.fromkeys(budget.of.records, LEGS[RUNNING_HOURS].unit)
    for name in budget.of.quantities:
        if name == RUNNING_HOURS:
            units[name] = LEGS[RUNNING_HOURS].unit
        elif name not in quantities or quantities[name].kind == "level":
            uses = uses_of(quantities)
            text = f'"{name}" is not a counter or an amount of this site{nearest_of(name, uses)}'
            yield Flaw(("of",), text, f"known here: {', '.join(uses)}; a site declares more under readings.quantities", "undeclared")
        else:
            units[name] = quantities[name].unit
    if len(set(units.values())) > 1:
        shown = ", ".join(f"{name} in {unit}" for name, unit in units.items())
        yield Flaw(("of",), f"different units cannot be added up: {shown}", "count them in budgets of their own", "unit")
