"""The tasks whose next planned stop lies beyond their line, beside what a check finds.

In: findings, the site with its `plan.yaml`. Out: the same findings with these tasks, each with its days and a sentence. The line is the one
that the plan itself keeps to: early date, deferral and tolerance applied. Refuses nothing: a plan that cannot be read is a fault, since
nothing that is judged rests on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from functools import lru_cache
from pathlib import Path

from intervals.findings import FaultLine, Finding, Findings, PlannedLate
from intervals.language.conditions import Comparison
from intervals.problems import ProblemsError, RequestProblemError
from intervals.questions.card.stops import PLAN_FILE, Stop, read_stops
from intervals.questions.plan.job_covers import covered_by
from intervals.questions.plan.job_limits import Limit, last_days_of_logs, limit_of, opens_on
from intervals.rulebook.inference import RuleBase
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.site.model import Site

UNREAD = f"{PLAN_FILE} cannot be read, so nothing is said of planned stops"
SetsOf = Mapping[str, Mapping[str, RuleSet]]
"""Engine id -> id of a rule set that judges it -> the rule set."""


def with_planned_late(findings: Findings, site: Site, today: date, *, ruleset: str | None = None) -> Findings:
    """Return findings with the tasks whose next planned stop lies beyond their line; as they are where the site has no plan.

    Args:
        findings: what was found; what is overdue already is not said again.
        site: the site.
        today: the day of judging.
        ruleset: the rule set that judged instead of the site's, or None.
    """
    if not (site.folder / PLAN_FILE).is_file():
        return findings
    try:
        stops = read_stops(site.folder)
    except RequestProblemError as error:
        problem = error.problems[0]
        fault = FaultLine(engine=None, kind="plan_unread", file=PLAN_FILE, line=problem.line, at=None, text=f"{UNREAD}: {problem.text}")
        return findings.model_copy(update={"faults": (*findings.faults, fault)})
    try:
        sets = _sets_of(site, ruleset)
    except ProblemsError:
        # they were read when the site was judged, and have been changed since
        return findings
    ahead = sorted((stop for stop in stops if stop.day >= today), key=lambda stop: stop.day)
    late = tuple(_late_in(findings, ahead, sets, site, today))
    return findings.model_copy(update={"planned_late": late}) if late else findings


def _sets_of(site: Site, ruleset: str | None) -> SetsOf:
    """Return the rule sets of each engine."""
    loaded: dict[str, RuleSet] = {}
    found: dict[str, dict[str, RuleSet]] = {}
    for unit in site.judged_units:
        for name in (ruleset,) if ruleset else site.rulesets_of(unit):
            if name not in loaded:
                loaded[name] = load_ruleset(find_ruleset(name, Path.cwd() if ruleset else site.folder))
            found.setdefault(unit.id, {})[loaded[name].ruleset] = loaded[name]
    return found


def _late_in(findings: Findings, stops: Sequence[Stop], sets: SetsOf, site: Site, today: date) -> Iterator[PlannedLate]:
    """Yield the tasks whose next planned stop lies beyond their line."""
    days, ended = _planned_days(findings, stops, sets, site), last_days_of_logs(findings)
    for finding in findings.findings:
        used = sets.get(finding.engine, {}).get(finding.ruleset)
        task = None if used is None else next((each for each in used.tasks if each.id == finding.task), None)
        if task is None or finding.standing == "overdue":
            continue
        opens = opens_on(finding, task) or date.min
        planned = next((day for day in days.get((finding.engine, findings.name_of(finding)), ()) if day >= opens), None)
        limit = limit_of(finding, task, today, ended.get(finding.engine, today))
        if planned is None or limit is None:
            continue
        late_d = (planned - limit.day).days
        if _rules().fire({"beyond_line_d": float(late_d)}).holds:
            yield PlannedLate(
                engine=finding.engine,
                ruleset=finding.ruleset,
                task=finding.task,
                planned_on=planned.isoformat(),
                limit=limit.day.isoformat(),
                late_d=late_d,
                text=_sentence(finding, findings.name_of(finding), planned, limit),
            )


def _planned_days(findings: Findings, stops: Sequence[Stop], sets: SetsOf, site: Site) -> dict[tuple[str, str], list[date]]:
    """Return the days on which each task is planned, by engine and name: its own, and those of tasks that do it too."""
    named: dict[str, dict[str, Finding]] = {}
    for finding in findings.findings:
        named.setdefault(finding.engine, {})[findings.name_of(finding)] = finding
    days: dict[tuple[str, str], list[date]] = {}
    for stop in stops:
        here = named.get(stop.engine, {})
        words = {f"{finding.ruleset}.{finding.task}": name for name, finding in here.items()}
        for task in stop.tasks:
            # a person may write the bare id of a task that findings name with its rule set
            own = [name for name, finding in here.items() if task in (name, finding.task)]
            for name in own:
                used = sets.get(stop.engine, {})
                finding = here[name]
                is_known = finding.ruleset in used and any(each.id == finding.task for each in used[finding.ruleset].tasks)
                others = covered_by(finding.ruleset, finding.task, words, used, site) if is_known else ()
                for each in (name, *others):
                    days.setdefault((stop.engine, each), []).append(stop.day)
    return days


def _sentence(finding: Finding, name: str, planned: date, limit: Limit) -> str:
    """Return what is to be said of one task."""
    rests_on = [
        *([f"the early date of its forecast, {limit.early}"] if limit.early is not None else []),
        *([f"{limit.grace_d:,} d of tolerance"] if limit.grace_d else []),
        *(["its deferral"] if limit.is_deferred else []),
    ]
    said = f" ({', '.join(rests_on)} applied)" if rests_on else ""
    late_d = (planned - limit.day).days
    return f"{finding.engine} {name}: its stop is planned on {planned}, {late_d:,} d beyond its line on {limit.day}{said}"


@lru_cache(maxsize=1)
def _rules() -> RuleBase:
    """Return the rule about planned days, compiled."""
    return RuleBase("planned", {"beyond-line": Comparison("beyond_line_d", ">", 0.0)})
