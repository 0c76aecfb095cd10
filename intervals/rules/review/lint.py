"""What is wrong with a rule set's file, and what a sound one could do better.

In: a path, or a loaded rule set. Out: problems, to be shown as errors and warnings. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from pathlib import Path

from intervals.language.conditions import Comparison, Condition, comparisons_of
from intervals.language.durations import CalendarStep
from intervals.language.flaws import Flaw, in_file_order, problems_from_flaws
from intervals.language.legs import LEGS, USE_LEGS
from intervals.language.measures import condition_of_share, level_of_mean
from intervals.problems import Problem, RuleSetProblemError, nearest_of, nearest_word
from intervals.quantities import QUANTITIES
from intervals.rules.checking.timing_checks import timing_warnings
from intervals.rules.effects.effect_fields import HOUR_KEY, KEYS
from intervals.rules.effects.rule_effect import WindowEffect
from intervals.rules.renewals import made_new_by
from intervals.rules.review.asked_by_rules import near_names, unknown_names, unused_quantities
from intervals.rules.review.band_lint import band_flaws
from intervals.rules.review.procedure_lint import procedure_warnings
from intervals.rules.review.stated_facts import FactCheck
from intervals.rules.ruleset import RuleSet, load_ruleset, shipped_rulesets
from intervals.rules.tasks import Adjustment, Task

_DAYS_A_YEAR = 365.0
_DAYS_A_MONTH = 30.0
_LONGEST_LEAD = 0.5
_SLIP = 0.85
"""From this likeness on, the id of a rule set that is not shipped is taken for a slip for one that is."""


def lint_ruleset(path: Path) -> tuple[list[Problem], list[Problem]]:
    """Return what is wrong with a rule set's file, and what could be better.

    Args:
        path: the YAML file.

    Returns:
        Errors, and warnings; where the file cannot be read there are no warnings.
    """
    try:
        made = load_ruleset(path)
    except RuleSetProblemError as error:
        return list(error.problems), []
    return errors_of(made), warnings_of(made)


def errors_of(ruleset: RuleSet) -> list[Problem]:
    """Return what no site can make good, though a rule set loads: names that nothing can ever supply, in the order of its file.

    Args:
        ruleset: a rule set that was read from a file.

    Returns:
        Problems; those of a base are reported for the base alone.
    """
    flaws = [flaw for flaw in unknown_names(ruleset) if ruleset.marked.origin_of(flaw.place)[0] == ruleset.file]
    return in_file_order(problems_from_flaws(flaws, ruleset.marked))


def warnings_of(ruleset: RuleSet) -> list[Problem]:
    """Return what a sound rule set could do better, in the order of its file.

    Args:
        ruleset: a rule set that was read from a file.

    Returns:
        Problems of numbers 060 and above: harms judged on a mean, missing sources, reasons and examples, leads of more than half
        the interval, legs and rules that can have no effect, facts of examples that no rule can compare, bands that overlap, leave a
        gap or can never be reached. What a base lacks for itself is reported for the base alone.
    """
    flaws = [
        *_missing_words(ruleset),
        *_missing_examples(ruleset),
        *_idle_conditions(ruleset),
        *near_names(ruleset),
        *unused_quantities(ruleset),
        *_odd_facts(ruleset),
        *_budget_warnings(ruleset),
        *_unknown_fellows(ruleset),
        *procedure_warnings(ruleset),
    ]
    flaws = [flaw for flaw in flaws if ruleset.marked.origin_of(flaw.place)[0] == ruleset.file]
    flaws += [*band_flaws(ruleset), *_borrowed_sources(ruleset)]
    for index, task in enumerate(ruleset.tasks):
        warnings = (*_task_warnings(task, ruleset.quantities), *_renewal_warnings(task, ruleset), *timing_warnings(task))
        flaws.extend(flaw.below("tasks", index) for flaw in warnings)
    for index, adjustment in enumerate(ruleset.adjustments):
        flaws.extend(flaw.below("adjustments", index) for flaw in _adjustment_warnings(adjustment, ruleset))
    return in_file_order(problems_from_flaws(flaws, ruleset.marked))


def _missing_words(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each rule without a source or a reason."""
    for index, task in enumerate(ruleset.tasks):
        if ruleset.source is None and task.source is None and any(every.source is None for every in task.intervals):
            yield Flaw(
                ("tasks", index), f'the task "{task.id}" has no source', 'add source: where it comes from, or "own experience"', "no_source"
            )
    for index, adjustment in enumerate(ruleset.adjustments):
        if ruleset.source is None and adjustment.source is None:
            text = f'the adjustment "{adjustment.id}" has no source'
            yield Flaw(("adjustments", index), text, 'add source: where it comes from, or "own experience"', "no_source")
        if adjustment.because is None:
            yield Flaw(
                ("adjustments", index), f'the adjustment "{adjustment.id}" does not say why', "add because: one sentence", "no_because"
            )


