"""The page of a job card: one HTML file for paper and screen that needs nothing else.

In: a `Card`. Out: HTML as text. On paper, and without scripts, it is a form to fill in by hand; with scripts it is filled in on the screen.
Every text is escaped by the template engine; nothing is worked out here but how a figure is written.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import lru_cache, partial
from importlib.resources import files
from itertools import groupby

from jinja2 import Environment, Template
from markupsafe import Markup

from intervals.questions.card.card_code import card_line
from intervals.questions.card.card_models import Card, StepLine
from intervals.questions.card.card_words import number_in, words_in
from intervals.reports.card.card_picture import code_picture
from intervals.reports.template_engine import template_engine
from intervals.reports.waste_words import waste_name, waste_unit

GRADES = ("good", "worn", "at_limit", "failed")
_BLANK = "____"
_SCRIPT_WORDS = (
    "progress", "open_steps", "none_open", "no_number", "outside", "running", "still", "time_is_up", "lasted", "too_short", "saved",
    "step", "value", "decimal", "meter",
)  # fmt: skip


def card_page(card: Card, *, paper: bool = False) -> str:
    """Return the page of a card.

    Args:
        card: the card.
        paper: whether it is for paper alone, without any script.

    Returns:
        An HTML document, UTF-8 when written; no request leaves it.
    """
    words = words_in(card.language)
    return _template().render(
        card=card,
        w=words,
        style=_part("card.css"),
        script=None if paper else _part("card.js"),
        picture=code_picture(card.code),
        phases=_phases(card.steps),
        grades=GRADES,
        number=partial(_number, card.language),
        kinds=tuple(dict.fromkeys(step.kind for step in card.steps)),
        meter=next((task.meter_h_expected for task in card.tasks if task.meter_h_expected is not None), None),
        document=None if paper else _data(card_line(card)),
        script_words=None if paper else _data(json.dumps({key: words[key] for key in _SCRIPT_WORDS}, ensure_ascii=False)),
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    """Return the template, compiled once."""
    engine: Environment = template_engine()
    engine.filters |= {"put": _put, "waste_name": waste_name, "waste_unit": waste_unit}
    return engine.get_template("card.html")


@lru_cache(maxsize=4)
def _part(name: str) -> Markup:
    """Return a part of the page that stands in it as it is."""
    return Markup((files("intervals.reports") / "templates" / name).read_text("utf-8"))


def _data(text: str) -> Markup:
    """Return JSON in which nothing can end or begin a tag of the page."""
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _phases(steps: Iterable[StepLine]) -> list[tuple[str, list[tuple[int, StepLine]]]]:
    """Return the steps with their numbers under the headings that they stand below: cautions, then phase by phase."""
    numbered = enumerate(steps, 1)
    grouped = groupby(numbered, key=lambda each: "caution" if each[1].kind == "caution" else each[1].phase)
    return [(heading, list(listed)) for heading, listed in grouped]


def _number(language: str, value: float | None) -> str:
    """Return a number, or a line to write it on where it is not known."""
    return _BLANK if value is None else number_in(value, language)


def _put(text: str, **values: object) -> str:
    """Return a text with the words in its braces."""
    return text.format(**values)
