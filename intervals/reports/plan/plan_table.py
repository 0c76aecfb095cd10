"""A plan of stops as a table for a person to read.

In: a `Plan`. Out: lines. Draws only.
"""

from __future__ import annotations

from intervals.questions.plan.plan_models import Plan, PlannedStop
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.plan.plan_words import (
    CAUTION,
    aims_text,
    days_text,
    is_over,
    kind_text,
    late_text,
    load_text,
    moved_texts,
    needs_text,
    order_text,
    status_text,
    totals_text,
)
from intervals.reports.text_columns import Column, lay_out
from intervals.shown_numbers import amount

_COLUMNS = (
    Column("day", is_plain=True),
    Column("engine", is_plain=True),
    Column("", is_plain=True),
    Column("hours", to_right=True),
    Column("people", to_right=True),
    Column("crew"),
    Column("tasks", is_plain=True),
)


def plan_lines(plan: Plan, *, written_to: str | None = None, width: int | None = None) -> list[Line]:
    """Return the plan.

    Args:
        plan: the plan.
        written_to: the file that it was written to, or None.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    late = [line_of(printable(f"  {stop.engine} {late_text(each)}"), "red") for stop in plan.stops for each in stop.late]
    unplaced = [line_of(printable(f"  {each.engine} {each.task}: {each.why}")) for each in plan.unplaced]
    overtime = [line_of(printable(f"  {load_text(each)}")) for each in plan.crews if is_over(each)]
    moved = [line_of(printable(f"  {each}")) for each in moved_texts(plan)]
    needs = [line_of(printable(f"  {each.month}  {needs_text(each)}")) for each in plan.months]
    orders = [line_of(printable(f"  {order_text(each)}"), "red" if each.late else "") for each in plan.orders]
    sections: list[list[Line]] = [
        [(Span(printable(plan.site), "bold"), Span(f"  stops until {plan.until}, by {plan.slots}s, as of {plan.as_of}"))],
        lay_out(_COLUMNS, [_row(stop) for stop in plan.stops], width=width),
        [line_of("Late, and why it cannot be otherwise", "bold"), *late] if late else [],
        [line_of("Without a day", "bold"), *unplaced] if unplaced else [],
        [line_of("Weeks beyond a crew's hours", "bold"), *overtime] if overtime else [],
        [line_of("Needed by month", "bold"), *needs] if needs else [],
        [line_of("To order", "bold"), *orders] if orders else [],
        [line_of("Moved against the plan before", "bold"), *moved] if moved else [],
        [
            line_of(totals_text(plan)),
            line_of(f"{status_text(plan)} ({aims_text(plan)})" if plan.aims else status_text(plan)),
            *(line_of(printable(f"! {note}")) for note in plan.notes),
            *([line_of(printable(f"Written to {written_to}."))] if written_to else []),
            line_of(CAUTION, "dim"),
        ],
    ]
    filled = [fold_lines(section, width) for section in sections if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _row(stop: PlannedStop) -> list[Span]:
    """Return the cells of one stop."""
    late = {each.task for each in stop.late}
    tasks = ", ".join(f"{task} (late)" if task in late else task for task in stop.tasks)
    return [
        Span(days_text(stop)),
        Span(printable(stop.engine)),
        Span(kind_text(stop)),
        Span(amount(stop.hours, "h")),
        Span(str(stop.people)),
        Span(printable(", ".join(stop.crew))),
        Span(printable(tasks), "red" if late else ""),
    ]
