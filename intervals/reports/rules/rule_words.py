"""A rule set in words: each task, adjustment, condition and example as facts, each with the key that it stands under in the file.

In: the models of a rule set. Out: `Fact` values, from which every form of a rule page and the comparison of two rule sets are
drawn. A key that is not named here is shown all the same, by its own name: a new means of the rule language is never left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any, cast

from pydantic import BaseModel

from intervals.language.conditions import AllOf, AnyOf, Comparison, describe_condition
from intervals.language.durations import CalendarStep
from intervals.language.phrases import legs_in_words, phrase_of, step_in_words
from intervals.reports.rules.procedure_words import procedure_words
from intervals.reports.rules.rule_facts import Fact
from intervals.rules.budget_periods import CalendarPeriod
from intervals.rules.effects.effect_fields import KEYS
from intervals.rules.effects.known_effects import EFFECTS
from intervals.rules.effects.rule_effect import RuleEffect
from intervals.rules.events import NEVER
from intervals.rules.procedures import Procedure
from intervals.rules.result_tables import TableRow
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import AT_ONCE, Adjustment, Every, Limits, Task
from intervals.rules.timing import Deferral, DueWindow, Tolerance
from intervals.rules.worked_examples import Example, JobAgo
from intervals.shown_numbers import count_of, figure


def head_words(ruleset: RuleSet) -> list[Fact]:
    """Return what a rule set says of itself."""
    facts = [Fact("source", "source", ruleset.source or "not stated")]
    limits = limit_words(ruleset.limits)
    facts.append(Fact("limits", "limits", "; ".join(f"{fact.name} {fact.text}" for fact in limits) or "none"))
    asked = "; ".join(f"{name}: {meaning}" for name, meaning in ruleset.attributes.items())
    weights = "; ".join(f"{name}: {title}" for name, title in (ruleset.weights or {}).items())
    of_log = "; ".join(f"{name}: {meaning}" for name, meaning in ruleset.quantities.items())
    optional = [
        Fact("weights", "weights", weights),
        Fact("attributes", "asks of an engine", asked),
        Fact("quantities", "asks of the log", of_log),
        Fact("notes", "notes", ruleset.notes or ""),
    ]
    if ruleset.based_on is not None:
        left_out = "" if ruleset.without is None else value_words(ruleset.without)
        optional.insert(0, Fact("based_on", "based on", ruleset.based_on + (f", without {left_out}" if left_out else "")))
    return facts + [fact for fact in optional if fact.text]


def limit_words(limits: Limits) -> list[Fact]:
    """Return how far all adjustments together may go."""
    named = {f"{effect.key}_{bound}": name for effect in EFFECTS for bound, name in effect.bounds.items()}
    return _facts_of(limits, named, {})


def task_words(task: Task) -> list[Fact]:
    """Return what a rule set says of a task."""
    # a job that falls due by nothing has no line
    is_never = bool(task.events) and all(event.kind == NEVER for event in task.events)
    entries = () if is_never else task.every
    facts = [fact for each in entries for fact in _every_words(each, task.whichever, "within" if task.is_once else "every")]
    words: dict[str, Callable[[Any], str]] = {
        "after": lambda events: " or ".join(map(str, events)),
        "due_when": phrase_of,
        **dict.fromkeys(("once", "at_once"), lambda _: ""),
        "first": lambda series: ", then ".join(legs_in_words(legs, "or") for legs in series),
        "lead": lambda legs: f"{legs_in_words(legs, 'or')} before its line",
        "tolerance_pct": lambda value: f"{_plain(value)} %" if value else "",
        "tolerance": _tolerance_text,
        "early_pct": lambda value: f"from {_plain(100 - value)} % on, within {count_of(task.visit_days, 'day')} of a visit",
        "visit_days": lambda _: "",
        "whichever": lambda _: "",
        "stops_engine": lambda value: "yes, other work can be done with it" if value else "",
        "restarts_from": lambda value: "" if value == "done" else value.replace("_", " ").replace("late", "past the line"),
        "in_lay_up": lambda value: "its calendar counts on" if value == "counts" else "",
        "makes_new": lambda value: "every task that states a first interval" if value == "all" else value_words(value),
        "window": _window_text,
        "early_restarts_after": lambda value: f"done too early, from {step_in_words(value)} after it, at the latest from its due date",
        "interval_from": lambda _: "",
        "table": lambda rows: _table_text(rows, task.outside),
        "outside": lambda _: "",
        "restarts_from_part": lambda value: "" if value == "last" else f"a job in parts from its {value} part",
        "deferral": _deferral_text,
    }
    named = {
        "applies_to": "applies to",
        "after": "done once after",
        "due_when": "due once when",
        "not_before": "asks from",
        "lead": "upcoming",
        "tolerance_pct": "tolerance",
        "table": "interval by results",
        "window": "may be done",
        "done_when": "done by a run of",
        "early_pct": "may be done early",
        "makes_new": "makes new",
        "same_as": "one job with",
        "stops_engine": "stops the engine",
        "restarts_from": "restarts from",
        "early_restarts_after": "restarts",
        "restarts_from_part": "restarts",
        "deferral": "may be put off",
        "in_lay_up": "in lay-up",
    }
    return facts + _facts_of(task, named, words, leave=("id", "title", "every", "within"), always=("early_pct",))


def adjustment_words(adjustment: Adjustment) -> list[Fact]:
    """Return what a rule set says of an adjustment."""
    words: dict[str, Callable[[Any], str]] = {
        **{effect.key: _effect_words(effect) for effect in EFFECTS},
        "when_unknown": lambda value: "it holds" if value == "holds" else "it does not hold, and the hours are reported",
    }
    named = {
        **dict.fromkeys(KEYS, "then"),
        "when_unknown": "if unknown",
        "known_share_at_least": "a mean is known from a share of",
    }
    return _facts_of(adjustment, named, words, leave=("id", "title"), always=("when_unknown",))


def _effect_words(effect: type[RuleEffect]) -> Callable[[Any], str]:
    """Return what says the value of an effect in words."""
    return lambda value: effect(value).on_page


def example_words(example: Example) -> list[Fact]:
    """Return what a worked example says."""
    named = {"since_last": "since the last", "done_since": "done since", "as_of": "as of", "first": "new or overhauled"}
    words: dict[str, Callable[[Any], str]] = {
        "expect": lambda expect: value_words(expect) or "nothing stated",
        "done_since": lambda jobs: ", ".join(f"{name} {_ago_text(job)} ago" for name, job in jobs.items()),
    }
    return _facts_of(example, named, words, leave=("name",))


def _ago_text(job: JobAgo) -> str:
    """Return how long ago a job was done."""
    hours = [] if job.running_hours is None else [f"{figure(job.running_hours)} h"]
    return " and ".join([*hours, count_of(job.days, "day")])


def entry_words(entry: BaseModel) -> list[Fact]:
    """Return what any other entry with an id says, such as a budget or a procedure."""
    if isinstance(entry, Procedure):
        return procedure_words(entry)
    words: dict[str, Callable[[Any], str]] = {"over": lambda value: "all engines of the site together" if value == "site" else ""}
    return _facts_of(entry, {"applies_to": "applies to"}, words, leave=("id", "title"))


def fits_words(ruleset: RuleSet) -> list[Fact]:
    """Return which engines the tasks are for, as `applies_to` says, each with the tasks that are for them."""
    groups: dict[str, list[str]] = {}
    for task in ruleset.tasks:
        groups.setdefault("any engine" if task.applies_to is None else describe_condition(task.applies_to), []).append(task.id)
    return [Fact("applies_to", name, ", ".join(ids)) for name, ids in groups.items()]


def value_words(value: object) -> str:  # noqa: PLR0911 - one line for each kind of value
    """Return any value of a rule in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float, Decimal)):
        return _plain(Decimal(repr(float(value)) if isinstance(value, float) else value))
    if isinstance(value, (Comparison, AllOf, AnyOf)):
        return describe_condition(value)
    if isinstance(value, (CalendarStep, CalendarPeriod)):
        return value.in_words if isinstance(value, CalendarPeriod) else step_in_words(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, BaseModel):
        return "; ".join(f"{fact.name} {fact.text}" if fact.name != "legs" else fact.text for fact in _facts_of(value, {}, {}))
    if isinstance(value, Mapping):
        return ", ".join(_entry_words(str(name), each) for name, each in value.items())
    if isinstance(value, (list, tuple)):
        joiner = "; " if any(isinstance(each, (BaseModel, Mapping)) for each in value) else ", "
        return joiner.join(value_words(each) for each in value) or "none"
    return str(value)


