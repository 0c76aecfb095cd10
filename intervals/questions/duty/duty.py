"""The duty of a site's engines: how hard each ran, and what that makes of its tasks' intervals.

In: a site and a span of days. Out: a `Duty`. It puts together what `duty_load`, `duty_fuel` and `duty_tasks` reckon. Refuses what
`read_inputs` refuses, an engine that does not exist, and a span that ends before it begins.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime, timedelta

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, faults_of, fitting_tasks
from intervals.history.inputs import Inputs, Progress, fault_line, read_inputs
from intervals.history.unknown_names import engine_problems
from intervals.judge.judged_so_far import ruleset_used
from intervals.language.legs import rounded
from intervals.language.measures import MONTH
from intervals.problems import Problem
from intervals.questions.duty.duty_fuel import H2S, METHANE, SULPHUR, fuel_duty, level_duty, oil_duty
from intervals.questions.duty.duty_load import heaviest_24h, load_duty, longest_light_load, rating_check
from intervals.questions.duty.duty_models import Duty, EngineDuty, LevelDuty
from intervals.questions.duty.duty_rules import DutyRules
from intervals.questions.duty.duty_span import DutySpan
from intervals.questions.duty.duty_tasks import task_duty
from intervals.rulebook.duty_cells import CellPlan
from intervals.site.model import Site

A_YEAR = timedelta(days=365)
LOADS = ("load_pct", "load_kw")
TEMPERATURES = ("oil_temp_c", "ambient_c")
DUTY_PLAN = CellPlan(means=frozenset({*LOADS, SULPHUR, H2S, METHANE, *TEMPERATURES}))
"""What the steps must hold beyond what the rules ask for."""


def measure_duty(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    until: date | datetime,
    *,
    since: date | None = None,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    progress: Progress | None = None,
) -> Duty:
    """Return the duty of a site's engines over a span of days.

    Args:
        site: the site.
        until: the last day (its end: the next local midnight is meant), or a time.
        since: the first day; None means a year before `until`.
        now_us: the clock, UTC microseconds; later rows are faults. None: no clock.
        ruleset: name or path of a rule set to reckon by instead of the site's.
        engines: ids; none means all.
        progress: called with a few words and the share done.

    Returns:
        The duty, engine by engine as the site lists them; engines that were not yet in service are left out.

    Raises:
        ProblemsError: what cannot be read; an engine that does not exist here (CLI010), a span that is none (CLI130).
    """
    problems = engine_problems(site, engines, with_components=False)
    inputs_day = until.date() if isinstance(until, datetime) else until
    if since is not None and since > inputs_day:
        text = f"the span ends before it begins: since {since.isoformat()} until {inputs_day.isoformat()}"
        problems.append(Problem("CLI130", "--since", None, None, text))
    inputs = read_inputs(site, until, now_us=now_us, ruleset=ruleset, asked=problems, progress=progress)
    first_day = since or inputs.moment.last_day - A_YEAR + timedelta(days=1)
    rules = DutyRules()
    found, faults = [], [*inputs.faults]
    for index, engine in enumerate(site.engines):
        if engines and engine.id not in engines:
            continue
        if progress:
            progress(f"calculating {engine.id}", 0.4 + 0.6 * index / len(site.engines))
        cases = build_cases(inputs, index, ruleset, extra_plan=DUTY_PLAN)
        if not cases:
            continue
        found.append(engine_duty(cases, site.instant_us(first_day), rules))
        faults += faults_of(cases)
    return Duty(
        site=site.site,
        since=inputs.days.iso(site.instant_us(first_day)),
        until=inputs.days.iso(inputs.moment.at_us),
        rulesets=tuple(ruleset_used(book.ruleset) for book in inputs.books.values()),
        engines=tuple(found),
        faults=tuple(fault_line(fault, inputs.days) for fault in faults if not engines or fault.engine is None or fault.engine in engines),
    )


def span_of_a_year(inputs: Inputs, case: EngineCase) -> DutySpan:
    """Return the last year before the moment of judging, or as much of it as is known."""
    return DutySpan.of(case, inputs.site.instant_us(inputs.moment.last_day - A_YEAR + timedelta(days=1)))


def engine_duty(cases: Sequence[EngineCase], since_us: int, rules: DutyRules) -> EngineDuty:
    """Return the duty of one engine, whose cases were built with `DUTY_PLAN`.

    Args:
        cases: the engine's case, one for each of its rule sets.
        since_us: the first instant, a local midnight.
        rules: the rules about duty.
    """
    case = cases[0]
    spans = [DutySpan.of(each, since_us) for each in cases]
    span = spans[0]
    counted = span.increase("starts")
    starts = None if counted is None else rounded(float(counted.sum()))
    heaviest = heaviest_24h(span)
    a_year = span.a_year(span.running_h)
    covered = span.covered_us or (span.start_us, span.end_us)
    rated = case.engine.rated_kw
    return EngineDuty(
        engine=case.engine.id,
        title=case.engine.shown_title,
        duty=case.engine.duty,
        rated_kw=None if rated is None else float(rated),
        from_at=case.days.iso(covered[0]),
        to_at=case.days.iso(covered[1]),
        running_hours_h=rounded(span.running_h),
        unknown_time_h=rounded(span.unknown_time_h),
        running_hours_per_year=None if a_year is None else rounded(a_year),
        starts=starts,
        hours_per_start=rounded(span.running_h_counted_by("starts") / starts) if starts else None,
        load=load_duty(span, rules),
        longest_light_load=longest_light_load(span, rules),
        heaviest_24h=heaviest,
        rating=rating_check(span, rules, heaviest),
        fuel=fuel_duty(span),
        levels=_levels(spans),
        oil=oil_duty(span),
        tasks=tuple(duty for each in spans for task in fitting_tasks(each.case)[0] if (duty := task_duty(each, task)) is not None),
    )


def _levels(spans: Sequence[DutySpan]) -> tuple[LevelDuty, ...]:
    """Return the temperatures, and every level that the rules ask for beside load and sulphur."""
    asked = sorted(frozenset[str]().union(*(span.case.book.plan.levels for span in spans)))
    names = (*TEMPERATURES, *(name for name in asked if name not in (*LOADS, SULPHUR, H2S, *TEMPERATURES, MONTH)))
    # the steps hold what any of the rule sets asks for
    return tuple(level for name in names if (level := level_duty(spans[0], name)) is not None)
