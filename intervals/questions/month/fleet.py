"""The month's report of a fleet: the overview of all engines, and each engine's own part drawn as soon as it is made.

In: a site and a month, and what draws an engine. Out: a `FleetReport`. Processes share the engines; of each no more is kept than the
overview shows: its windows, its log and the arithmetic of its findings are gone once its page is drawn. Refuses what `report_month` does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import NamedTuple

from intervals.findings import Findings, Totals
from intervals.history.inputs import Progress
from intervals.judge.budget_site import SiteShare, site_findings, whole_shares
from intervals.judge.compliance import month_compliance
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.processes import map_in_processes, processes_for
from intervals.questions.check.assess import put_together
from intervals.questions.month.engine_part import EnginePart, MonthAsked, part_of
from intervals.questions.month.month_history import figure_of_month
from intervals.questions.month.month_models import Change, FleetEngine, MonthBefore, MonthReport
from intervals.questions.month.month_rules import MonthRules
from intervals.questions.month.month_wording import changes_between
from intervals.questions.month.monthly import Past, figures_of, findings_of, read_month, report_of
from intervals.readings import Readings
from intervals.site.model import Site

MOST_ON_ONE_PAGE = 12
"""So many engines and components, up to a dozen, stand on one page; of more each has a page of its own beside an overview."""
SAWS_ON_A_PAGE = 6
"""How many sawteeth are drawn on an engine's own page."""


class EngineReport(NamedTuple):
    """One engine as its own page shows it.

    Attributes:
        unit: what it is called.
        report: the month's report of this engine alone.
    """

    unit: FleetEngine
    report: MonthReport


class FleetReport(NamedTuple):
    """What the overview of a fleet shows.

    Attributes:
        report: the month's report of the whole site, without the months of single engines and without arithmetic.
        units: what was judged, in the site's order.
    """

    report: MonthReport
    units: tuple[FleetEngine, ...]


@dataclass
class _FleetPart:
    """What an engine leaves for the overview: its part, what became of its tasks, and what the month before came to."""

    unit: FleetEngine
    part: EnginePart
    changes: tuple[Change, ...]
    before: Counter[str]


def is_fleet(site: Site, engines: Collection[str] = ()) -> bool:
    """Tell whether the engines that are asked for are too many for one page.

    Args:
        site: the site.
        engines: ids that are asked for; none means all.
    """
    return len(engines or site.judged_units) > MOST_ON_ONE_PAGE


def report_fleet(  # noqa: PLR0913 - as for `report_month`
    site: Site,
    as_of: date | datetime,
    month: str,
    draw: Callable[[EngineReport], None],
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
    jobs: int | None = None,
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> FleetReport:
    """Return the report of a fleet's month.

    Args:
        site: the site.
        as_of: as for `report_month`.
        month: as for `report_month`.
        draw: is handed each engine once it is judged, in whichever process that is.
        now_us: as for `report_month`.
        ruleset: as for `report_month`.
        engines: as for `report_month`.
        tasks: as for `report_month`.
        jobs: how many processes share the engines; None: as many as processors. The report is the same.
        ahead: as for `report_month`; of rows that lie with the workers of a cluster one process asks them (`jobs` 1).
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, at once.
        Exception: what `draw` raises.
    """
    read = read_month(site, as_of, month, now_us=now_us, ruleset=ruleset, engines=engines, tasks=tasks, ahead=ahead, progress=progress)
    asked = replace(read, most_saws=SAWS_ON_A_PAGE)
    units = asked.units
    processes = processes_for(len(units), jobs)

    def drawn(numbered: tuple[int, int]) -> _FleetPart:
        number, index = numbered
        if progress and number < len(units) // processes:
            progress("judging and drawing engines", number * processes / len(units))
        return _drawn_part(asked, index, draw)

    parts = map_in_processes(drawn, list(enumerate(units)), processes)
    return _fleet_report(asked, parts)


def _drawn_part(asked: MonthAsked, index: int, draw: Callable[[EngineReport], None]) -> _FleetPart:
    """Draw one engine, and return what it leaves for the overview."""
    part = part_of(asked, index)
    unit_id = asked.inputs.site.judged_units[index].id
    own = _own_findings(asked, part, unit_id)
    before = put_together(asked.earlier, replace(part.before, faults=[]), (unit_id,), asked.month_before, asked.asked.ruleset)
    changes = tuple(changes_between(MonthRules.shared(), before, own))
    unit = FleetEngine(
        engine=unit_id,
        title=asked.inputs.site.judged_units[index].shown_title,
        hours_h=None if part.month is None else part.month.hours_h,
    )
    if own.findings or own.skipped:
        draw(EngineReport(unit, report_of(asked, [part], own, _own_past(asked, part, before, changes), is_whole=False)))
    left = replace(part, month=None, explanations=(), before=JudgedSoFar([], shares=part.before.shares))
    return _FleetPart(unit, left, changes, Counter(before.totals.model_dump()))


def _own_past(asked: MonthAsked, part: EnginePart, before: Findings, changes: tuple[Change, ...]) -> Past:
    """Return what led to the month of one engine; budgets over the whole site are not its own."""
    history = tuple(figure_of_month(month, part.counts.get(month.text, {}), part.since_us) for month in asked.months)
    was_judged = bool(before.findings or before.skipped)
    return Past(history, MonthBefore(totals=before.totals, figure=history[-2].figure) if was_judged else None, changes)


def _own_findings(asked: MonthAsked, part: EnginePart, unit: str) -> Findings:
    """Return the findings of one engine, with its own faults and its month's compliance."""
    faults = [*asked.faults.get(unit, ()), *part.found.faults]
    own = replace(part.found, faults=faults)
    found = put_together(asked.inputs, own, (unit,), None, asked.asked.ruleset)
    met = month_compliance(asked.months[-1], part.found.occurrences)
    used = {ruleset for ruleset, _ in part.tasks} | {finding.ruleset for finding in found.findings}
    rulesets = tuple(each for each in found.rulesets if each.ruleset in used)
    return found.model_copy(update={"compliance": met, "rulesets": rulesets})


def _fleet_report(asked: MonthAsked, parts: Sequence[_FleetPart]) -> FleetReport:
    """Return what all engines come to together."""
    findings = findings_of(asked, [each.part for each in parts])
    before_of_site = _site_before(asked, [share for each in parts for share in each.part.before.shares])
    of_site = findings.model_copy(
        update={"findings": tuple(entry for entry in findings.findings if entry.engine == asked.inputs.site.site)}
    )
    changes = [change for each in parts for change in each.changes]
    changes += changes_between(MonthRules.shared(), before_of_site, of_site) if of_site.findings else ()
    totals = sum((each.before for each in parts), Counter(before_of_site.totals.model_dump()))
    history = figures_of(asked, [each.part for each in parts])
    before = MonthBefore(totals=Totals(**{name: totals[name] for name in Totals.model_fields}), figure=history[-2].figure)
    past = Past(history, before if totals else None, tuple(changes))
    return FleetReport(report_of(asked, [each.part for each in parts], findings, past), tuple(each.unit for each in parts))


def _site_before(asked: MonthAsked, shares: Sequence[SiteShare]) -> Findings:
    """Return the findings of budgets over the whole site at the end of the month before."""
    earlier = asked.earlier
    whole = whole_shares(earlier, shares, asked.asked.engines, asked.asked.ruleset)
    so_far = JudgedSoFar([])
    so_far.findings += site_findings(earlier, whole, so_far.faults)
    return put_together(earlier, so_far, (), asked.month_before, asked.asked.ruleset)
