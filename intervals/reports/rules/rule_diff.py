"""What differs between two rule sets, in words: tasks, intervals, adjustments, conditions, limits, sources, examples.

In: two `RuleSet` values. Out: `Difference` values, lines for a terminal, or one document. What is compared are the facts of the
rule pages, so that whatever a page says, a difference of it is reported.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal, NamedTuple

from intervals.documents import json_text
from intervals.language.conditions import describe_condition
from intervals.reports.lines import Line, Span, line_of, printable
from intervals.reports.rules.procedure_words import order_words
from intervals.reports.rules.rule_facts import Fact
from intervals.reports.rules.rule_words import adjustment_words, entry_words, example_words, limit_words, task_words
from intervals.reports.text_columns import wrap_prose
from intervals.rules.effects.effect_fields import KEYS
from intervals.rules.overlay import NAMED_LISTS
from intervals.rules.ruleset import RuleSet
from intervals.shown_numbers import count_of

DIFF_SCHEMA = "intervals.rules-diff/1"
_LEAST_WIDTH = 40
_NONE = "nothing"
_CALLED = {
    "every": "the interval",
    "first": "the first interval",
    "lead": "the time of warning",
    "when": "the condition",
    **dict.fromkeys(KEYS, "the effect"),
    "because": "the reason",
}

Entries = Mapping[str, Sequence[Fact]]


class Difference(NamedTuple):
    """One thing that is not the same.

    Attributes:
        section: `rule_set`, `tasks`, `adjustments`, `budgets`, `conditions`, `limits` or `examples`.
        entry: the entry's id or name; empty where it concerns the section.
        change: what became of it.
        field: the key that changed, such as `every`; empty for a whole entry.
        before: what the first rule set says, in words, or None.
        after: what the second says, or None.
        text: the difference as one sentence.
    """

    section: str
    entry: str
    change: Literal["added", "removed", "changed", "moved"]
    field: str
    before: str | None
    after: str | None
    text: str


def differences_of(one: RuleSet, other: RuleSet) -> list[Difference]:
    """Return what differs between two rule sets, in the order of a rule page.

    Args:
        one: the rule set as it was.
        other: the rule set as it is.

    Returns:
        Nothing where both say the same; comments, the order of keys, and how a rule set is based on another are not compared.
    """
    found = list(_of_facts("rule_set", "", _head(one), _head(other)))
    for section in (*NAMED_LISTS, "conditions", "limits", "examples"):
        found += _of_entries(section, _entries(one, section), _entries(other, section))
    return found


def diff_lines(one: RuleSet, other: RuleSet, *, width: int | None = None) -> list[Line]:
    """Return the differences as lines, and below them how many they are.

    Args:
        one: the rule set as it was.
        other: the rule set as it is.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    found = differences_of(one, other)
    names = [f"{printable(each.ruleset)} {printable(each.version)}" for each in (one, other)]
    lines: list[Line] = [line_of(f"from {names[0]} to {names[1]}", "bold")]
    for section in dict.fromkeys(each.section for each in found):
        lines.append(line_of(section.replace("_", " "), "bold"))
        for each in (each for each in found if each.section == section):
            mark = {"added": "+", "removed": "-", "changed": "~", "moved": "~"}[each.change]
            text = printable(each.text)
            parts = [text] if width is None else wrap_prose(text, max(width - 4, _LEAST_WIDTH))
            lines.append((Span(f"  {mark} ", "bold"), Span(parts[0])))
            lines += [line_of(f"    {part}") for part in parts[1:]]
    return [*lines, line_of(count_of(len(found), "difference") if found else "no difference")]


def diff_document(one: RuleSet, other: RuleSet) -> str:
    """Return the differences as one JSON document.

    Args:
        one: the rule set as it was.
        other: the rule set as it is.

    Returns:
        JSON: the two rule sets, and one entry a difference.
    """
    document: dict[str, Any] = {"schema": DIFF_SCHEMA}
    for key, each in (("from", one), ("to", other)):
        document[key] = {"ruleset": each.ruleset, "version": each.version, "sha256": each.sha256}
    document["differences"] = [
        {
            "section": each.section,
            "entry": each.entry or None,
            "change": each.change,
            "field": each.field or None,
            "from": each.before,
            "to": each.after,
            "text": each.text,
        }
        for each in differences_of(one, other)
    ]
    return json_text(document)