def _entry_words(name: str, value: object) -> str:
    """Return an entry of a mapping: a leg with its unit, anything else behind its name."""
    is_leg = isinstance(value, CalendarStep) or name == "running_hours"
    return legs_in_words({name: cast("float | CalendarStep", value)}, "or") if is_leg else f"{name} {value_words(value)}"


def _facts_of(
    model: BaseModel,
    named: Mapping[str, str],
    words: Mapping[str, Callable[[Any], str]],
    *,
    leave: Iterable[str] = (),
    always: Iterable[str] = (),
) -> list[Fact]:
    """Return what a model says that is not as it would be without being written; some fields are always shown, the grounds last."""
    facts: list[Fact] = []
    fields = type(model).model_fields
    grounds = ("because", "notes", "source")
    order = sorted(fields, key=lambda key: grounds.index(key) + 1 if key in grounds else 0)
    for key in order:
        value = getattr(model, key)
        if key in leave or (key not in always and (value is None or value == fields[key].default)):
            continue
        text = words[key](value) if key in words and value is not None else value_words(value)
        if text:
            facts.append(Fact(key, named.get(key, key.replace("_", " ")), text))
    return facts


def _tolerance_text(tolerance: Tolerance) -> str:
    """Return a tolerance in words: every bound that it names, of which the least counts."""
    bounds = [f"{_plain(tolerance.pct)} %"] if tolerance.pct is not None else []
    bounds += [_entry_words(leg, value) for leg, value in tolerance.legs.items()]
    least = f"{' or '.join(bounds)}{', the smallest that applies to a leg' if len(bounds) > 1 else ''}"
    return least + (f"; whole days, rounded {tolerance.rounding}" if tolerance.rounding else "")


