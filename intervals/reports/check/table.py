"""The fleet at a glance: what needs doing first, then totals, the month's figure, what was skipped, and what is wrong in the data.

In: `Findings`. Out: lines, one row per finding, the most urgent first. Every standing is a word with a mark of its own, so that the
table reads the same without colour; no figure is rounded across its line (`shown_numbers.py`).
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from intervals.findings import Finding, Findings, Leg
from intervals.quantities import COUNT
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable, width_of
from intervals.reports.sections import compliance_lines, fault_lines, skipped_lines, warning_lines
from intervals.reports.text_columns import Column, lay_out
from intervals.reports.unknown_words import spelling_lines
from intervals.shown_numbers import UNKNOWN, amount, count_of, use_text
from intervals.urgency import by_urgency

# a mark and a word for each standing: the mark is read without colour, the style only helps
STANDING_MARKS = {"overdue": ("!", "bold red"), "upcoming": (">", "yellow"), "in_interval": (".", "green"), "unknown": ("?", "magenta")}
_MOST_REASONS = 3
GroupWord = Literal["engine", "ruleset"]
_RULESET_COLUMN = Column("rule set", is_plain=True)
COLUMNS = (
    Column("engine", is_plain=True),
    Column("task", is_plain=True),
    Column("status", is_plain=True),
    Column("used / allowed", to_right=True),
    Column("past by or left", to_right=True, is_plain=True),
    Column("due on"),
    Column("why", is_plain=True),
)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked for: which tasks the table shows, and how the next command is worded.

    Attributes:
        site: the site folder as it was typed.
        options: options that the next command needs to give the same answer, each word apart.
        shows_all: whether tasks that need nothing are shown as well.
        due_by: show what falls due up to this day, and only that; None: what needs doing, whenever it falls due.
    """

    site: str
    options: tuple[str, ...] = ()
    shows_all: bool = False
    due_by: date | None = None


