"""What concerns several entries of a rule set at once: ids, references, circles, and what each kind of rule may ask.

In: a rule set's plain data, as it was read, whether or not its fields are right. Out: flaws, so that they are reported
together with those of single fields. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.language.conditions import Condition, comparisons_of
from intervals.language.done_when import conditions_in
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.legs import CALENDAR, UNDECLARED
from intervals.language.measures import is_window_measure
from intervals.language.result_measures import result_measure_of
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.problems import nearest_of
from intervals.quantities import QUANTITIES
from intervals.rules.checking.adjustment_checks import check_adjustment, check_limits, check_replaced_legs
from intervals.rules.checking.asked_names import check_asked
from intervals.rules.checking.budget_checks import check_budgets, counted_names
from intervals.rules.checking.event_checks import check_events
from intervals.rules.checking.procedure_checks import check_procedures
from intervals.rules.checking.table_checks import check_table, intervals_in
from intervals.rules.checking.timing_checks import check_timing
from intervals.rules.events import event_conditions_in
from intervals.rules.named_conditions import parse_named
from intervals.rules.weights import check_weights

Place = tuple[str | int, ...]
Entries = Sequence[tuple[int, Mapping[str, Any]]]


def check_rules(data: Mapping[str, Any]) -> list[Flaw]:
    """Return all that is wrong between the entries of a rule set.

    Args:
        data: the rule set's plain data; entries that are not what they should be are passed over.

    Returns:
        Flaws with places from the document's top.
    """
    named, _ = parse_named(data.get("conditions"))
    tasks, adjustments, examples = (_entries(data, key) for key in ("tasks", "adjustments", "examples"))
    task_ids = _ids(tasks, "id")
    rule_ids = _ids(adjustments, "id")
    flaws = [
        *_duplicates("tasks", tasks, "id"),
        *_duplicates("adjustments", adjustments, "id"),
        *_duplicates("examples", examples, "name"),
        *_check_references(tasks, adjustments, examples, task_ids, rule_ids, _ids(_entries(data, "budgets"), "id")),
        *_check_circles(tasks),
        *_check_fellows(tasks, task_ids, _as_text(data.get("ruleset"))),
        *check_limits(data.get("limits")),
        *check_replaced_legs(tasks, adjustments),
        *check_budgets(data, named, task_ids),
        *check_procedures(data, named, task_ids),
        *check_weights(data, {"tasks": tasks, "budgets": _entries(data, "budgets")}),
        *_check_examples(examples, _asked_of(tasks, adjustments, named) | counted_names(data)),
        *_check_jobs_since(examples),
        *_check_attributes(data.get("attributes")),
    ]
    for index, task in tasks:
        for key in ("every", "within"):
            flaws.extend(flaw.below("tasks", index, key) for flaw in _check_dated(task.get(key)))
        flaws.extend(flaw.below("tasks", index) for flaw in check_events(task, named, task_ids))
        flaws.extend(flaw.below("tasks", index, "applies_to") for flaw in check_asked(task.get("applies_to"), named, "applies_to"))
        flaws.extend(flaw.below("tasks", index) for flaw in (*check_table(task, named), *check_timing(task, named)))
    for index, adjustment in adjustments:
        flaws.extend(flaw.below("adjustments", index) for flaw in check_adjustment(adjustment, named))
    return flaws


def _entries(data: Mapping[str, Any], key: str) -> list[tuple[int, Mapping[str, Any]]]:
    """Return the mappings of a list with their positions."""
    listed = data.get(key)
    return [(index, entry) for index, entry in enumerate(listed) if isinstance(entry, Mapping)] if isinstance(listed, (list, tuple)) else []


def _ids(entries: Entries, key: str) -> list[str]:
    """Return the ids of entries as text."""
    return [_as_text(entry[key]) for _, entry in entries if entry.get(key) is not None]


def _as_text(value: object) -> str:
    """Return an id as it was written."""
    return str(getattr(value, "text", value))


def _words(value: object) -> list[tuple[Place, str]]:
    """Return a word or list of words, each with its place."""
    if isinstance(value, (list, tuple)):
        return [((index,), _as_text(word)) for index, word in enumerate(value) if isinstance(word, (str, int, float))]
    return [((), _as_text(value))] if isinstance(value, (str, int, float)) else []


def _duplicates(section: str, entries: Entries, key: str) -> Iterator[Flaw]:
    """Yield a flaw for each entry whose id or name was there before."""
    seen: dict[str, int] = {}
    for index, entry in entries:
        if entry.get(key) is None:
            continue
        word = _as_text(entry[key])
        if word in seen:
            yield Flaw(
                (section, index, key),
                f'two {section} with the {key} "{word}"; the first one is {section}[{seen[word]}]',
                "rename one of them",
                "duplicate",
            )
        else:
            seen[word] = index


def _check_references(  # noqa: PLR0913 - what may name, and what may be named
    tasks: Entries,
    adjustments: Entries,
    examples: Entries,
    task_ids: Sequence[str],
    rule_ids: Sequence[str],
    budget_ids: Sequence[str],
) -> Iterator[Flaw]:
    """Yield a flaw for each word that should name a task or an adjustment and does not."""
    places: list[tuple[Place, object]] = []
    for index, task in tasks:
        places.append((("tasks", index, "renews"), task.get("renews")))
        places.append((("tasks", index, "makes_new"), None if task.get("makes_new") == "all" else task.get("makes_new")))
    for index, adjustment in adjustments:
        places.append((("adjustments", index, "tasks"), None if adjustment.get("tasks") == "all" else adjustment.get("tasks")))
    shown = [(index, example.get("task")) for index, example in examples]
    places.extend((("examples", index, "task"), name) for index, name in shown if name not in budget_ids)
    jobs = [(index, example.get("done_since")) for index, example in examples]
    places.extend((("examples", index, "done_since", name), name) for index, done in jobs if isinstance(done, Mapping) for name in done)
    for place, value in places:
        for below, word in _words(value):
            if word not in task_ids:
                yield Flaw(
                    (*place, *below),
                    f'no task has the id "{word}"{nearest_of(word, task_ids)}',
                    f"tasks: {', '.join(task_ids)}",
                    "unknown_task",
                )
    for index, example in examples:
        expected = example.get("expect")
        for below, word in _words(expected.get("fired") if isinstance(expected, Mapping) else None):
            if word not in rule_ids:
                text = f'no adjustment has the id "{word}"{nearest_of(word, rule_ids)}'
                yield Flaw(("examples", index, "expect", "fired", *below), text, f"adjustments: {', '.join(rule_ids)}", "unknown_rule")


def _check_circles(tasks: Entries) -> Iterator[Flaw]:
    """Yield one flaw for each circle of tasks that renew one another."""
    renews = {_as_text(task["id"]): [word for _, word in _words(task.get("renews"))] for _, task in tasks if task.get("id") is not None}
    places = {_as_text(task["id"]): index for index, task in tasks if task.get("id") is not None}
    done: set[str] = set()
    for start, first in renews.items():
        trail = [start] if start not in done else []
        stack = [(start, iter(first))] if start not in done else []
        while stack:
            task, following = stack[-1]
            word = next(following, None)
            if word is None:
                done.add(task)
                stack.pop()
                trail.pop()
            elif word in trail:
                circle = [*trail[trail.index(word) :], word]
                yield Flaw(
                    ("tasks", places[task], "renews"),
                    f"tasks renew one another in a circle: {' -> '.join(circle)}",
                    "leave out one of them",
                    "renews_cycle",
                )
            elif word in renews and word not in done:
                trail.append(word)
                stack.append((word, iter(renews[word])))


def _check_dated(every: object) -> Iterator[Flaw]:
    """Yield flaws of a list of intervals of which it is not clear which is in force."""
    if not isinstance(every, (list, tuple)):
        return
    seen: dict[str, int] = {}
    for index, entry in enumerate(every):
        if not isinstance(entry, Mapping):
            continue
        since = _as_text(entry.get("in_force_from") or "")
        if since in seen:
            when = f"in force from {since}" if since else "without in_force_from"
            text = f"two intervals {when}; the first one is every[{seen[since]}]"
            yield Flaw((index, "in_force_from"), text, "give each its own in_force_from", "dated")
        seen.setdefault(since, index)


def _asked_of(tasks: Entries, adjustments: Entries, named: Mapping[str, Condition]) -> set[str]:
    """Return every name that the rule set asks for: legs, and names in conditions."""
    asked: set[str] = set()
    of_runs = [condition for _, task in tasks for _, condition in conditions_in(task.get("done_when"))]
    of_runs += [condition for _, task in tasks for _, condition, _ in event_conditions_in(task)]
    for raw in [task.get("applies_to") for _, task in tasks] + of_runs + [adjustment.get("when") for _, adjustment in adjustments]:
        try:
            asked.update(part.name for part in comparisons_of(parse_condition(raw, named)))
        except FlawsError:
            continue
    for condition in named.values():
        asked.update(part.name for part in comparisons_of(condition))
    for _, task in tasks:
        asked.update(*intervals_in(task))
    return asked


def _check_examples(examples: Entries, asked: set[str]) -> Iterator[Flaw]:
    """Yield a flaw for each figure of an example that nothing asks for: most likely a slip."""
    known = {*UNDECLARED, "days", *QUANTITIES, *asked} - {CALENDAR}
    for index, example in examples:
        since = example.get("since_last")
        for name in since if isinstance(since, Mapping) else ():
            if name not in known:
                text = f'"{name}" is no figure that the rules ask for{nearest_of(str(name), known)}'
                yield Flaw(
                    ("examples", index, "since_last", name), text, "known: running_hours, days, counters, amounts, levels", "undeclared"
                )


def _check_jobs_since(examples: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each job of an example that is said to be done since, and lies before what it is since."""
    for index, example in examples:
        since, jobs = example.get("since_last"), example.get("done_since")
        if not isinstance(since, Mapping) or not isinstance(jobs, Mapping):
            continue
        for name, job in jobs.items():
            for figure in ("running_hours", "days") if isinstance(job, Mapping) else ():
                ago, whole = job.get(figure), since.get(figure)
                if isinstance(ago, (int, float)) and isinstance(whole, (int, float)) and ago > whole:
                    text = f"{name} was done before the last completion: {figure} {shown_value(ago)} of {shown_value(whole)}"
                    yield Flaw(("examples", index, "done_since", name, figure), text, "write what lies between, or leave it out", "range")