def _window_text(window: DueWindow) -> str:
    """Return when around its due date a task may be done."""
    if window.calendar_month:
        return "on any day of the calendar month of its due date"
    return f"from {step_in_words(window.before)} before its due date to {step_in_words(window.after)} after it"


def _table_text(rows: Sequence[TableRow], outside: str) -> str:
    """Return a table of intervals in words: its rows in their order, and what holds where none of them does."""
    texts = [f"{describe_condition(row.when)}: {legs_in_words(row.every, 'or')}{f' ({row.source})' if row.source else ''}" for row in rows]
    return f"the first that holds when a window begins of {'; '.join(texts)}; else {'unknown' if outside == 'unknown' else 'as every says'}"


def _deferral_text(deferral: Deferral) -> str:
    """Return how far a task may be put off."""
    approval = "with an approval" if deferral.approval == "required" else "without an approval"
    return f"by {_plain(deferral.at_most_pct)} % of its interval at most, {count_of(deferral.times, 'time')}, {approval}"


def _every_words(every: Every, whichever: str, name: str) -> list[Fact]:
    """Return an interval in words, with the day from which it is in force, and its own source."""
    key = name if every.in_force_from is None else f"{name} from {every.in_force_from.isoformat()}"
    text = "at once" if every is AT_ONCE else legs_in_words(every.legs, "or")
    if len(every.legs) > 1:
        text += f", whichever comes {whichever}"
    if every.in_force_from is not None:
        text += f"; in force from {every.in_force_from.isoformat()}"
    facts = [Fact(key, name, text)]
    return [*facts, Fact(f"source of {key}", "its source", every.source)] if every.source else facts


def _plain(value: Decimal) -> str:
    """Return an exact decimal without idle zeros."""
    return f"{Decimal(value).normalize():,f}"
