"""Several sites for a spreadsheet: one row per finding with its site in front, as CSV or as a workbook.

In: `SitesFindings`. Out: CSV text; XLSX as bytes. The sheets are those of one site, put below one another.
"""

from __future__ import annotations

from collections.abc import Iterator

from intervals.questions.sites.sites_models import SitesFindings
from intervals.reports.check.sheet import csv_of, findings_frame
from intervals.reports.check.workbook import Cell, SheetRows, finding_sheets, workbook_of
from intervals.shown_numbers import count_of

_SITE_HEADINGS = (
    "folder", "site", "title", "engines", "overdue", "upcoming", "in interval", "unknown", "skipped and open", "on time", "decided",
    "faults", "problems",
)  # fmt: skip
_NEVER = "2000-01-01T00:00:00+00:00"


def sites_csv(found: SitesFindings) -> str:
    """Return one row per finding: `folder` and `site`, then the columns of the CSV of one site.

    Args:
        found: the answer of each site; one that cannot be judged has no row.
    """
    import pandas as pd  # noqa: PLC0415 - loaded only by those who ask for a frame

    frames = []
    for site, findings in found.judged:
        frame = findings_frame(findings)
        frame.insert(0, "site", findings.site)
        frame.insert(0, "folder", site.folder)
        frames.append(frame)
    return csv_of(pd.concat(frames, ignore_index=True)) if frames else ""


def sites_workbook(found: SitesFindings) -> bytes:
    """Return an XLSX file: a sheet of the sites, then the sheets of one site with `folder` in front.

    Args:
        found: the answer of each site.
    """
    title = f"{count_of(found.totals.sites, 'site')}, as of {found.as_of or 'no moment'}"
    return workbook_of([_sites_sheet(found), *_sheets_together(found)], title=title, as_of=found.as_of or _NEVER)


def _sites_sheet(found: SitesFindings) -> SheetRows:
    """Return the sheet with a row for each site."""
    rows: list[tuple[Cell, ...]] = []
    for site in found.sites:
        findings = site.findings
        if findings is None:
            blank: tuple[Cell, ...] = (None,) * (len(_SITE_HEADINGS) - 2)
            rows.append((site.folder, *blank, "; ".join(f"{each.code} {each.text}" for each in site.problems)))
            continue
        totals, month = findings.totals, findings.compliance
        counts = (totals.overdue, totals.upcoming, totals.in_interval, totals.unknown, totals.skipped_open)
        decided = (None, None) if month is None else (month.on_time, month.on_time + month.late)
        rows.append((site.folder, findings.site, site.title, site.engines, *counts, *decided, len(findings.faults), None))
    return "sites", _SITE_HEADINGS, rows


def _sheets_together(found: SitesFindings) -> Iterator[SheetRows]:
    """Yield the sheets of all sites, those of one name put below one another."""
    headings: dict[str, tuple[str, ...]] = {}
    rows: dict[str, list[tuple[Cell, ...]]] = {}
    for site, findings in found.judged:
        for name, heads, some in finding_sheets(findings):
            headings[name] = ("folder", *heads)
            rows.setdefault(name, []).extend((site.folder, *row) for row in some)
    # what must be read before the others stands before them
    for name in sorted(headings, key=lambda each: each != "read first"):
        yield name, headings[name], rows[name]
