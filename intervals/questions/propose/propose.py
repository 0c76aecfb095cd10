"""The interval that each engine's duty supports by the rule set's own adjustments, proposed in plain running hours.

In: a site and a moment. Out: `Proposals`, from the last twelve months. What is proposed is a rule's decision: never longer than the
rule set's interval unless the oil's condition is watched in place of time. Refuses what a check refuses, and engines of several rule
sets at once (CLI132).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from intervals.history.engine_case import EngineCase
from intervals.history.engine_cases import build_cases, fitting_tasks
from intervals.history.inputs import Inputs, read_inputs
from intervals.history.unknown_names import engine_problems, is_asked
from intervals.judge.wording import hourly_text, starts_text, window_rule_text
from intervals.language.conditions import AllOf, Comparison, Condition
from intervals.language.legs import RUNNING_HOURS
from intervals.language.measures import measures_in
from intervals.problems import Problem, nearest_of
from intervals.questions.duty.duty import A_YEAR, span_of_a_year
from intervals.questions.duty.duty_models import TaskDuty
from intervals.questions.duty.duty_span import DutySpan
from intervals.questions.duty.duty_tasks import DutyWeights, task_duty, weights_of
from intervals.questions.propose.propose_models import KeptRule, Proposal, ProposalKind, Proposals
from intervals.rulebook.inference import FactValue, RuleBase
from intervals.rulebook.rulebook import STARTS
from intervals.rules.based_on import load_whole
from intervals.rules.effects.rule_effect import HourEffect, StartEffect
from intervals.rules.overlay import id_of
from intervals.rules.ruleset import find_ruleset
from intervals.rules.shipped import is_ruleset_path
from intervals.rules.tasks import Adjustment, Task
from intervals.shown_numbers import amount, exact, figure
from intervals.site.model import Site
from intervals.windows.leg_states import FiredRule

COARSE_FROM_H = 100.0
COARSE_H = 10.0

# What is proposed, in order of priority: the first rule that holds fires. `over_base_h` is what is supported less the interval.
PROPOSAL_RULES: dict[str, Condition] = {
    "unknown": Comparison("is_reckoned", "in", (False,)),
    "too-little-known": Comparison("unknown_share_pct", ">", 50.0),
    "not-weighed": Comparison("is_weighed", "in", (False,)),
    "shorter": Comparison("over_base_h", "<", 0.0),
    "same": Comparison("over_base_h", "<=", 0.0),
    "longer": AllOf((Comparison("over_base_h", ">", 0.0), Comparison("oil_is_watched", "in", (True,)))),
    "held": Comparison("over_base_h", ">", 0.0),
}
KIND_OF_RULE: dict[str, ProposalKind] = {
    "unknown": "unknown",
    "too-little-known": "unknown",
    "not-weighed": "same",
    "shorter": "shorter",
    "same": "same",
    "longer": "longer",
    "held": "held",
}
WRITTEN: frozenset[ProposalKind] = frozenset({"shorter", "longer"})


def propose_intervals(  # noqa: PLR0913 - every argument is one thing a user can ask for
    site: Site,
    as_of: date | datetime,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    engines: Collection[str] = (),
    tasks: Collection[str] = (),
) -> Proposals:
    """Return the intervals that the duty of the last twelve months supports.

    Args:
        site: the site.
        as_of: the moment up to which is reckoned.
        now_us: the clock, UTC microseconds. None: no clock.
        ruleset: which of the rule sets that the site names is proposed for; None: the only one.
        engines: ids; none means all.
        tasks: ids; none means all.

    Raises:
        ProblemsError: what cannot be read; engines or tasks that do not exist here; several rule sets, or not the one named (CLI132).
    """
    named = [name for engine in site.engines if not engines or engine.id in engines for name in site.rulesets_of(engine)]
    names = list(dict.fromkeys(named))
    asked = [*engine_problems(site, engines, with_components=False), *_which(names, ruleset)]
    inputs = read_inputs(site, as_of, now_us=now_us, asked=asked, tasks=tasks)
    name = ruleset or names[0]
    rules = RuleBase("proposal", PROPOSAL_RULES, only_first=True)
    found: list[Proposal] = []
    for index, engine in enumerate(site.engines):
        if name not in site.rulesets_of(engine) or (engines and engine.id not in engines):
            continue
        for case in build_cases(inputs, index, None):
            if case.ruleset == inputs.books[name].ruleset.ruleset:
                found += _proposals_of(inputs, case, rules, tasks)
    used = inputs.books[name].ruleset
    raw = load_whole(find_ruleset(name, site.folder)).data
    judged = [engine.id for engine in site.engines if name in site.rulesets_of(engine)]
    return Proposals(
        site=site.site,
        site_title=site.title,
        ruleset=used.ruleset,
        ruleset_title=used.title,
        version=str(used.version),
        based_on=None if is_ruleset_path(name) else name,
        file=used.file,
        since=(inputs.moment.last_day - A_YEAR + timedelta(days=1)).isoformat(),
        until=inputs.moment.last_day.isoformat(),
        proposals=tuple(found),
        kept=tuple(_kept(found, raw, [task.id for task in used.tasks], judged)),
    )


def _which(names: Sequence[str], ruleset: str | None) -> Iterator[Problem]:
    """Yield the problem of engines that do not go by one and the same rule set, or not by the one that is named."""
    if ruleset is None and len(names) > 1:
        text = f"the engines use several rule sets, {', '.join(names)}, and a proposal is for one"
        yield Problem("CLI132", "--engine", None, None, text, "name one of them with --ruleset, or the engines of one with --engine")
    elif ruleset is not None and ruleset not in names:
        text = f'no engine asked for uses the rule set "{ruleset}"{nearest_of(ruleset, names)}'
        yield Problem("CLI132", "--ruleset", None, None, text, f"rule sets here: {', '.join(names)}")


def _proposals_of(inputs: Inputs, case: EngineCase, rules: RuleBase, tasks: Collection[str]) -> Iterator[Proposal]:
    """Yield the proposals for one engine, a task that counts running hours each."""
    span = span_of_a_year(inputs, case)
    for task in fitting_tasks(case)[0]:
        every = task.every_in_force(case.last_day)
        if every is None or task.table or task.is_once or RUNNING_HOURS not in every.legs or not is_asked(tasks, case.ruleset, task.id):
            continue
        proposal = _proposal(span, task, rules)
        if proposal is not None:
            yield proposal


def _unknown_share_pct(span: DutySpan, unknown_h: float) -> float:
    """Return the share of the hours covered by the log on which a rule could not be judged."""
    covered_h = span.running_h - span.before_log_h
    return 100.0 * max(0.0, unknown_h - span.before_log_h) / covered_h if covered_h > 0 else 0.0


def _proposal(span: DutySpan, task: Task, rules: RuleBase) -> Proposal | None:
    """Return the proposal for one task."""
    found = weights_of(span, task)
    # what a site says of its own engine stays beside a rule set, and would count twice in a proposal
    own = {rule.id for rule in span.case.book.ruleset.adjustments}
    weights = replace(found, fired_rules=tuple(fired for fired in found.fired_rules if fired.rule.id in own))
    duty = task_duty(span, task, weights)
    if duty is None or duty.base_h is None:
        return None
    written = None if duty.effective_h is None else _rounded_down(duty.effective_h, duty.base_h)
    factors = tuple(fired.rule.id for fired in weights.fired_rules if fired.rule.window_effect.changes(RUNNING_HOURS))
    weighed = (*(rule.id for rule in weights.hourly), *factors)
    facts: dict[str, FactValue] = {
        "is_reckoned": written is not None,
        "is_weighed": bool(weighed),
        "unknown_share_pct": _unknown_share_pct(span, duty.unknown_hours_h),
        "over_base_h": None if written is None else written - duty.base_h,
        "oil_is_watched": task.in_place_of_time is not None,
    }
    kind = KIND_OF_RULE[rules.fire_one(facts)]
    is_written = kind in WRITTEN
    return Proposal(
        engine=span.case.engine.id,
        task=task.id,
        title=task.title,
        kind=kind,
        base_h=duty.base_h,
        supported_h=duty.effective_h,
        proposed_h=written if is_written else None,
        sum="some of its hours have no known interval"
        if weights.is_outside
        else _sum_text(duty.becomes_h or duty.base_h, duty.window_factor, duty.equivalent_ratio, duty.effective_h),
        evidence=tuple(_evidence(span, task, weights, duty)),
        folded=weighed if is_written else (),
        starts_are_in=any(_is_of_starts(rule) for rule in (*weights.hourly, *(fired.rule for fired in weights.fired_rules))),
        severe_duty=_severe_words(span.case, task),
    )


def _is_of_starts(rule: Adjustment) -> bool:
    """Return whether a rule weighs how often an engine started."""
    return isinstance(rule.effect, StartEffect) or any(STARTS in measure.counts for measure in measures_in(rule.when))


def _severe_words(case: EngineCase, task: Task) -> str | None:
    """Return the site's own factor for a task of an engine, in words; None where it states none."""
    severe = case.engine.severe_duty
    if severe is None or (severe.tasks != "all" and task.id not in severe.tasks):
        return None
    return f"severe_duty of {case.engine.id} in site.yaml, x {exact(severe.interval_times)}, is not included and applies in addition"


