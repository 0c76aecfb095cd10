"""Several sites at a glance: one row for each, what needs doing first in all of them, totals, and what to run next.

In: `SitesFindings`. Out: lines. Every standing is a mark and a word, as in the table of one site. Why a site could not be judged is said
on standard error; its row counts the problems.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from datetime import date, datetime, time
from typing import NamedTuple

from intervals.findings import Finding, Findings
from intervals.questions.sites.sites_models import SiteAnswer, SitesFindings
from intervals.reports.check.due_words import last_day_of
from intervals.reports.check.table import (
    COLUMNS,
    STANDING_MARKS,
    command_lines,
    distance_text,
    row_of,
    standing_text,
)
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.text_columns import Column, lay_out
from intervals.shown_numbers import count_of, percentage
from intervals.urgency import urgency_of

MOST_URGENT = 20
_SITE_COLUMNS = (
    Column("site", is_plain=True),
    Column("engines", to_right=True),
    Column("overdue", to_right=True),
    Column("upcoming", to_right=True),
    Column("in interval", to_right=True),
    Column("unknown", to_right=True),
    Column("skipped", to_right=True),
)
_ON_TIME = Column("on time", to_right=True)
_FIRST = Column("what is first", is_plain=True)
_TASK_COLUMNS = (_SITE_COLUMNS[0], *COLUMNS)


class AskedOfSites(NamedTuple):
    """What the person asked for.

    Attributes:
        options: options that the next command needs to give the same answer, each word apart.
        shows_all: whether every task of every site is shown.
        due_by: show what falls due up to this day, and only that; None: what needs doing, the most urgent of it.
    """

    options: tuple[str, ...] = ()
    shows_all: bool = False
    due_by: date | None = None


def sites_lines(found: SitesFindings, asked: AskedOfSites, *, width: int | None = None) -> list[Line]:
    """Return the report of several sites.

    Args:
        found: the answer of each site.
        asked: what the person typed.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        Lines: warnings, heading, a row per site, tasks of all sites with the most urgent first, totals, what to run next.
    """
    rows = (_site_rows(found, width), _task_rows(found, asked, width))
    sections = [_warning_lines(found), _heading_lines(found), *rows, _total_lines(found)]
    fitted = [*(fold_lines(section, width) for section in sections), _next_lines(found, asked, width)]
    filled = [section for section in fitted if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _warning_lines(found: SitesFindings) -> list[Line]:
    """Return what must be read before anything that rests on service records, with the site that it is of."""
    warned = ((site.folder, each.text) for site, findings in found.judged for each in findings.warnings)
    return [(Span("! ", "bold red"), Span(printable(f"{folder}: {text}"), "bold red")) for folder, text in warned]


def _heading_lines(found: SitesFindings) -> list[Line]:
    """Return how many sites were judged, as of when."""
    counted = count_of(found.totals.sites, "site")
    when = "" if found.as_of is None else f"  as of {moment_text(found.as_of)}"
    failed = f"  {found.totals.not_judged:,} cannot be judged" if found.not_judged else ""
    return [(Span(counted, "bold"), Span(when), Span(failed, "bold red"))]


def moment_text(as_of: str) -> str:
    """Return the moment of judging as each site means it: the day at whose end it is, else the time; sites lie in several zones.

    Example:
        >>> moment_text("2026-11-01T00:00:00+01:00"), moment_text("2026-11-01T06:00:00+01:00")
        ('2026-10-31', '2026-11-01 06:00')
    """
    at = datetime.fromisoformat(as_of)
    return last_day_of(as_of).isoformat() if at.time() == time.min else f"{at:%Y-%m-%d %H:%M}"


def _site_rows(found: SitesFindings, width: int | None) -> list[Line]:
    """Return a row for each site, in the order asked for."""
    columns = (*_SITE_COLUMNS, *([] if found.on_time is None else [_ON_TIME]), _FIRST)
    return lay_out(columns, [_site_row(site, len(columns)) for site in found.sites], width=width)


def _site_row(site: SiteAnswer, cells: int) -> list[Span]:
    """Return the cells of one site."""
    findings = site.findings
    if findings is None:
        text = f"cannot be judged: {count_of(len(site.problems), 'problem')}, the first {site.problems[0].code}"
        return [Span(printable(site.folder)), *([Span("-")] * (cells - 2)), Span(text, "bold red")]
    counts = {standing: getattr(findings.totals, standing) for standing in STANDING_MARKS}
    figures = [Span(f"{count:,}", STANDING_MARKS[standing][1] if count else "") for standing, count in counts.items()]
    skipped = findings.totals.skipped_open
    compliance = findings.compliance
    on_time = [] if compliance is None else [Span("-" if compliance.figure is None else percentage(compliance.figure))]
    return [
        Span(printable(site.folder)),
        Span(f"{site.engines:,}"),
        *figures,
        Span(f"{skipped:,}", "bold red" if skipped else ""),
        *on_time,
        Span(_first_text(findings)),
    ]


def _first_text(findings: Findings) -> str:
    """Return the most urgent task of a site in a few words."""
    worst = min(findings.findings, key=urgency_of, default=None)
    if worst is None or worst.standing == "in_interval":
        return "nothing needs doing"
    return printable(f"{standing_text(worst)}: {worst.engine} {findings.name_of(worst)}, {distance_text(worst)}")


def _task_rows(found: SitesFindings, asked: AskedOfSites, width: int | None) -> list[Line]:
    """Return the tasks that are shown, the most urgent of all sites first, and what is left out."""
    ordered = found.by_urgency()
    wanted = [each for each in ordered if _is_wanted(each[2], asked)]
    is_short = not asked.shows_all and asked.due_by is None
    shown = wanted[:MOST_URGENT] if is_short else wanted
    rows = [_task_row(*each) for each in shown]
    heading = [line_of("What needs doing first" if is_short else "Tasks of all sites", "bold")] if rows else []
    return [*heading, *lay_out(_TASK_COLUMNS, rows, width=width), *_rest_lines(ordered, wanted, shown, asked)]


def _is_wanted(finding: Finding, asked: AskedOfSites) -> bool:
    """Tell whether a task is one of those asked for."""
    if asked.due_by is not None:
        return finding.due_on is not None and finding.due_on <= asked.due_by.isoformat()
    return asked.shows_all or finding.standing != "in_interval"


def _task_row(site: SiteAnswer, findings: Findings, finding: Finding) -> list[Span]:
    """Return the cells of one task."""
    return [Span(printable(site.folder)), *row_of(finding, name=findings.name_of(finding))]


def _rest_lines(ordered: Sequence[object], wanted: Sequence[object], shown: Sequence[object], asked: AskedOfSites) -> list[Line]:
    """Return what the table leaves out, and how to see it."""
    said = []
    if len(shown) < len(wanted):
        said.append(f"{count_of(len(wanted) - len(shown), 'more task')} that {'needs' if len(wanted) - len(shown) == 1 else 'need'} doing")
    if len(wanted) < len(ordered):
        left = count_of(len(ordered) - len(wanted), "task")
        said.append(f"{left} not due by {asked.due_by.isoformat()}" if asked.due_by is not None else f"{left} in interval")
    begin = "" if shown or not ordered else "Nothing needs doing. "
    return [line_of(f"{begin}Not shown: {', '.join(said)}; --all shows every task", "dim")] if said else []


def _total_lines(found: SitesFindings) -> list[Line]:
    """Return how many findings there are of each standing over all sites, and what share of a month's work was on time."""
    totals = found.totals
    every = sum(getattr(totals, word) for word in STANDING_MARKS)
    spans = [Span(f"{count_of(every, 'finding')} of {count_of(totals.engines, 'engine')}: ", "bold")]
    for standing, (_, style) in STANDING_MARKS.items():
        count = getattr(totals, standing)
        spans += [Span(f"{count:,} {standing.replace('_', ' ')}", style if count else ""), Span(", ")]
    when = "" if found.on_time is None else f" in {found.on_time.month}"
    spans.append(Span(f"{totals.skipped_open:,} skipped{when} and still open", "bold red" if totals.skipped_open else ""))
    return [tuple(spans), *_month_lines(found)]


