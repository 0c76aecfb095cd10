"""A what-if as one page: a site under its own rules and under changed ones, side by side, to read, to print and to keep.

In: a `WhatIf`. Out: HTML as text that loads nothing. Every text is escaped by the template engine; nothing is worked out here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from intervals.questions.month.month_wording import STANDING_WORDS
from intervals.questions.what_if.what_if_models import Compared, Judged, Past, WhatIf
from intervals.reports.template_engine import style_sheet, template_engine
from intervals.reports.what_if.stops_words import NOTE, how_good, stops_rows
from intervals.shown_numbers import UNKNOWN, amount, count_of, figure, use_text

_NOTHING = "\N{EN DASH}"


class Cell(NamedTuple):
    """One figure of one side, and whether the other side has another."""

    text: str
    differs: bool


class Side(NamedTuple):
    """One side of a task: its label, its standing (None where those rules do not have the task), its figures."""

    label: str
    standing: str | None
    status: Cell
    cells: tuple[Cell, ...]


def what_if_page(found: WhatIf, *, title: str, made_at: str, version: str) -> str:
    """Return the page of a what-if.

    Args:
        found: what was judged.
        title: what people call the site.
        made_at: when it is made, as it is to be printed.
        version: of the program.

    Returns:
        HTML that loads nothing and runs nothing: styles stand inside.
    """
    environment = template_engine()
    environment.filters["count"] = count_of
    return environment.get_template("what_if.html").render(
        found=found,
        title=title,
        made_at=made_at,
        version=version,
        style=style_sheet(),
        columns=tuple(name for name, _ in _COLUMNS),
        changed=[(row, _sides(row)) for row in found.tasks if row.is_changed],
        same=[row for row in found.tasks if not row.is_changed],
        standings=STANDING_WORDS,
        stops_rows=[] if found.stops is None else stops_rows(found.stops),
        how_good=how_good,
        stops_note=NOTE,
    )


def _sides(row: Compared) -> tuple[Side, Side]:
    """Return both sides of a task, what differs marked."""
    both = (row.before, row.after)
    texts = [[_NOTHING if side is None else text_of(side) for _, text_of in _COLUMNS] for side in both]
    differs = [one != other for one, other in zip(*texts, strict=True)]
    standing_words = ["not in these rules" if side is None else _standing(side) for side in both]
    before, after = (
        Side(
            label,
            None if side is None else side.standing,
            Cell(words, standing_words[0] != standing_words[1]),
            tuple(map(Cell, cells, differs)),
        )
        for label, side, words, cells in zip(("as it is", "what if"), both, standing_words, texts, strict=True)
    )
    return before, after


def _standing(side: Judged) -> str:
    """Return how a task stands, in words."""
    return STANDING_WORDS[side.standing] + (", in tolerance" if side.within_tolerance else "")


def _used(side: Judged) -> str:
    """Return what is used of what is allowed."""
    return UNKNOWN if side.unit is None else use_text(side.used, side.allowed, side.unit)


def _of_past(text_of: Callable[[Past], str]) -> Callable[[Judged], str]:
    """Return the text of a figure of the past, where it is known."""
    return lambda side: UNKNOWN if side.past is None else text_of(side.past)


_COLUMNS: tuple[tuple[str, Callable[[Judged], str]], ...] = (
    ("Due on", lambda side: side.due_on or UNKNOWN),
    ("Used / allowed", _used),
    ("Lasts", lambda side: _NOTHING if side.lasts_h is None else amount(side.lasts_h, "h")),
    ("Jobs per year", lambda side: figure(side.per_year)),
    ("Jobs worth", _of_past(lambda past: figure(past.intervals_used))),
    ("Fell due", _of_past(lambda past: f"{past.fell_due:,}")),
    ("Late", _of_past(lambda past: f"{past.late:,}")),
    ("Missed", _of_past(lambda past: f"{past.missed:,}")),
    ("Run overdue", _of_past(lambda past: amount(past.overdue_h, "h"))),
    ("Days overdue", _of_past(lambda past: figure(past.overdue_d))),
)
