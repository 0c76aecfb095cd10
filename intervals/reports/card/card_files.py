"""The files of a job card: its document, its page, its sheet.

In: a `Card`. Out: content by file name. Which of them may take the place of one that is there already is said here too: a page may, as
nothing is written into it; a sheet and a card never.
"""

from __future__ import annotations

from intervals.questions.card.card_code import card_text
from intervals.questions.card.card_models import Card

PAGE_ENDING = ".html"


def kept_file(card: Card) -> dict[str, bytes]:
    """Return the file that the site keeps of a card: its document."""
    return {f"{card.code}.json": card_text(card).encode("utf-8")}


def handed_out(card: Card, *, paper: bool, sheet: str | None) -> dict[str, bytes]:
    """Return the files that go to the engine: the page, and a sheet where one is asked for.

    Args:
        card: the card.
        paper: whether the page is for paper alone.
        sheet: `csv` or `xlsx`, or None.

    Returns:
        Content by file name, each named by the code.
    """
    from intervals.reports.card.card_page import card_page  # noqa: PLC0415 - the template engine is loaded once a page is made

    files = {f"{card.code}{PAGE_ENDING}": card_page(card, paper=paper).encode("utf-8")}
    if sheet is not None:
        from intervals.reports.card.card_sheet import card_csv, card_workbook  # noqa: PLC0415 - the library is needed for sheets alone

        files[f"{card.code}.{sheet}"] = card_csv(card).encode("utf-8") if sheet == "csv" else card_workbook(card)
    return files


def may_be_replaced(name: str, code: str, before: bytes) -> bool:
    """Return whether a file that is there already may be written again: the page of the same card, which holds nothing that was typed.

    Args:
        name: the file's name.
        code: the card's code.
        before: what is in the file.
    """
    return name.endswith(PAGE_ENDING) and before.startswith(b"<!DOCTYPE html>") and code.encode() in before
