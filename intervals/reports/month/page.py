"""The monthly page: one HTML file that needs nothing else, to read, to print and to keep.

In: a `MonthReport`. Out: HTML as text. Every text is escaped by the template engine; charts come from `charts`; nothing is worked out
here but how a figure is written and where a link leads.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date
from functools import cache
from importlib.resources import files

from jinja2 import Environment, pass_context
from markupsafe import Markup

from intervals.faults import FAULT_KINDS
from intervals.findings import Amount, Finding, Leg
from intervals.questions.month.month_models import EngineMonth, IntervalMonth, LoadBand, MonthReport, Saw, TaskInterval
from intervals.questions.month.month_wording import STANDING_WORDS, day_name, month_name
from intervals.questions.plan.coming_stops import Coming
from intervals.reports.month.charts import MARK_WORDS, compliance_chart, interval_chart, load_chart, sawtooth_chart
from intervals.reports.month.page_places import PagePlaces
from intervals.reports.sections import met_words
from intervals.reports.template_engine import style_sheet, template_engine
from intervals.reports.unknown_words import ListedFault, one_per_word
from intervals.rulebook.standing_rules import TaskRule
from intervals.shown_numbers import amount, count_of, exact, figure, figure_of, percentage

FAULTS_SHOWN = 25
_SCRIPTS = ("month.js", "onward.js")
_MILDER = {TaskRule.DEFERRAL_HOLDS: "deferred", TaskRule.DEFERRAL_NOT_KNOWN: "deferred", TaskRule.BEFORE_NEXT_START: "laid up"}
CHANGE_WORDS = {
    "fell-overdue": "Became overdue",
    "overdue-again": "Overdue again, though done since",
    "still-overdue": "Still overdue",
    "put-off": "Deferred, not done",
    "waits": "Laid up, not done",
    "put-right": "Done again",
    "became-unknown": "Now unknown",
    "became-known": "Known again",
    "came-near": "Coming up",
    "began": "New here",
    "ended": "No longer here",
}
SKIPPED_WORDS = {
    "missed": "missed",
    "left_out": "left out at a visit",
    "not_credited": "done in part, does not count",
    "too_early": "done too early",
    "run_fell_short": "a run that fell short",
}


def month_page(report: MonthReport, *, made_at: str, version: str, coming: Coming | None = None) -> str:
    """Return the page of a month.

    Args:
        report: what to show.
        made_at: when it is made, as it is to be printed.
        version: of the program.
        coming: stops and orders of the next weeks; None where the site has no plan.

    Returns:
        HTML that loads nothing: styles, script and pictures stand inside.
    """
    places = PagePlaces(report.findings.name_of)
    return drawn_page("month.html", report, places, made_at=made_at, version=version, coming=coming)


def drawn_page(template: str, report: MonthReport, places: PagePlaces, scripts: Sequence[str] = _SCRIPTS, **more: object) -> str:
    """Return a page with a month's report, or a part of one, in it.

    Args:
        template: the name of the page's template.
        report: what to show.
        places: where things stand.
        scripts: the scripts that stand inside.
        more: what this page shows besides.
    """
    name_of, findings = report.findings.name_of, report.findings
    kinds = _by_kind(one_per_word(findings.faults))
    shown = {
        "report": report,
        "findings": findings,
        "totals": findings.totals,
        "before": report.before,
        "compliance": findings.compliance,
        "in_tolerance": sum(finding.within_tolerance for finding in findings.findings),
        "places": places,
        "style": _style(),
        "script": _script(*scripts),
        "explanations": {(each.finding.engine, name_of(each.finding)): each for each in report.explanations},
        "skipped_open": {(each.engine, name_of(each)) for each in report.skipped if each.open},
        "titles": {name_of(each): f"{each.title} ({each.ruleset})" if findings.has_several else each.title for each in findings.findings},
        "weights": dict(report.weights),
        "by_engine": _by_engine(findings.findings),
        "engine_titles": {engine.engine: engine.title for engine in report.engines},
        "fault_kinds": kinds,
        "fault_counts": {kind: sum(listed.rows for listed in entries) for kind, entries in kinds.items()},
        "occurrences": () if findings.compliance is None else findings.compliance.occurrences,
        "met_title": "Decided or pending",
        "most_rows": None,
        "compliance_svg": _compliance_svg(report),
    }
    return _environment().get_template(template).render(shown | more)


@cache
def _style() -> Markup:
    """Return the style of every page, read once."""
    return style_sheet()


@cache
def _script(*names: str) -> Markup:
    """Return some scripts as one, read once."""
    folder = files("intervals.reports") / "templates"
    return Markup("".join((folder / name).read_text("utf-8") for name in names))


@cache
def _environment() -> Environment:
    """Return the template engine with what the month's pages write figures by; templates are compiled once for all pages."""
    environment = template_engine()
    environment.keep_trailing_newline = True
    environment.auto_reload = False
    environment.filters |= {
        "figure": figure,
        "met": met_words,
        "exact": exact,
        "percentage": percentage,
        "amount": _amount,
        "month": month_name,
        "day": _day,
        "used": _used,
        "consumed": _consumed,
        "minute": _minute,
        "standing": _standing,
        "file": _file_name,
        "count": count_of,
        "share": share_used,
        "filled": _filled,
        "anchor": pass_context(lambda context, *ids: context["places"].anchor(*ids)),
        "anchor_of": pass_context(lambda context, entry: context["places"].anchor_of(entry)),
        "link": pass_context(lambda context, entry: context["places"].link(entry)),
        "name": pass_context(lambda context, entry: context["places"].name_of(entry)),
        "spaced": lambda text: text.replace("_", " "),
    }
    environment.globals |= {
        "faults_shown": FAULTS_SHOWN,
        "load_svg": _load_svg,
        "saw_svg": _saw_svg,
        "interval_svg": _interval_svg,
        "words": {
            "standing": STANDING_WORDS,
            "change": CHANGE_WORDS,
            "skipped": SKIPPED_WORDS,
            "mark": MARK_WORDS,
            "fault": FAULT_KINDS,
        },
    }
    return environment


