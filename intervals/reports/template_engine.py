"""What pages are made with: one template engine and one style, so that they look alike and escape alike.

In: nothing. Out: the engine, to which each page adds what it writes its figures by.
"""

from __future__ import annotations

from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from intervals.reports.lines import printable


def template_engine() -> Environment:
    """Return the template engine: everything escaped, nothing undefined let pass."""
    return Environment(
        loader=PackageLoader("intervals.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: printable(value) if type(value) is str else value,
    )


def style_sheet(*more: str) -> Markup:
    """Return the style that stands inside every page, and after it that of other files of the templates.

    Args:
        more: the names of these files.
    """
    folder = files("intervals.reports") / "templates"
    return Markup("".join((folder / name).read_text("utf-8") for name in ("month.css", *more)))
