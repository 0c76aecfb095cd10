"""`intervals handbook`: the pages that explain the program, without a network."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.output import Answer, width_of_terminal

if TYPE_CHECKING:
    from intervals.reports.lines import Line


@answers
def handbook(
    *,
    page: Annotated[
        str | None, typer.Argument(metavar="[PAGE]", help="A page to show. Default: list the pages.", show_default=False)
    ] = None,
) -> Answer:
    """Explain the program: list the pages of the handbook, or show one.

    On a terminal a page is rendered; in a pipe or a file it is plain Markdown.

    \b
    Examples:
      intervals handbook
      intervals handbook heavy-duty
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.handbook import page_text

    if page is None:
        return Answer(_page_list)
    text = page_text(page)
    width = width_of_terminal(sys.stdout)
    if width is None:
        return Answer(text)
    from rich.console import Console
    from rich.markdown import Markdown

    Console(width=min(width, 120)).print(Markdown(text))
    return Answer()


def _page_list(width: int | None) -> list[Line]:
    """Return a row per page: its name, its title, what it is about."""
    from intervals.handbook import PAGES, page_summary
    from intervals.reports.lines import BLANK, Span, line_of
    from intervals.reports.text_columns import Column, lay_out

    rows = [[Span(name), *map(Span, page_summary(name))] for name in PAGES]
    table = lay_out((Column("page", is_plain=True), Column("title", is_plain=True), Column("about", is_plain=True)), rows, width=width)
    return [*table, BLANK, line_of("to read one:  intervals handbook PAGE", "dim")]


COMMAND = Command(handbook, place=100, short_help="List the pages that explain the program, or show one.")