def _amount(value: Amount | None) -> str:
    """Return a figure with its unit, or a dash."""
    return "–" if value is None else amount(value.value, value.unit)  # noqa: RUF001 - a dash for nothing


def _day(value: str | date | None) -> str:
    """Return the day of a time as it is spoken, or a dash."""
    if value is None:
        return "–"  # noqa: RUF001 - a dash for nothing
    return day_name(date.fromisoformat(value[:10]) if isinstance(value, str) else value)


def _minute(value: str | None) -> str:
    """Return a time of the site's clock to the minute, or a dash."""
    return "–" if value is None else value[:16].replace("T", " ")  # noqa: RUF001 - a dash for nothing


def _standing(finding: Finding) -> str:
    """Return how a finding stands in words, with what makes it milder."""
    rule = finding.reasons[0].rule if finding.reasons else ""
    milder = "in tolerance" if finding.within_tolerance else _MILDER.get(rule)
    return STANDING_WORDS[finding.standing] + (f", {milder}" if milder else "")


def _used(leg: Leg) -> tuple[str, str]:
    """Return used and allowed of a leg with their unit, so written that they compare as they are."""
    used, allowed = figure_of(leg.used, leg.allowed)
    if leg.allowed == 0:
        return f"{used} {leg.unit}" if leg.used else "none", "none"
    return f"{used} {leg.unit}", f"{allowed} {leg.unit}"


def _consumed(leg: Leg) -> str:
    """Return how much of its interval a leg has consumed; of nothing there is no share."""
    return "-" if leg.allowed == 0 else percentage(leg.consumed)


def share_used(finding: Finding) -> str:
    """Return how much of its interval a finding has consumed, or a question mark."""
    leg = finding.governing_leg
    if leg is not None and leg.allowed == 0 and leg.used is not None:
        return f"{amount(leg.used, leg.unit)} used" if leg.used else "none used"
    return "?" if leg is None or leg.consumed is None else percentage(leg.consumed).replace(" %", " %")