def _head(ruleset: RuleSet) -> list[Fact]:
    """Return what a rule set says of itself and is not compared elsewhere."""
    facts = [Fact(key, key, str(getattr(ruleset, key) or "")) for key in ("title", "version", "source", "notes")]
    facts.insert(0, Fact("ruleset", "name", ruleset.ruleset))
    facts += [Fact(f"attributes.{name}", f'meaning of the attribute "{name}"', text) for name, text in ruleset.attributes.items()]
    facts += [Fact(f"quantities.{name}", f'meaning of the quantity "{name}"', text) for name, text in ruleset.quantities.items()]
    facts += [Fact(f"weights.{name}", f'title of the weight "{name}"', title) for name, title in (ruleset.weights or {}).items()]
    return [fact for fact in facts if fact.text]


def _entries(ruleset: RuleSet, section: str) -> Entries:
    """Return the entries of a section by id or name, each in words."""
    title = ("title", "title")
    if section == "tasks":
        return {each.id: [Fact(*title, each.title), *task_words(each)] for each in ruleset.tasks}
    if section == "adjustments":
        return {each.id: [*([Fact(*title, each.title)] if each.title else []), *adjustment_words(each)] for each in ruleset.adjustments}
    if section == "conditions":
        return {name: [Fact("when", "condition", describe_condition(each))] for name, each in ruleset.conditions.items()}
    if section == "limits":
        return {fact.key: [fact] for fact in limit_words(ruleset.limits)}
    if section == "examples":
        return {each.name: example_words(each) for each in ruleset.examples}
    listed = getattr(ruleset, section, ())
    return {each.id: [Fact(*title, str(each.title or each.id)), *entry_words(each), *order_words(each)] for each in listed}


def _of_entries(section: str, before: Entries, after: Entries) -> Iterator[Difference]:
    """Yield what differs between the entries of a section: those that changed, are gone, are new, and their order."""
    for name, facts in before.items():
        if name in after:
            yield from _of_facts(section, name, facts, after[name])
        else:
            summary = _summary(facts)
            yield Difference(section, name, "removed", "", summary, None, f"{name} is gone: {summary}")
    for name, facts in after.items():
        if name not in before:
            summary = _summary(facts)
            yield Difference(section, name, "added", "", None, summary, f"{name} is new: {summary}")
    kept = [[name for name in names if name in others] for names, others in ((before, after), (after, before))]
    if section in NAMED_LISTS and kept[0] != kept[1]:
        old, new = (", ".join(names) for names in kept)
        yield Difference(section, "", "moved", "", old, new, f"the {section} are in another order: {new}; was {old}")


def _of_facts(section: str, entry: str, before: Sequence[Fact], after: Sequence[Fact]) -> Iterator[Difference]:
    """Yield what differs between what two entries of one name say."""
    old, new = ({fact.key: fact for fact in facts} for facts in (before, after))
    for key in dict.fromkeys([*old, *new]):
        texts = [facts[key].text if key in facts else None for facts in (old, new)]
        if texts[0] == texts[1]:
            continue
        text = _sentence(section, entry, new.get(key) or old[key], texts[0] or _NONE, texts[1] or _NONE)
        yield Difference(section, entry, "changed", key, texts[0], texts[1], text)


def _sentence(section: str, entry: str, fact: Fact, before: str, after: str) -> str:
    """Return one change as a sentence."""
    if section == "limits":
        return f"{fact.name} {after} now; was {before}"
    is_source = fact.key.startswith("source of ")
    head, _, since = fact.key.removeprefix("source of ").partition(" from ")
    called = _CALLED.get(head, fact.name) + (f" in force from {since}" if since else "")
    before, after = (text.removesuffix(f"; in force from {since}") for text in (before, after))
    subject = f"the source of {called}" if is_source else called
    return f"{f'{entry}: ' if entry else ''}{subject} is now {after}; was {before}"


def _summary(facts: Sequence[Fact]) -> str:
    """Return an entry in one line: all but its grounds."""
    summary = [fact for fact in facts if fact.key not in ("because", "notes", "early_pct")]
    return "; ".join(fact.text if fact.key in ("title", "when") else f"{fact.name} {fact.text}" for fact in summary)
