"""The server's own pages: plain HTML that needs no script and loads nothing.

In: what to show. Out: HTML as text. Every text is escaped by the template engine.
"""

from __future__ import annotations

from importlib.resources import files

from jinja2 import ChoiceLoader, PackageLoader
from markupsafe import Markup, escape

from intervals.language.words import LANGUAGES
from intervals.reports.check.table import distance_text, due_text, standing_text, used_of_allowed, why_text
from intervals.reports.template_engine import template_engine
from intervals.shown_numbers import count_of, figure
from intervals.version import __version__


class Pages:
    """Draws the pages of one server.

    Args:
        title: what people call the site.
        has_passphrase: whether people have entered, and can leave.
    """

    def __init__(self, title: str, *, has_passphrase: bool) -> None:
        self.style = (files("intervals.serve") / "templates" / "serve.css").read_text("utf-8")
        self._environment = template_engine()
        own = PackageLoader("intervals.serve", "templates")
        self._environment.loader = ChoiceLoader([own, *filter(None, [self._environment.loader])])
        self._environment.filters |= {
            "count": count_of,
            "figure": figure,
            "standing": standing_text,
            "used": used_of_allowed,
            "distance": distance_text,
            "due": due_text,
            "why": why_text,
            "put": lambda text, **values: text.format(**values),
            # what a person typed over several lines keeps its lines; control characters were taken out when it came
            "typed": lambda text: Markup(escape(text)),
        }
        self._always = {
            "site_title": title,
            "has_passphrase": has_passphrase,
            "style": Markup(self.style),
            "version": __version__,
            "languages": LANGUAGES,
        }

    def draw(self, name: str, **shown: object) -> str:
        """Return a page.

        Args:
            name: of its template, without the ending.
            shown: what it shows.
        """
        return self._environment.get_template(f"{name}.html").render(**self._always, **shown)