def _rounded_down(supported_h: float, base_h: float) -> float:
    """Return an interval as one writes it: whole tens of hours, below 100 h whole hours, never rounded up; the base as it is."""
    if abs(supported_h - base_h) < 1e-6:  # noqa: PLR2004 - figures are to a millionth
        return base_h
    step = COARSE_H if supported_h >= COARSE_FROM_H else 1.0
    return max(step, (supported_h + 1e-6) // step * step) if supported_h >= 1.0 else supported_h


def _sum_text(from_h: float, factor: float, ratio: float | None, effective_h: float | None) -> str:
    """Return the sum: `2,000 h x 0.8 / 1.237 = 1,293.45 h`."""
    if ratio is None or effective_h is None:
        return "the engine did not run"
    times = "" if factor == 1.0 else f" x {exact(factor)}"
    return f"{exact(from_h)} h{times} / {exact(ratio)} = {exact(effective_h)} h"


def _evidence(span: DutySpan, task: Task, weights: DutyWeights, duty: TaskDuty) -> Iterator[str]:
    """Yield what a proposal rests on, a sentence each."""
    case = span.case
    equivalent = span.running_h * (weights.ratio or 1.0)
    yield f"{amount(span.running_h, 'h')} on the clock, {figure(equivalent)} equivalent hours"
    cells = case.weights(task)
    hours = case.ledger.cell_running_h[span.end_edge] - case.ledger.cell_running_h[span.start_edge]
    for rule in weights.hourly:
        if isinstance(rule.effect, HourEffect):
            yield f"{rule.id}: {hourly_text(rule, _sum_where(hours.tolist(), cells.fired, rule))}"
        elif case.starts_by_cell is not None:
            starts = case.starts_by_cell[span.end_edge] - case.starts_by_cell[span.start_edge]
            yield f"{rule.id}: {starts_text(rule, _sum_where(starts.tolist(), cells.start_fired, rule))}"
    for fired in weights.fired_rules:
        yield f"{fired.rule.id}: {window_rule_text(fired.rule, _measured(fired))}"
    if duty.shortest_h is not None:
        yield f"in the heaviest stretch it would have lasted {amount(duty.shortest_h, 'h')}"
    if weights.not_judged:
        on = f" on {amount(duty.unknown_hours_h, 'h')}" if duty.unknown_hours_h else ""
        yield f"not judged{on}: {', '.join(rule.id for rule in weights.not_judged)}"


def _sum_where(values: Sequence[float], fired: Sequence[Sequence[str]], rule: Adjustment) -> float:
    """Return the sum over the duty cells on which a rule fired."""
    return sum(value for value, names in zip(values, fired, strict=True) if rule.id in names)


def _measured(fired: FiredRule) -> dict[str, object]:
    """Return the measures that a window rule fired on."""
    return {measure.name: fired.facts.get(measure.name) for measure in measures_in(fired.rule.when)}


def _kept(proposals: Sequence[Proposal], raw: Mapping[str, Any], tasks: Sequence[str], engines: Sequence[str]) -> Iterator[KeptRule]:
    """Yield every adjustment that some proposal stands in for, with what is left of it."""
    folded = {(name, entry.task, entry.engine) for entry in proposals for name in entry.folded}
    for entry in raw.get("adjustments") or ():
        word = id_of(entry)
        if word is None or not any(name == word for name, _, _ in folded):
            continue
        listed = tasks if entry.get("tasks") == "all" else [str(each) for each in _as_list(entry.get("tasks"))]
        left = {task: tuple(each for each in engines if (word, task, each) not in folded) for task in listed}
        groups = dict.fromkeys(group for group in left.values() if group and len(group) < len(engines))
        yield KeptRule(
            adjustment=word,
            tasks=tuple(task for task, group in left.items() if len(group) == len(engines)),
            only_on=tuple((group, tuple(task for task in listed if left[task] == group)) for group in groups),
            raw=dict(entry),
        )


def _as_list(value: object) -> list[object]:
    """Return one or many as many."""
    return list(value) if isinstance(value, list | tuple) else [value]
