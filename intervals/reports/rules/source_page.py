"""Where every value of the rule sets comes from: one page, documents first, then every rule with its values.

In: rule sets. Out: a page in Markdown. Each value stands with its document, edition and place, or with "common practice", "from
memory", "worked", "chosen here" or "the user's own". Intervals, limits, leads and analyses that have a source of their own stand in a row
of their own. A rule without a source of its own has that of its rule set, and says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from pydantic import BaseModel

from intervals.language.conditions import describe_condition
from intervals.reports.rules.procedure_words import procedure_values
from intervals.reports.rules.rule_facts import Fact
from intervals.reports.rules.rule_page import escaped
from intervals.reports.rules.rule_words import adjustment_words, entry_words, limit_words, task_words, value_words
from intervals.rules.budgets import Budget, BudgetLimit
from intervals.rules.citations import CHOSEN, Citation, citations_of
from intervals.rules.overlay import NAMED_LISTS
from intervals.rules.procedures import Procedure
from intervals.rules.ruleset import RuleSet
from intervals.rules.tasks import Task
from intervals.shown_numbers import figure

_NOT_VALUES = frozenset(
    {"applies_to", "because", "notes", "source", "tasks", "renews", "makes_new", "stops_engine", "when_unknown", "early_pct", "weight"}
)
_WARNING = Citation("how long before the line a warning comes", "", "", "", CHOSEN)
_BOUND = Citation("how far the rule set lets its own factors go together", "", "", "", CHOSEN)


class SourceRow(NamedTuple):
    """One rule's value with one part of its source.

    Attributes:
        ruleset: name of the rule set.
        rule: id of the task, adjustment or budget, or `limits`.
        value: what the source is for, in words.
        citation: the part of the source.
        is_general: whether it is the rule set's source and not the rule's own.
    """

    ruleset: str
    rule: str
    value: str
    citation: Citation
    is_general: bool


def source_rows(ruleset: RuleSet) -> list[SourceRow]:
    """Return every value of a rule set, each with every part of its source.

    Args:
        ruleset: the rule set.
    """
    rows: list[SourceRow] = []
    for task in ruleset.tasks:
        rows += _rows(ruleset, task.id, task.source, _task_facts(task))
    for adjustment in ruleset.adjustments:
        rows += _rows(ruleset, adjustment.id, adjustment.source, adjustment_words(adjustment))
    for section in NAMED_LISTS[2:]:
        for entry in getattr(ruleset, section, ()):
            rows += _rows(ruleset, entry.id, entry.source, _entry_facts(entry))
    limits = "; ".join(_value(fact) for fact in limit_words(ruleset.limits))
    return [*rows, SourceRow(ruleset.ruleset, "limits", limits, _BOUND, is_general=False)] if limits else rows


def source_page(rulesets: Sequence[RuleSet]) -> str:
    """Return the page of sources.

    Args:
        rulesets: the rule sets, each of which has a page of its own beside this one.

    Returns:
        Markdown, ended by a line feed; text of the rule sets is escaped.
    """
    rows = {ruleset.ruleset: source_rows(ruleset) for ruleset in rulesets}
    every = [row for listed in rows.values() for row in listed]
    parts = [
        "# Where every value comes from",
        "Made from the rule sets. *read* means that the text itself was read, *told* that only a summary by others was read, "
        "*from memory* that it was not confirmed, *worked* that it was calculated, *common practice* that there is no published text, "
        "*chosen here* that it is the rule set's own choice, *the user's own* that a site sets it. "
        "A star marks the general source of a rule set, where a rule has none of its own. "
        "The current text, the local code and the engine's own documents come first.",
        "## Documents",
        _documents(every),
        "## Without a document",
        _others(every),
    ]
    for ruleset in rulesets:
        parts += [f"## {escaped(ruleset.title)}", f"[{escaped(ruleset.ruleset)}]({ruleset.ruleset}.md)", _values(rows[ruleset.ruleset])]
    return "\n\n".join(parts) + "\n"


def _task_facts(task: Task) -> list[Fact]:
    """Return what a task says; an analysis in the place of time stands with its own source."""
    facts, analysis = task_words(task), task.in_place_of_time
    if analysis is None or analysis.source is None:
        return facts
    key, unsourced = "in_place_of_time", analysis.model_copy(update={"source": None})
    facts = [fact._replace(text=value_words(unsourced)) if fact.key == key else fact for fact in facts]
    return [*facts, Fact(f"source of {key}", "its source", analysis.source)]


def _entry_facts(entry: BaseModel) -> list[Fact]:
    """Return what a budget or a procedure says; each limit of a budget stands with its own source, and with what it is a limit of."""
    if isinstance(entry, Procedure):
        return [*procedure_values(entry)]
    facts = entry_words(entry)
    if not isinstance(entry, Budget) or all(limit.source is None for limit in entry.at_most):
        return facts
    counted = "; ".join(f"{fact.name} {fact.text}" for fact in facts if fact.key in ("of", "per"))
    found: list[Fact] = []
    for number, limit in enumerate(entry.at_most):
        key = f"at_most {number}"
        found.append(Fact(key, "at most", f"{_limit_words(limit, entry)}; {counted}"))
        if limit.source is not None:
            found.append(Fact(f"source of {key}", "its source", limit.source))
    return found


def _limit_words(limit: BudgetLimit, budget: Budget) -> str:
    """Return how much a limit allows, of what, and since when."""
    when = limit.when if limit.when is not None else budget.when
    parts = [figure(limit.at_most), *([] if when is None else [describe_condition(when)])]
    return "; ".join([*parts, *([] if limit.in_force_from is None else [f"in force from {limit.in_force_from.isoformat()}"])])


def _lead_citations(source: str | None) -> list[Citation]:
    """Return what a source says of the lead, in a part that begins with the word; where it says nothing the lead is chosen here."""
    return [part for part in citations_of(source or "") if part.about.startswith("lead")] or [_WARNING]


def _rows(ruleset: RuleSet, rule: str, source: str | None, facts: Sequence[Fact]) -> Iterator[SourceRow]:
    """Yield the rows of one rule: one for each part of each source; an interval with a source of its own stands with that."""
    own = {fact.key.removeprefix("source of "): fact.text for fact in facts if fact.key.startswith("source of ")}
    values = [fact for fact in facts if fact.key not in _NOT_VALUES and not fact.key.startswith("source of ")]
    for fact in values:
        if fact.key in own:
            yield from (SourceRow(ruleset.ruleset, rule, _value(fact), part, is_general=False) for part in citations_of(own[fact.key]))
    for fact in values:
        if fact.key == "lead":
            yield from (SourceRow(ruleset.ruleset, rule, _value(fact), part, is_general=False) for part in _lead_citations(source))
    rest = [fact for fact in values if fact.key not in own and fact.key != "lead"]
    text = source or ruleset.source or ""
    for part in [part for part in citations_of(text) if not part.about.startswith("lead")] or [Citation("", "", "", "", "not said")]:
        value_text = "; ".join(_value(fact) for fact in rest)
        if value_text:
            yield SourceRow(ruleset.ruleset, rule, value_text, part, is_general=source is None)


def _value(fact: Fact) -> str:
    """Return a value as it is listed."""
    return fact.text if fact.name in ("then", "when") else f"{fact.name} {fact.text}"


def _documents(rows: Sequence[SourceRow]) -> str:
    """Return the table of documents: each with its edition, how it is known, and the rules that rest on it by place."""
    found: dict[tuple[str, str], list[SourceRow]] = {}
    for row in rows:
        if row.citation.document:
            found.setdefault((row.citation.document, row.citation.edition), []).append(row)
    lines = ["| document | edition | how it is known | place: rules |", "|---|---|---|---|"]
    for (document, edition), listed in sorted(found.items()):
        places: dict[str, dict[str, dict[str, None]]] = {}
        for row in listed:
            places.setdefault(row.citation.place or "as a whole", {}).setdefault(row.ruleset, {})[row.rule] = None
        value_text = "<br>".join(f"{escaped(place)}: {_linked(rules)}" for place, rules in sorted(places.items()))
        known = ", ".join(dict.fromkeys(row.citation.known_by for row in listed))
        lines.append(f"| {escaped(document)} | {escaped(edition) or 'not stated'} | {known} | {value_text} |")
    return "\n".join(lines)


def _linked(rules: Mapping[str, Iterable[str]]) -> str:
    """Return rules behind a link to the page of their rule set."""
    return "; ".join(f"[{escaped(ruleset)}]({ruleset}.md) {escaped(', '.join(ids))}" for ruleset, ids in rules.items())


def _others(rows: Sequence[SourceRow]) -> str:
    """Return the table of what rests on no document."""
    found: dict[str, dict[str, dict[str, None]]] = {}
    for row in rows:
        if not row.citation.document:
            found.setdefault(row.citation.known_by, {}).setdefault(row.ruleset, {})[row.rule] = None
    lines = ["| how it is known | rules |", "|---|---|"]
    return "\n".join([*lines, *(f"| {known_by} | {_linked(rules)} |" for known_by, rules in sorted(found.items()))])


def _values(rows: Sequence[SourceRow]) -> str:
    """Return the table of one rule set's values."""
    lines = ["| rule | value | of it | document | edition | place | how it is known |", "|---|---|---|---|---|---|---|"]
    last = ("", "")
    for row in rows:
        shown = ("", "") if (row.rule, row.value) == last else (row.rule, row.value)
        last = (row.rule, row.value)
        part = row.citation
        known_by = f"{part.known_by} \\*" if row.is_general else part.known_by
        cells = [*map(escaped, (*shown, part.about, part.document, part.edition, part.place)), known_by]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)