def _missing_examples(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each task and adjustment that no worked example shows."""
    shown_tasks = {example.task for example in ruleset.examples}
    fired = {rule for example in ruleset.examples for rule in example.expect.fired or ()}
    if not ruleset.examples:
        yield Flaw((), "the rule set has no worked examples", "add examples: what an engine did, and what must come out", "no_example")
        return
    for index, task in enumerate(ruleset.tasks):
        if task.id not in shown_tasks:
            yield Flaw(("tasks", index), f'no example shows the task "{task.id}"', f"add an example with task: {task.id}", "no_example")
    for index, adjustment in enumerate(ruleset.adjustments):
        if adjustment.id not in fired:
            text = f'no example shows the adjustment "{adjustment.id}"'
            yield Flaw(("adjustments", index), text, f"add an example with expect: {{fired: [{adjustment.id}]}}", "no_example")


def _unknown_fellows(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each same_as that names no task of the shipped rule set, or nearly one of these; others are not known here."""
    asked = [(index, word) for index, task in enumerate(ruleset.tasks) for word in task.same_as]
    shipped = shipped_rulesets() if asked else {}
    for index, word in asked:
        named = next((name for name in shipped if word.startswith(f"{name}.")), None)
        if named is None:
            name, _, _ = word.partition(".")
            near = nearest_word(name, shipped, _SLIP)
            if near and name != ruleset.ruleset:
                text = f'no shipped rule set is called "{name}"; did you mean "{near}"?'
                yield Flaw(
                    ("tasks", index, "same_as"), text, f"write {near}, or leave it where a rule set of your own is meant", "idle_same_as"
                )
            continue
        task, ids = word.removeprefix(f"{named}."), [each.id for each in load_ruleset(shipped[named]).tasks]
        if named != ruleset.ruleset and task not in ids:
            text = f'no task "{task}" in rule set {named}{nearest_of(task, ids)}'
            yield Flaw(("tasks", index, "same_as"), text, f"tasks: {', '.join(ids)}", "idle_same_as")


def _budget_warnings(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield what sound budgets could do better: sources, reasons, an effect for `when_unknown`."""
    for index, budget in enumerate(ruleset.budgets):
        place = ("budgets", index)
        if ruleset.source is None and budget.source is None and any(limit.source is None for limit in budget.limits):
            text = f'the budget "{budget.id}" has no source'
            yield Flaw(place, text, 'add source: where it comes from, or "own experience"', "no_source")
        if budget.because is None:
            yield Flaw(place, f'the budget "{budget.id}" does not say why', "add because: one sentence", "no_because")
        if budget.when_unknown is not None and all(when is None for when in budget.conditions):
            text = f'"{budget.id}" has no condition that could be unknown'
            yield Flaw((*place, "when_unknown"), text, "remove it, or add when", "idle_rule")


def _borrowed_sources(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each interval or effect that this file writes anew under a source that its base wrote."""
    marked = ruleset.marked
    sections: tuple[tuple[str, Sequence[Task | Adjustment], tuple[str, ...]], ...] = (
        ("tasks", ruleset.tasks, ("every", "first", "within", "after", "due_when")),
        ("adjustments", ruleset.adjustments, (*KEYS, "when")),
    )
    for section, entries, fields in sections:
        for index, entry in enumerate(entries):
            place = (section, index)
            own = [name for name in fields if marked.origin_of((*place, name))[0] == ruleset.file and (*place, name) in marked.lines]
            source = (*place, "source")
            if own and source in marked.lines and marked.origin_of(source)[0] != ruleset.file:
                text = f'"{entry.id}" has its own {own[0]}, and the source of the one that it replaces'
                yield Flaw((*place, own[0]), text, 'add source: where the new value comes from, or "own experience"', "borrowed_source")


def _idle_conditions(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each named condition that no other place holds."""
    asked: set[object] = set()
    shares: set[str] = set()
    of_analyses = [task.in_place_of_time.within for task in ruleset.tasks if task.in_place_of_time is not None]
    for condition in [*(condition for place, condition in ruleset.placed_conditions if place[0] != "conditions"), *of_analyses]:
        if condition is not None:
            asked.update(_parts_of(condition))
            shares.update(share for part in comparisons_of(condition) if (share := condition_of_share(part.name)) is not None)
    for name, condition in ruleset.conditions.items():
        if name not in shares and not set(_parts_of(condition)) <= asked:
            yield Flaw(("conditions", name), f'no rule asks for the condition "{name}"', "remove it, or name it in a rule", "idle_rule")


def _odd_facts(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a warning for each fact of an example's engine that no rule can compare: the example shows something else than it says."""
    check = FactCheck([ruleset])
    for index, example in enumerate(ruleset.examples):
        for flaw in check.flaws_of(example.engine):
            yield flaw.below("examples", index, "engine")._replace(kind="odd_fact")


def _parts_of(condition: Condition) -> Iterator[Condition]:
    """Yield a condition's comparisons and alternatives."""
    if isinstance(condition, Comparison):
        yield condition
    else:
        for part in condition.parts:
            yield from _parts_of(part)


def _task_warnings(task: Task, described: Container[str]) -> Iterator[Flaw]:
    """Yield warnings of one task: legs that name nothing and are not described, leads that are too long."""
    for leg in task.legs:
        if leg not in LEGS and leg not in QUANTITIES and leg not in described:
            text = f'"{leg}" is not a canonical quantity{nearest_of(leg, USE_LEGS)}'
            yield Flaw(
                ("within" if task.is_once else "every", leg),
                text,
                "a site that is judged by this must declare it as a counter or an amount",
                "site_leg",
            )
    for key, legs in (("lead", task.lead),):
        for leg in legs or {}:
            if leg not in task.legs:
                yield Flaw(
                    (key, leg), f'{key} names the leg "{leg}", which every does not have', f"remove it, or add {leg} to every", "idle_leg"
                )
    for leg, lead in (task.lead or {}).items():
        shortest = min((_size(every.legs[leg]) for every in task.intervals if leg in every.legs), default=None)
        if shortest is not None and _size(lead) > shortest:
            text = f"the lead of {lead} is longer than the interval; half of the interval counts"
            yield Flaw(("lead", leg), text, "look whether lead and every are swapped; a tenth is usual", "lead_beyond")
        elif shortest is not None and _size(lead) > _LONGEST_LEAD * shortest:
            yield Flaw(("lead", leg), f"the lead of {lead} is more than half the interval; half of it counts", "shorten it", "long_lead")


def _renewal_warnings(task: Task, ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield warnings of `makes_new` where no `first` is stated: such tasks have nothing to start again with."""
    if task.makes_new == "all":
        if not made_new_by(task, ruleset.tasks):
            text = "makes_new: all is every task that states a first interval, and none does"
            yield Flaw(("makes_new",), text, "remove it, and name what the job includes under renews", "idle_rule")
        return
    for place, name in enumerate(task.makes_new):
        if ruleset.task(name).first is None:
            text = f'"{name}" states no first interval; it starts again with its whole one, as with renews'
            yield Flaw(("makes_new", place), text, f"name it under renews, or give {name} a first", "idle_rule")


def _size(value: float | CalendarStep) -> float:
    """Return a leg's length, for comparing: amount of use, or days."""
    if isinstance(value, CalendarStep):
        return value.years * _DAYS_A_YEAR + value.months * _DAYS_A_MONTH + value.weeks * 7 + value.days
    return value


def _adjustment_warnings(adjustment: Adjustment, ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield warnings of one adjustment: harms judged on a mean, effects on nothing."""
    effect = adjustment.effect
    if isinstance(effect, WindowEffect) and effect.shortens:
        for part in dict.fromkeys(comparisons_of(adjustment.when)):
            if (level := level_of_mean(part.name)) is not None:
                text = f'"{part.name}" is a mean: later running hides the hours of harm'
                fix = f"a harm that cannot be undone belongs hour by hour: {HOUR_KEY}, when {level}"
                yield Flaw(("when",), text, fix, "mean_factor")
    for task in () if adjustment.tasks == "all" else [ruleset.task(word) for word in adjustment.tasks]:
        yield from effect.idle_on(task.id, set(task.legs))
