"""The document of several sites: `intervals.sites/1`.

In: `SitesFindings`. Out: one JSON document as text, keys in a fixed order. The findings of each site are those of its own document.
"""

from __future__ import annotations

from intervals.questions.check.findings_document import findings_body
from intervals.questions.sites.sites_models import SiteAnswer, SitesFindings

SITES_SCHEMA = "intervals.sites/1"
_STEP = "  "


def sites_text(found: SitesFindings) -> str:
    """Return what was found of several sites as JSON text, ended by a line feed.

    Args:
        found: the answer of each site.

    Returns:
        `schema`, `totals`, and `sites` in the order in which they were asked for; of each its folder, title and count of engines, its
        `findings` (null where it cannot be judged) and its `problems` (none where it can).
    """
    totals = _set_in(found.totals.model_dump_json(indent=2), 1)
    sites = ",".join(f"\n{_STEP * 2}{_set_in(_site_text(site), 2)}" for site in found.sites)
    return f'{{\n  "schema": "{SITES_SCHEMA}",\n  "totals": {totals},\n  "sites": [{sites}\n  ]\n}}\n'


def _site_text(site: SiteAnswer) -> str:
    """Return one site as JSON text."""
    text = site.model_dump_json(indent=2, exclude={"findings"})
    if site.findings is None:
        return text.replace('\n  "problems":', '\n  "findings": null,\n  "problems":', 1)
    findings = _set_in(findings_body(site.findings), 1)
    return text.replace('\n  "problems":', f'\n  "findings": {findings},\n  "problems":', 1)


def _set_in(text: str, steps: int) -> str:
    """Return JSON text set in; no text in it holds a line break as it is."""
    return text.replace("\n", "\n" + _STEP * steps)