def _check_attributes(attributes: object) -> Iterator[Flaw]:
    """Yield a flaw for each attribute whose name is that of a measure, of a result or of a quantity of the log."""
    for name in attributes if isinstance(attributes, Mapping) else ():
        word = _as_text(name)
        if word in QUANTITIES or is_window_measure(word) or result_measure_of(word) is not None:
            text = f'"{word}" means something else to a rule'
            yield Flaw(("attributes", name), text, "give the attribute another name", "duplicate")


def _check_fellows(tasks: Entries, task_ids: Sequence[str], ruleset: str) -> Iterator[Flaw]:
    """Yield a flaw for each task that is said to be one job with itself, or with a task that this rule set does not have."""
    for index, task in tasks:
        own = f"{ruleset}.{_as_text(task.get('id'))}"
        for place, word in _words(task.get("same_as")):
            name = word.removeprefix(f"{ruleset}.")
            if word == own:
                yield Flaw(("tasks", index, "same_as", *place), "a task is always one job with itself", "leave it out", "same_as")
            elif name != word and name not in task_ids:
                text = f'no task "{name}" in this rule set{nearest_of(name, task_ids)}'
                yield Flaw(("tasks", index, "same_as", *place), text, f"tasks: {', '.join(task_ids)}", "same_as")
