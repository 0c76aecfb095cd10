"""A site under its own rules and under changed ones, side by side, for a person to read.

In: `WhatIf`. Out: lines: what is changed, a row for each task that it changes, and the totals before and after. Draws only.
"""

from __future__ import annotations

from collections.abc import Callable

from intervals.findings import Totals
from intervals.questions.what_if.what_if_models import Compared, Judged, Past, WhatIf
from intervals.reports.check.table import STANDING_MARKS
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.sections import warning_lines
from intervals.reports.text_columns import Column, lay_out
from intervals.reports.what_if.stops_words import NOTE, how_good, stops_rows
from intervals.shown_numbers import UNKNOWN, amount, count_of, figure, use_text

_COLUMNS = (
    Column("engine", is_plain=True),
    Column("task", is_plain=True),
    Column("lasts", to_right=True),
    Column("per year", to_right=True),
    Column("status", is_plain=True),
    Column("due on"),
    Column("the past"),
)
_STOP_COLUMNS = (
    Column("engine", is_plain=True),
    Column("stops", to_right=True),
    Column("visits while running", to_right=True),
    Column("tasks late", to_right=True),
)
_NOTHING = "-"


def what_if_lines(found: WhatIf, *, width: int | None = None) -> list[Line]:
    """Return both sides of a what-if.

    Args:
        found: what was judged.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    changed = [row for row in found.tasks if row.is_changed]
    same = len(found.tasks) - len(changed)
    changes = [line_of(f"  {printable(change)}") for change in found.changes]
    table = lay_out(_COLUMNS, [_row(each, found.name_of(each)) for each in changed], width=width)
    sections: list[list[Line]] = [
        warning_lines(found.warnings),
        [(Span(printable(found.site), "bold"), Span(f"  what if, as of {found.as_of}")), *(changes or [line_of("  nothing is changed")])],
        [line_of("Shown as: now -> under the changed rules.", "dim"), *table] if changed else [],
        _stop_lines(found, width),
        [
            line_of(f"{count_of(same, 'task')} unchanged"),
            line_of(f"before: {_totals_text(found.totals_before)}"),
            line_of(f"after:  {_totals_text(found.totals_after)}"),
            line_of("No file was changed. Jobs worth: used / allowed of every window so far, added up.", "dim"),
        ],
    ]
    filled = [fold_lines(section, width) for section in sections if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _stop_lines(found: WhatIf, width: int | None) -> list[Line]:
    """Return the stops of the year ahead under both rules, or why there are none; nothing where nobody asked."""
    if found.stops is None:
        return [] if found.stops_unknown is None else [line_of(f"! {printable(found.stops_unknown)}")]
    stops = found.stops
    rows = [[Span(printable(row.engine)), *(Span(_pair(*pair)) for pair in (row.stops, row.visits, row.late))] for row in stops_rows(stops)]
    return [
        line_of(f"Stops from now until {stops.until}", "bold"),
        *lay_out(_STOP_COLUMNS, rows, width=width),
        line_of(f"now: {how_good(stops.before)}"),
        line_of(f"changed: {how_good(stops.after)}"),
        line_of(NOTE, "dim"),
    ]


def _pair(before: int, after: int) -> str:
    """Return both sides of a count, or the one where they are alike."""
    return f"{before:,}" if before == after else f"{before:,} -> {after:,}"


def _totals_text(totals: Totals) -> str:
    """Return how many tasks stand how."""
    counts = ", ".join(f"{getattr(totals, standing):,} {standing.replace('_', ' ')}" for standing in STANDING_MARKS)
    return f"{counts}, {totals.skipped_open:,} skipped and still open"


def _row(row: Compared, name: str) -> list[Span]:
    """Return the cells of one task."""
    style = ""
    if row.before is not None and row.after is not None and row.after.standing != row.before.standing:
        style = STANDING_MARKS[row.after.standing][1]
    past = [f"{label} {text}" for label, text_of in _PAST if (text := _both(row, text_of)) not in _SILENT]
    return [
        Span(printable(row.engine)),
        Span(printable(name)),
        Span(_both(row, lambda side: amount(side.lasts_h, "h") if side.lasts_h is not None else _NOTHING)),
        Span(_both(row, lambda side: figure(side.per_year))),
        Span(_both(row, lambda side: f"{STANDING_MARKS[side.standing][0]} {side.standing.replace('_', ' ')}"), style),
        Span(_both(row, lambda side: side.due_on or UNKNOWN)),
        Span("; ".join(past)),
    ]


def _of_past(text_of: Callable[[Past], str]) -> Callable[[Judged], str]:
    """Return the text of a figure of the past, where it is known."""
    return lambda side: UNKNOWN if side.past is None else text_of(side.past)


def _used(side: Judged) -> str:
    """Return what is used of what is allowed."""
    return UNKNOWN if side.unit is None else use_text(side.used, side.allowed, side.unit)


def _both(row: Compared, text_of: Callable[[Judged], str]) -> str:
    """Return both sides of a figure, or the one where they read alike."""
    before, after = (_NOTHING if side is None else text_of(side) for side in (row.before, row.after))
    return before if before == after else f"{before} -> {after}"


_SILENT = ("0", "0 h", UNKNOWN, _NOTHING)
"""What is not worth a word in the past of a task."""
_PAST: tuple[tuple[str, Callable[[Judged], str]], ...] = (
    ("used", _used),
    ("jobs worth", _of_past(lambda past: figure(past.intervals_used))),
    ("fell due", _of_past(lambda past: f"{past.fell_due:,}")),
    ("late", _of_past(lambda past: f"{past.late:,}")),
    ("missed", _of_past(lambda past: f"{past.missed:,}")),
    ("run overdue", _of_past(lambda past: amount(past.overdue_h, "h"))),
)
