"""A rule set to read: every task and adjustment in words, with its grounds and its source.

In: a `RuleSet`. Out: lines for a terminal, or a page in Markdown. Both are drawn from the same facts, so that they cannot differ.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from textwrap import wrap

from intervals.figures import count_of, figure
from intervals.language.conditions import describe_condition
from intervals.language.durations import CalendarStep
from intervals.quantities import QUANTITIES
from intervals.reports.columns import Column, lay_out
from intervals.reports.lines import BLANK, Line, Piece, line_of, printable
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Adjustment, Every, Task

Facts = list[tuple[str, str]]
_LEAST_WIDTH = 40


def rule_set_lines(ruleset: RuleSet, *, width: int | None = None) -> list[Line]:
    """Return a rule set as a page for a terminal.

    Args:
        ruleset: the rule set.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        Lines: what it is, then each task and each adjustment with its facts.
    """
    lines: list[Line] = [(Piece(printable(ruleset.title), "bold"),), *_fact_lines(head_facts(ruleset), width)]
    for title, entries in _chapters(ruleset):
        lines += [BLANK, line_of(title, "bold")]
        for name, facts in entries:
            lines += [line_of(f"  {printable(name)}", "bold"), *_fact_lines(facts, width)]
    return lines


def rule_list_lines(rulesets: Sequence[RuleSet], *, width: int | None = None) -> list[Line]:
    """Return one row a rule set: name, version, number of tasks, title and source.

    Args:
        rulesets: the rule sets.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    columns = (Column("name"), Column("version"), Column("tasks", to_right=True), Column("what it is for, and its source"))
    rows = []
    for each in rulesets:
        title = f"{each.title}; source: {each.source}" if each.source else each.title
        cells = (each.ruleset, each.version, f"{len(each.tasks):,}", title)
        rows.append([Piece(printable(cell)) for cell in cells])
    return lay_out(columns, rows, width=width)


def rule_set_markdown(ruleset: RuleSet) -> str:
    """Return a rule set as a page in Markdown.

    Args:
        ruleset: the rule set.

    Returns:
        The page, ended by a line feed; text of the rule set is escaped.
    """
    parts = [f"# {_escaped(ruleset.title)}", _markdown_list(head_facts(ruleset))]
    for title, entries in _chapters(ruleset):
        parts.append(f"## {title}")
        for name, facts in entries:
            parts += [f"### {_escaped(name)}", _markdown_list(facts)]
    return "\n\n".join(part for part in parts if part) + "\n"


def head_facts(ruleset: RuleSet) -> Facts:
    """Return what a rule set says of itself."""
    facts = [("rule set", f"{ruleset.ruleset} {ruleset.version}"), ("source", ruleset.source or "not stated")]
    limits = ruleset.limits
    bounds = [
        ("an hour counts at least", limits.counts_as_at_least),
        ("an hour counts at most", limits.counts_as_at_most),
        ("an interval is multiplied at least by", limits.interval_times_at_least),
        ("an interval is multiplied at most by", limits.interval_times_at_most),
    ]
    stated = [f"{name} {figure(value)}" for name, value in bounds if value is not None]
    facts.append(("limits", "; ".join(stated) or "none"))
    if ruleset.attributes:
        facts.append(("asks of an engine", "; ".join(f"{name}: {meaning}" for name, meaning in ruleset.attributes.items())))
    return [*facts, ("notes", ruleset.notes)] if ruleset.notes else facts


def task_facts(task: Task) -> Facts:
    """Return what a rule set says of a task, in words."""
    facts: Facts = [("every", _every_text(each, task.whichever)) for each in task.every]
    optional = [
        ("applies to", "" if task.applies_to is None else describe_condition(task.applies_to)),
        ("first", legs_text(task.first or {}, "or")),
        ("upcoming", f"{legs_text(task.lead, 'or')} before its line" if task.lead else ""),
        ("tolerance", f"{_plain(task.tolerance_pct)} %" if task.tolerance_pct else ""),
        ("may be done early", f"from {_plain(100 - task.early_pct)} % on, within {count_of(task.visit_days, 'day')} of a visit"),
        ("renews", ", ".join(task.renews)),
        ("makes new", task.makes_new if isinstance(task.makes_new, str) else ", ".join(task.makes_new)),
        ("stops the engine", "yes, other work can be done with it" if task.stops_engine else ""),
        ("restarts from", "" if task.restarts_from == "done" else task.restarts_from.replace("_", " ")),
        ("in lay-up", "its calendar counts on" if task.in_lay_up == "counts" else ""),
        ("because", task.because or ""),
        ("notes", task.notes or ""),
        ("source", task.source or ""),
    ]
    return facts + [(name, text) for name, text in optional if text]


