"""A rule set to read: every task and adjustment in words, with its grounds and its source.

In: a `RuleSet`. Out: lines for a terminal, or a page in Markdown; `rule_html` draws the third form from the same chapters, so that
they cannot differ.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from textwrap import wrap

from intervals.language.conditions import describe_condition
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.rules.rule_facts import Fact
from intervals.reports.rules.rule_words import adjustment_words, entry_words, example_words, fits_words, head_words, task_words
from intervals.rules.overlay import NAMED_LISTS
from intervals.rules.ruleset import RuleSet
from intervals.shown_numbers import count_of

CAUTION = (
    "A rule set gives way to the engine's own documents, the current legal text and the local code; where they are stricter, they apply. "
    "Work on engines is for people who are trained and allowed to do it."
)
_LEAST_WIDTH = 40


def rule_set_lines(ruleset: RuleSet, *, width: int | None = None) -> list[Line]:
    """Return a rule set as a page for a terminal.

    Args:
        ruleset: the rule set.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        Lines: what it is, then each task and each adjustment with its facts.
    """
    lines: list[Line] = [(Span(printable(ruleset.title), "bold"),), *_fact_lines(head_facts(ruleset), width)]
    for title, entries in chapters_of(ruleset):
        lines += [BLANK, line_of(title, "bold")]
        for name, facts in entries:
            lines += [line_of(f"  {printable(name)}", "bold"), *_fact_lines(facts, width)]
    return [*lines, BLANK, *(line_of(part) for part in (wrap(CAUTION, max(width, _LEAST_WIDTH)) if width is not None else [CAUTION]))]


def rule_list_lines(rulesets: Sequence[RuleSet], *, width: int | None = None) -> list[Line]:
    """Return a paragraph a rule set: name, version and title, its tasks, the engines they are for, its source.

    Args:
        rulesets: the rule sets.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    lines: list[Line] = []
    for each in rulesets:
        head = f"{printable(each.ruleset)} {printable(each.version)}"
        lines += [BLANK] if lines else []
        title = printable(each.title)
        if width is None or len(head) + 2 + len(title) <= width:
            lines.append((Span(head, "bold"), Span(f"  {title}")))
        else:
            lines += [line_of(head, "bold"), *(line_of(f"  {part}") for part in wrap(title, max(width, _LEAST_WIDTH) - 2))]
        shown = [(f"{count_of(fact.text.count(', ') + 1, 'task')} for {fact.name}", fact.text) for fact in fits_words(each)]
        held = ((each.tasks, "task"), (each.adjustments, "adjustment"), (each.procedures, "procedure"))
        counts = ", ".join(count_of(len(listed), noun) for listed, noun in held if listed or noun != "procedure")
        lines += _fact_lines([("holds", counts), *shown, ("source", each.source or "not stated")], width)
    return lines


def rule_set_markdown(ruleset: RuleSet) -> str:
    """Return a rule set as a page in Markdown.

    Args:
        ruleset: the rule set.

    Returns:
        The page, ended by a line feed; text of the rule set is escaped.
    """
    parts = [f"# {escaped(ruleset.title)}", _markdown_list(head_facts(ruleset))]
    for title, entries in chapters_of(ruleset):
        parts.append(f"## {title}")
        for name, facts in entries:
            parts += [f"### {escaped(name)}", _markdown_list(facts)]
    return "\n\n".join(part for part in [*parts, CAUTION] if part) + "\n"


def head_facts(ruleset: RuleSet) -> list[tuple[str, str]]:
    """Return what a rule set says of itself, its name and version first."""
    return [("rule set", f"{ruleset.ruleset} {ruleset.version}"), *((fact.name, fact.text) for fact in head_words(ruleset))]


def chapters_of(ruleset: RuleSet) -> list[tuple[str, list[tuple[str, list[tuple[str, str]]]]]]:
    """Return the chapters of the page, each entry with its facts; chapters without entries are left out."""
    chapters = [
        ("Tasks", [(f"{task.id}: {task.title}", _shown_facts(task_words(task))) for task in ruleset.tasks]),
        ("Conditions", [(name, [("holds when", describe_condition(each))]) for name, each in ruleset.conditions.items()]),
        ("Adjustments", [(_headed(each.id, each.title), _shown_facts(adjustment_words(each))) for each in ruleset.adjustments]),
    ]
    for section in NAMED_LISTS[2:]:
        entries = getattr(ruleset, section, ())
        chapters.append((section.capitalize(), [(_headed(each.id, str(each.title)), _shown_facts(entry_words(each))) for each in entries]))
    chapters.append(("Worked examples", [(each.name, _shown_facts(example_words(each))) for each in ruleset.examples]))
    return [(title, entries) for title, entries in chapters if entries]


def escaped(text: str) -> str:
    """Return text of a file that Markdown shows as it is: no markup, no HTML, one line."""
    one_line = printable(" ".join(text.split()))
    return re.sub(r"([\\`*_\[\]<>&#|])", r"\\\1", one_line)


def _shown_facts(facts: Iterable[Fact]) -> list[tuple[str, str]]:
    """Return facts for a page: the source of an interval stands behind it."""
    shown: list[tuple[str, str]] = []
    for fact in facts:
        if fact.name == "its source" and shown:
            shown[-1] = (shown[-1][0], f"{shown[-1][1]}; source: {fact.text}")
        else:
            shown.append((fact.name, fact.text))
    return shown


def _headed(entry_id: str, title: str | None) -> str:
    """Return an entry's heading."""
    return f"{entry_id}: {title}" if title else entry_id


def _fact_lines(facts: Iterable[tuple[str, str]], width: int | None) -> list[Line]:
    """Return facts set in below their name."""
    lines: list[Line] = []
    for name, text in facts:
        head = f"    {printable(name)}: "
        if width is not None and len(head) > width - _LEAST_WIDTH:
            # no room beside a long name: the text goes on below it
            whole = wrap(
                f"{printable(name)}: {printable(text)}",
                max(width, _LEAST_WIDTH),
                initial_indent="    ",
                subsequent_indent=" " * 8,
                break_on_hyphens=False,
            )
            lines += [line_of(part) for part in whole]
            continue
        room = None if width is None else max(width - len(head), _LEAST_WIDTH)
        parts = [printable(text)] if room is None else wrap(printable(text), room, break_on_hyphens=False) or [""]
        lines.append((Span(head, "dim"), Span(parts[0])))
        lines += [line_of(" " * len(head) + part) for part in parts[1:]]
    return lines


def _markdown_list(facts: Iterable[tuple[str, str]]) -> str:
    """Return facts as a list."""
    return "\n".join(f"- **{escaped(name)}**: {escaped(text)}" for name, text in facts)
