"""A card as a sheet to type in what was written on paper: CSV or XLSX, one row for each step.

In: a `Card`. Out: CSV text, or XLSX as bytes, the same for the same card. The first rows, of kind `head`, are for who did it and when; the
sheet carries the code of its card and not the card itself. A text that a spreadsheet would run is made harmless.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from datetime import datetime
from io import BytesIO, StringIO

from xlsxwriter import Workbook

from intervals.questions.card.card_models import Card, StepLine
from intervals.questions.card.card_words import number_in, words_in
from intervals.safe_cells import defused

COLUMNS = (
    "card", "step", "kind", "text", "limits", "answer", "reason", "at", "started_at", "ended_at", "value", "unit", "label", "initials",
    "remark",
)  # fmt: skip
"""The columns; from `answer` on, but for the unit, they are to be filled in."""
HEAD = "head"
_WIDTHS = {"card": 21, "step": 34, "kind": 9, "text": 60, "limits": 28, "reason": 30, "remark": 30}
_WIDTH, _SHEET = 13, "card"
Row = dict[str, str]


def card_csv(card: Card) -> str:
    """Return a card as CSV.

    Args:
        card: the card.

    Returns:
        A header, the rows of kind `head` (`step` says what is asked for, its `value` is to be filled in), then one row for each step in
        the order of the card. Lines end with a line feed.
    """
    text = StringIO()
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({column: str(defused(cell)) for column, cell in row.items()} for row in _rows(card))
    return text.getvalue()


def card_workbook(card: Card) -> bytes:
    """Return a card as an XLSX file with the rows of `card_csv`.

    Args:
        card: the card.
    """
    out = BytesIO()
    with Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}) as book:
        book.set_properties({"title": f"{card.engine} {card.code}", "created": datetime.fromisoformat(card.stop.on)})
        sheet = book.add_worksheet(_SHEET)
        heading, wrapped = book.add_format({"bold": True, "bottom": 1}), book.add_format({"text_wrap": True, "valign": "top"})
        for place, column in enumerate(COLUMNS):
            sheet.set_column(place, place, _WIDTHS.get(column, _WIDTH), wrapped)
            sheet.write_string(0, place, column, heading)
        for number, row in enumerate(_rows(card), 1):
            for place, column in enumerate(COLUMNS):
                sheet.write_string(number, place, row.get(column, ""), wrapped)
        sheet.freeze_panes(1, 2)
    return out.getvalue()


def _rows(card: Card) -> Iterator[Row]:
    """Yield the rows: what is asked of the whole card, then its steps."""
    words = words_in(card.language)
    asked = {
        "by": words["by"],
        "released_by": card.releases,
        "hour_meter_h": words["meter"],
        "started_at": words["began"],
        "ended_at": words["ended"],
        "remarks": words["remarks"],
    }
    grades = ", ".join(f"{grade} ({words[grade]})" for grade in ("good", "worn", "at_limit", "failed"))
    asked |= {f"as_found:{task.task}": f"{task.title}: {words['as_found']}: {grades}" for task in card.tasks}
    asked |= {f"not_done:{task.task}": f"{task.title}: {words['not_done']}: yes" for task in card.tasks}
    for key, text in asked.items():
        yield {"card": card.code, "step": key, "kind": HEAD, "text": text}
    for step in card.steps:
        limits = _limits(step, card.language)
        yield {"card": card.code, "step": step.id, "kind": step.kind, "text": step.text, "limits": limits, "unit": step.unit or ""}


def _limits(step: StepLine, language: str) -> str:
    """Return what a step's evidence is held against: the limits of a value, the minutes of a wait."""
    minutes = "" if step.minutes is None else f"{number_in(step.minutes, language)} {words_in(language)['minutes']}"
    return step.limits_text or minutes