def adjustment_facts(adjustment: Adjustment) -> Facts:
    """Return what a rule set says of an adjustment, in words."""
    effect = ""
    if adjustment.counts_as is not None:
        effect = f"each such hour counts as {figure(adjustment.counts_as)} h"
    elif adjustment.interval_times is not None:
        effect = f"the interval is multiplied by {figure(adjustment.interval_times)}"
    elif adjustment.interval_becomes is not None:
        effect = f"the interval becomes {legs_text(adjustment.interval_becomes, 'or')}"
    if_unknown = "it holds" if adjustment.when_unknown == "holds" else "it does not hold, and the hours are told"
    facts = [
        ("tasks", adjustment.tasks if isinstance(adjustment.tasks, str) else ", ".join(adjustment.tasks)),
        ("when", describe_condition(adjustment.when)),
        ("then", effect),
        ("if unknown", if_unknown),
        ("because", adjustment.because or ""),
        ("source", adjustment.source or ""),
    ]
    return [(name, text) for name, text in facts if text]


def legs_text(legs: Mapping[str, float | CalendarStep], joiner: str) -> str:
    """Return legs in words, such as `2,000 h or 1 year`."""
    texts = [step_text(value) if isinstance(value, CalendarStep) else f"{figure(value)} {_unit(leg)}" for leg, value in legs.items()]
    return f" {joiner} ".join(texts)


def step_text(step: CalendarStep) -> str:
    """Return a calendar step in words, such as `1 year and 30 days`."""
    parts = [(step.years, "year"), (step.months, "month"), (step.weeks, "week"), (step.days, "day")]
    return " and ".join(count_of(number, noun) for number, noun in parts if number) or count_of(0, "day")


def _every_text(every: Every, whichever: str) -> str:
    """Return an interval in words, with the day from which it is in force."""
    text = legs_text(every.legs, "or")
    if len(every.legs) > 1:
        text += f", whichever comes {whichever}"
    if every.in_force_from is not None:
        text += f"; in force from {every.in_force_from.isoformat()}"
    return text + (f"; source: {every.source}" if every.source else "")


def _unit(leg: str) -> str:
    """Return the unit of a leg of use; what is only counted is called by its name."""
    if leg == "running_hours":
        return "h"
    quantity = QUANTITIES.get(leg)
    return leg.replace("_", " ") if quantity is None or quantity.unit == "count" else quantity.unit


def _plain(value: Decimal) -> str:
    """Return an exact decimal without idle zeros."""
    return f"{value.normalize():f}"


def _chapters(ruleset: RuleSet) -> Sequence[tuple[str, list[tuple[str, Facts]]]]:
    """Return the chapters of the page, those without entries left out."""
    chapters = [
        ("Tasks", [(f"{task.id}: {task.title}", task_facts(task)) for task in ruleset.tasks]),
        ("Conditions", [(name, [("holds when", describe_condition(each))]) for name, each in ruleset.conditions.items()]),
        ("Adjustments", [(f"{each.id}: {each.title}" if each.title else each.id, adjustment_facts(each)) for each in ruleset.adjustments]),
        ("Worked examples", [(each.name, [("task", each.task)]) for each in ruleset.examples]),
    ]
    return [(title, entries) for title, entries in chapters if entries]


def _fact_lines(facts: Iterable[tuple[str, str]], width: int | None) -> list[Line]:
    """Return facts set in below their name."""
    lines: list[Line] = []
    for name, text in facts:
        head = f"    {name}: "
        room = None if width is None else max(width - len(head), _LEAST_WIDTH)
        parts = [printable(text)] if room is None else wrap(printable(text), room) or [""]
        lines.append((Piece(head, "dim"), Piece(parts[0])))
        lines += [line_of(" " * len(head) + part) for part in parts[1:]]
    return lines


def _markdown_list(facts: Iterable[tuple[str, str]]) -> str:
    """Return facts as a list."""
    return "\n".join(f"- **{name}**: {_escaped(text)}" for name, text in facts)


def _escaped(text: str) -> str:
    """Return text of a file that Markdown shows as it is: no markup, no HTML, one line."""
    one_line = printable(" ".join(text.split()))
    return re.sub(r"([\\`*_\[\]<>&#|])", r"\\\1", one_line)