def findings_lines(findings: Findings, asked: Asked, *, width: int | None = None, group: GroupWord = "engine") -> list[Line]:
    """Return the whole report of a site.

    Args:
        findings: what was found.
        asked: what the person typed.
        width: columns of the terminal, or None where lines may be as long as they need.
        group: by engine, with a column for the rule set where several judge one engine, or a table for each rule set.

    Returns:
        Lines: warnings, heading, a row per finding shown, what is not shown, totals, compliance, skipped, faults, words that are not
        known as a block for site.yaml, and what to run next.
    """
    shown = _shown(findings.findings, asked)
    sections = [
        warning_lines(findings.warnings),
        _heading_lines(findings),
        *_with_rest(_tables(findings, shown, group, width), _rest_lines(findings.findings, shown, asked)),
        _total_lines(findings),
        [line_of("Planned beyond their line", "bold"), *(line_of(f"  {printable(each.text)}") for each in findings.planned_late)]
        if findings.planned_late
        else [],
        compliance_lines(findings.compliance, width=width, name_of=findings.name_of),
        skipped_lines(findings.skipped, width=width, name_of=findings.name_of),
        fault_lines(findings.faults, width=width),
    ]
    fitted = [*(fold_lines(section, width) for section in sections), spelling_lines(findings.faults), _next_lines(findings, asked, width)]
    filled = [section for section in fitted if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _tables(findings: Findings, shown: Sequence[Finding], group: GroupWord, width: int | None) -> list[list[Line]]:
    """Return the findings shown as one table, or as one for each rule set, headed by it."""
    if group == "engine":
        has_several = findings.has_several
        columns = (COLUMNS[0], _RULESET_COLUMN, *COLUMNS[1:]) if has_several else COLUMNS
        return [lay_out(columns, [row_of(finding, ruleset=finding.ruleset if has_several else None) for finding in shown], width=width)]
    by_set: dict[str, list[Finding]] = {each.ruleset: [] for each in findings.rulesets}
    for finding in shown:
        by_set[finding.ruleset].append(finding)
    versions = {each.ruleset: f" {each.version}" for each in findings.rulesets}
    return [
        [
            line_of(f"{printable(ruleset)}{printable(versions.get(ruleset, ''))}", "bold"),
            *lay_out(COLUMNS, [*map(row_of, some)], width=width),
        ]
        for ruleset, some in by_set.items()
        if some
    ]


def _with_rest(tables: list[list[Line]], rest: list[Line]) -> list[list[Line]]:
    """Return the tables, and right below the last one what they leave out."""
    return [*tables[:-1], [*tables[-1], *rest]] if tables else [rest]


def standing_text(finding: Finding) -> str:
    """Return the standing as it is written: a mark and words."""
    mark, _ = STANDING_MARKS[finding.standing]
    return f"{mark} {finding.standing.replace('_', ' ')}"


def used_of_allowed(leg: Leg | None) -> str:
    """Return what a leg used of what it is allowed, with the unit once."""
    if leg is None:
        return UNKNOWN
    return use_text(leg.used, leg.allowed, unit_of(leg))


def unit_of(leg: Leg) -> str:
    """Return the unit as it is written behind a figure; counted things are called by their name."""
    return leg.leg.replace("_", " ") if leg.unit == COUNT else leg.unit


def distance_text(finding: Finding) -> str:
    """Return how far past its line the task is, or how much is left."""
    leg = finding.governing_leg
    lacking = _lacking_text(leg) if finding.is_minimum and leg is not None else None
    if lacking is not None:
        return lacking
    if finding.past_by is not None:
        past = f"{amount(finding.past_by.value, finding.past_by.unit if leg is None else unit_of(leg))} past"
        return f"{past}, in tolerance" if finding.within_tolerance else past
    if finding.waits:
        return "nothing due"
    if leg is None or leg.remaining is None:
        return UNKNOWN
    if leg.remaining > 0:
        return f"{amount(leg.remaining, unit_of(leg))} left"
    # past its line and yet not overdue: an approved deferral or a lay-up holds it
    held = f"{amount(-leg.remaining, unit_of(leg))} past, {'deferred' if finding.deferred_until else 'held'}"
    return held if leg.remaining < 0 else "at the line" if leg.allowed else "none"


def _lacking_text(leg: Leg) -> str | None:
    """Return what a minimum lacks, or that it is reached; None where that is unknown."""
    if leg.remaining is None:
        return None
    return f"{amount(leg.remaining, unit_of(leg))} lacking" if leg.remaining > 0 else "reached"


def due_text(finding: Finding) -> str:
    """Return the date on which the task falls or fell due: a forecast is marked by a tilde, a budget that lasts its year has no date."""
    if finding.due_on is not None:
        return finding.due_on
    if finding.forecast is not None and finding.forecast.on is not None:
        return f"~{finding.forecast.on}"
    return UNKNOWN if finding.standing == "unknown" else "no date"


def _shown(findings: Sequence[Finding], asked: Asked) -> list[Finding]:
    """Return the findings that the table shows, the most urgent first."""
    ordered = by_urgency(findings)
    if asked.due_by is not None:
        last = asked.due_by.isoformat()
        return [finding for finding in ordered if finding.due_on is not None and finding.due_on <= last]
    return ordered if asked.shows_all else [finding for finding in ordered if finding.standing != "in_interval"]


def _rest_lines(findings: Sequence[Finding], shown: Sequence[Finding], asked: Asked) -> list[Line]:
    """Return what the table leaves out, and how to see it."""
    left_out = len(findings) - len(shown)
    if not left_out:
        return []
    if asked.due_by is not None:
        undated = sum(finding.due_on is None for finding in findings)
        of_these = f" ({undated:,} without a date)" if undated else ""
        tasks = f"{count_of(left_out, 'more task')} not due by {asked.due_by.isoformat()}{of_these}"
        return [line_of(f"{tasks}: --all shows every task", "dim")]
    tasks = f"{count_of(left_out, 'task')} in interval {'is' if left_out == 1 else 'are'} not shown"
    begin = "" if shown else "Nothing needs doing. "
    return [line_of(f"{begin}{tasks}: --all shows every task, --due P30D what falls due within 30 days", "dim")]


def row_of(finding: Finding, *, ruleset: str | None = None, name: str | None = None) -> list[Span]:
    """Return the cells of one finding.

    Args:
        finding: the finding.
        ruleset: its rule set, where that has a column of its own.
        name: what its task is called; None: by its id.
    """
    _, style = STANDING_MARKS[finding.standing]
    return [
        Span(printable(finding.engine)),
        *([] if ruleset is None else [Span(printable(ruleset))]),
        Span(printable(name or finding.task)),
        Span(standing_text(finding), style),
        Span("" if finding.waits else used_of_allowed(finding.governing_leg)),
        Span(distance_text(finding), style if finding.standing == "overdue" else ""),
        Span(due_text(finding)),
        Span(why_text(finding)),
    ]


def why_text(finding: Finding) -> str:
    """Return the reasons as one sentence; a task that needs nothing gets its first one."""
    wanted = 1 if finding.standing == "in_interval" else _MOST_REASONS
    texts = [printable(_beyond_standing(reason.text, finding.standing)) for reason in finding.reasons]
    more = len(texts) - wanted
    joined = "; ".join(texts[:wanted])
    return f"{joined}; and {more} more" if more > 0 and wanted > 1 else joined


def _beyond_standing(text: str, standing: str) -> str:
    """Return a reason without the standing and the distance that begin it: they have columns of their own."""
    _, colon, rest = text.partition(": ")
    return rest if colon and text.startswith(standing.replace("_", " ")) else text


def _heading_lines(findings: Findings) -> list[Line]:
    """Return what was judged, as of when, by which rule sets."""
    used = ", ".join(f"{printable(each.ruleset)} {printable(each.version)}" for each in findings.rulesets)
    judged_by = f"rule set {used}" if len(findings.rulesets) == 1 else f"rule sets {used}"
    return [(Span(printable(findings.site), "bold"), Span(f"  as of {findings.as_of}  {judged_by}"))]


def _total_lines(findings: Findings) -> list[Line]:
    """Return how many findings there are of each standing, and how many rows they rest on."""
    totals, rows = findings.totals, findings.rows
    counts = {standing: getattr(totals, standing) for standing in STANDING_MARKS}
    spans = [Span(count_of(sum(counts.values()), "finding") + ": ", "bold")]
    for standing, count in counts.items():
        spans.append(Span(f"{count:,} {standing.replace('_', ' ')}", STANDING_MARKS[standing][1] if count else ""))
        spans.append(Span(", "))
    # with a month only what was skipped in it is shown
    when = "" if findings.compliance is None else f" in {findings.compliance.month}"
    spans.append(Span(f"{totals.skipped_open:,} skipped{when} and still open", "bold red" if totals.skipped_open else ""))
    read = f"{count_of(rows.read, 'row')} of the log read: {rows.accepted:,} accepted, {rows.set_aside:,} set aside"
    return [tuple(spans), line_of(read)]


def _next_lines(findings: Findings, asked: Asked, width: int | None) -> list[Line]:
    """Return which command to run next."""
    commands: list[tuple[str, Sequence[str]]] = []
    worst = next(iter(by_urgency(findings.findings)), None)
    if worst is not None:
        words = ["intervals", "explain", asked.site, worst.engine, findings.name_of(worst), *asked.options]
        commands.append(("the whole sum behind one line:  ", words))
    if findings.faults:
        commands.append(("what was read of each engine:   ", ["intervals", "log", asked.site]))
    return command_lines([(what_for, printable(shlex.join(words))) for what_for, words in commands], width)


def command_lines(commands: Sequence[tuple[str, str]], width: int | None) -> list[Line]:
    """Return what each command is for and the command, all below one another where one is too wide: none is broken, it is to be pasted."""
    if width is None or all(width_of(what_for + command) <= width for what_for, command in commands):
        return [line_of(what_for + command, "dim") for what_for, command in commands]
    return [line_of(text, "dim") for what_for, command in commands for text in (what_for.rstrip(), f"  {command}")]