def _month_lines(found: SitesFindings) -> list[Line]:
    """Return the month's figure over all sites, where a month was asked for."""
    met = found.on_time
    if met is None:
        return []
    share = "no figure, nothing was decided" if met.figure is None else percentage(met.figure)
    return [line_of(f"Compliance in {met.month}, all sites together: {share} ({met.on_time:,} on time of {met.decided:,})", "bold")]


def _next_lines(found: SitesFindings, asked: AskedOfSites, width: int | None) -> list[Line]:
    """Return which command to run next: on the site of what is most urgent, and on one that cannot be judged."""
    commands: list[tuple[str, Sequence[str]]] = []
    worst = next(iter(found.by_urgency()), None)
    if worst is not None and worst[2].standing != "in_interval":
        commands.append(("the whole table of one site:  ", ["intervals", "check", _typed(worst[0].folder), *asked.options]))
    if found.not_judged:
        commands.append(("what keeps one from judging:  ", ["intervals", "check", _typed(found.not_judged[0].folder), *asked.options]))
    return command_lines([(what_for, printable(shlex.join(words))) for what_for, words in commands], width)


def _typed(folder: str) -> str:
    """Return a folder as it can be typed; one that begins with a dash would be taken for an option."""
    return f"./{folder}" if folder.startswith("-") else folder
