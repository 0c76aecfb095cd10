"""Several sites as one page: how each stands, what needs doing first in each, and which could not be judged, to read, print and keep.

In: `SitesFindings`. Out: HTML as text that loads and runs nothing. Every text is escaped by the template engine; nothing is worked out
here.
"""

from __future__ import annotations

from intervals.questions.month.month_wording import STANDING_WORDS, month_name
from intervals.questions.sites.sites_models import SitesFindings
from intervals.reports.check.table import distance_text, due_text, used_of_allowed, why_text
from intervals.reports.sites.sites_table import moment_text
from intervals.reports.template_engine import style_sheet, template_engine
from intervals.shown_numbers import count_of, percentage
from intervals.urgency import by_urgency

MOST_OF_A_SITE = 12


def sites_page(found: SitesFindings, *, made_at: str, version: str) -> str:
    """Return the page of several sites.

    Args:
        found: the answer of each site.
        made_at: when it is made, as it is to be printed.
        version: of the program.
    """
    environment = template_engine()
    environment.filters |= {
        "count": count_of,
        "percentage": percentage,
        "used": used_of_allowed,
        "distance": distance_text,
        "due": due_text,
        "why": why_text,
    }
    work = []
    for number, site in enumerate(found.sites, start=1):
        ordered = [] if site.findings is None else by_urgency(site.findings.findings)
        wanted = [finding for finding in ordered if finding.standing != "in_interval"]
        if wanted:
            work.append((number, site, wanted[:MOST_OF_A_SITE], len(wanted)))
    return environment.get_template("sites.html").render(
        found=found,
        when=None if found.as_of is None else moment_text(found.as_of),
        month=None if found.on_time is None else month_name(found.on_time.month),
        work=work,
        standings=STANDING_WORDS,
        on_time=found.on_time,
        style=style_sheet(),
        made_at=made_at,
        version=version,
    )
