"""The pages of a fleet's month: an overview of all engines, and a page for each of them beside it.

In: a `FleetReport`, or an engine's part of it. Out: HTML as text, of the look of the month's page, which loads nothing. The overview leads
to each engine's page and each page back. What is many is cut where it is read from the top, and the page says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import NamedTuple

from markupsafe import Markup

from intervals.findings import Finding, Findings
from intervals.judge.compliance import LATE
from intervals.questions.month.fleet import EngineReport, FleetReport
from intervals.questions.month.month_models import FleetEngine
from intervals.questions.month.month_wording import STANDING_WORDS
from intervals.questions.plan.coming_stops import Coming
from intervals.reports.lines import printable
from intervals.reports.month.chart_frame import escaped
from intervals.reports.month.page import drawn_page, share_used
from intervals.reports.month.page_places import OVERVIEW, PagePlaces
from intervals.reports.template_engine import style_sheet
from intervals.shown_numbers import figure

MOST_ROWS = 200
"""How many rows each list of the overview has; the others stand on the pages of the engines."""
_SIGNS = {"overdue": "▲", "upcoming": "◐", "in_interval": "○", "unknown": "□"}
_SKIPPED, _SKIPPED_SIGN = "skipped", "✕"
_SCRIPTS = ("month.js", "onward.js", "fleet.js")


class _Task(NamedTuple):
    """A column of the matrix: of each rule set its own, where several judge an engine."""

    ruleset: str
    task: str
    title: str


class _Matrix(NamedTuple):
    """Engines by tasks: columns, rows as they stand in the page, signs and the statuses that may be asked for."""

    tasks: Sequence[_Task]
    rows: Markup
    signs: Sequence[tuple[str, str]]
    statuses: Sequence[tuple[str, str]]


def overview_page(fleet: FleetReport, pages: Mapping[str, str], *, made_at: str, version: str, coming: Coming | None = None) -> str:
    """Return the overview of a fleet.

    Args:
        fleet: what to show.
        pages: the address of each engine's page.
        made_at: when it is made, as it is to be printed.
        version: of the program.
        coming: stops and orders of the next weeks; None where the site has no plan.
    """
    report = fleet.report
    places = PagePlaces(report.findings.name_of, pages, report.findings.findings)
    met = () if report.findings.compliance is None else report.findings.compliance.occurrences
    by_engine = _by_engine(report.findings)
    return drawn_page(
        "fleet.html",
        report,
        places,
        _SCRIPTS,
        made_at=made_at,
        version=version,
        coming=coming,
        matrix=_matrix(fleet, by_engine, places),
        by_engine={engine: entries for engine, entries in by_engine.items() if engine not in pages},
        engine_titles={},
        style=_style(),
        occurrences=[entry for entry in met if entry.met in LATE],
        met_title="Late",
        most_rows=MOST_ROWS,
    )


@cache
def _style() -> Markup:
    """Return the style of the overview, read once."""
    return style_sheet("fleet.css")


def engine_page(engine: EngineReport, *, made_at: str, version: str, overview: str = f"../{OVERVIEW}") -> str:
    """Return the page of one engine.

    Args:
        engine: what to show.
        made_at: when it is made, as it is to be printed.
        version: of the program.
        overview: the address of the overview, as seen from this page.
    """
    findings = engine.report.findings
    places = PagePlaces(findings.name_of, findings=findings.findings)
    return drawn_page("engine.html", engine.report, places, unit=engine.unit, made_at=made_at, version=version, overview=overview)


def _by_engine(findings: Findings) -> dict[str, list[Finding]]:
    """Return findings by engine, in the order given."""
    engines: dict[str, list[Finding]] = {}
    for finding in findings.findings:
        engines.setdefault(finding.engine, []).append(finding)
    return engines


def _matrix(fleet: FleetReport, by_engine: Mapping[str, Sequence[Finding]], places: PagePlaces) -> _Matrix:
    """Return engines by tasks."""
    findings = fleet.report.findings
    open_skips = {(each.engine, each.ruleset, each.task) for each in fleet.report.skipped if each.open}
    tasks: dict[tuple[str, str], _Task] = {}
    for finding in findings.findings:
        ruleset = finding.ruleset if findings.has_several else ""
        if (ruleset, finding.task) not in tasks:
            tasks[ruleset, finding.task] = _Task(ruleset, finding.task, f"{finding.title} ({ruleset})" if ruleset else finding.title)
    units = [*fleet.units, *(FleetEngine(engine=each, title=each, hours_h=None) for each in by_engine if each not in places.pages)]
    rows = []
    for unit in units:
        own = by_engine.get(unit.engine, ())
        cells = {(each.ruleset if findings.has_several else "", each.task): _cell(each, places, open_skips) for each in own}
        overdue = sum(each.standing == "overdue" for each in own)
        hours = "<td></td>" if unit.hours_h is None else f'<td data-n="{unit.hours_h:g}">{figure(unit.hours_h)}</td>'
        row = "".join(cells.get(key, "<td></td>") for key in tasks)
        rows.append(f'<tr><th scope="row">{_name(unit, places)}</th>{hours}<td>{overdue or ""}</td>{row}</tr>\n')
    signs = [*((sign, STANDING_WORDS[standing]) for standing, sign in _SIGNS.items()), (_SKIPPED_SIGN, "skipped and still open")]
    statuses = [*STANDING_WORDS.items(), (_SKIPPED, "skipped and still open")]
    return _Matrix(list(tasks.values()), Markup("".join(rows)), signs, statuses)


def _name(unit: FleetEngine, places: PagePlaces) -> str:
    """Return what an engine is called, as a link where it has a page."""
    page = places.pages.get(unit.engine)
    name = escaped(unit.engine) if page is None else f'<a href="{page}">{escaped(unit.engine)}</a>'
    return name if unit.title == unit.engine else f"{name} <small>{escaped(unit.title)}</small>"


def _cell(finding: Finding, places: PagePlaces, open_skips: Iterable[tuple[str, str, str]]) -> str:
    """Return one cell: how much is used, with the sign of its status; a status that asks for something in words besides."""
    is_skipped = (finding.engine, finding.ruleset, finding.task) in open_skips
    word = "" if finding.standing == "in_interval" else f"<small>{STANDING_WORDS[finding.standing]}</small>"
    skipped = f" {_SKIPPED_SIGN}<small>skipped</small>" if is_skipped else ""
    look = f"{finding.standing}{f' {_SKIPPED}' if is_skipped else ''}"
    quoted = f'"{look}"' if is_skipped else look
    share = printable(share_used(finding)).replace("\N{NO-BREAK SPACE}", "")
    return f'<td class={quoted}><a href="{places.link(finding)}">{_SIGNS[finding.standing]} {share}{word}{skipped}</a></td>'