def _filled(finding: Finding) -> int:
    """Return how far the bar of a cell is filled, per cent."""
    leg = finding.governing_leg
    if leg is not None and leg.allowed == 0:
        return 100 if leg.used else 0
    return 0 if leg is None or leg.consumed is None else int(min(100.0, max(0.0, 100.0 * leg.consumed)))


def _file_name(place: str) -> str:
    """Return the last part of a path: the page does not show where things lie on the machine that made it."""
    return re.split(r"[/\\]", place)[-1]


def _by_engine(findings: Iterable[Finding]) -> dict[str, list[Finding]]:
    """Return findings by engine, in the order given."""
    engines: dict[str, list[Finding]] = {}
    for finding in findings:
        engines.setdefault(finding.engine, []).append(finding)
    return engines


def _by_kind(faults: Iterable[ListedFault]) -> dict[str, list[ListedFault]]:
    """Return faults by kind, in the order of each kind's first."""
    kinds: dict[str, list[ListedFault]] = {}
    for listed in faults:
        kinds.setdefault(listed.fault.kind, []).append(listed)
    return kinds


def _load_svg(engine: EngineMonth) -> Markup:
    """Return the load spectrum of an engine."""
    listed = "; ".join(f"{_band_name(band)} {figure(band.hours_h)} h" for band in engine.bands if band.hours_h > 0)
    title = f"Running hours of {engine.engine} by load, per cent of rated (to and with): {listed or 'none'}"
    return Markup(load_chart(engine.bands, title))


def _band_name(band: LoadBand) -> str:
    """Return a band of load as a sentence names it."""
    return f"above {band.from_pct:g} %" if band.to_pct is None else f"{band.from_pct:g}-{band.to_pct:g} %"


def _saw_svg(engine: EngineMonth) -> Markup:
    """Return the sawteeth of an engine's tasks."""
    title = f"Use since each service of {engine.engine}, twelve months: {'; '.join(_saw_text(saw) for saw in engine.saws)}"
    return Markup(sawtooth_chart(engine.saws, title))


def _saw_text(saw: Saw) -> str:
    """Return what a sawtooth shows in a few words."""
    counts = [f"{sum(mark.kind == kind for mark in saw.marks)} {word}" for kind, word in MARK_WORDS.items()]
    listed = [each for each in counts if not each.startswith("0 ")]
    return f"{saw.title}: {', '.join(listed) or 'no service'}"


def _interval_svg(engine: EngineMonth) -> Markup:
    """Return how long an engine's intervals lasted at each month's duty."""
    title = f"Effective interval of {engine.engine} over time, in running hours: {'. '.join(_lasting(each) for each in engine.intervals)}"
    return Markup(interval_chart(engine.intervals, title))


def _lasting(interval: TaskInterval) -> str:
    """Return the figures of one task: what the rule set says, what each month made of it."""
    bases = list(dict.fromkeys(point.base_h for point in interval.months if point.base_h is not None))
    stated = " then ".join(figure(base) for base in bases)
    return f"{interval.title}, rule set {stated} h: {'; '.join(_lasted(point) for point in interval.months)}"


def _lasted(point: IntervalMonth) -> str:
    """Return one month's figure in a few words."""
    lasts = "unknown" if point.effective_h is None else amount(point.effective_h, "h", line=point.base_h)
    return f"{point.month} {lasts}{', not fully judged' if point.not_judged and point.effective_h is not None else ''}"


def _compliance_svg(report: MonthReport) -> Markup:
    """Return the twelve months of compliance."""
    listed = "; ".join(_month_text(month.month, month.fell_due, month.on_time) for month in report.history)
    return Markup(compliance_chart(report.history, "compliance", f"Jobs decided by month: {listed}"))


def _month_text(month: str, fell_due: int, on_time: int) -> str:
    """Return one month's counts in a few words."""
    return f"{month} {fell_due} counted, {on_time} on time"
