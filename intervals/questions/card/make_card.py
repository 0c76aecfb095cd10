"""Job cards of a site: for each engine one stop, why each task of it is due, what to bring, and every step in order.

In: a site, the moment of judging, what is asked for. Out: `Card` values, each with its code, and what keeps the cards of other engines from
being made. Refuses what a check refuses, tasks that are not for the engine (CLI015), budgets (CLI151), stops that no plan has
(CLI152), and procedures that cannot stand on one card (CLI150) where no other card can be made.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import NamedTuple

from intervals.findings import Finding, Findings, RuleSetUsed
from intervals.history.inputs import Inputs, Progress, read_inputs
from intervals.history.unknown_names import is_asked, why_not
from intervals.judge.engine_answers import JudgedEngine
from intervals.problems import Problem, ProblemsError, RequestProblemError
from intervals.questions.card.bring import bring_of
from intervals.questions.card.card_code import code_of
from intervals.questions.card.card_models import CARD_SCHEMA, Card, CardStop, CardTask
from intervals.questions.card.card_procedures import CardProcedure, TaskOfStop, card_procedures
from intervals.questions.card.card_remarks import card_remarks, remarks_of_the_rest
from intervals.questions.card.card_words import words_in
from intervals.questions.card.last_results import LastResults, read_last_results
from intervals.questions.card.remaining import Remaining
from intervals.questions.card.step_lines import step_lines, unstated_of
from intervals.questions.card.steps import steps_of_stop
from intervals.questions.card.stops import PLAN_FILE, Stop, read_stops
from intervals.questions.card.trends import due_again_on
from intervals.questions.check.assess import judge_inputs
from intervals.rules.ruleset import RuleSet
from intervals.site.engines import Engine
from intervals.site.model import Site
from intervals.version import __version__

_DUE = ("overdue", "upcoming")
_BUDGET, _NO_STOP = "CLI151", "CLI152"
_MOST_REASONS = 3
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class CardsAsked:
    """What cards are asked for.

    Attributes:
        engines: ids of engines and components; none means all.
        tasks: ids of tasks, bare or as `set.task`; none means what is overdue or upcoming.
        stop: the day of the plan's stops whose tasks are meant, or None.
        on: the day on which the work is to be done; None: the stop's day, else the day judged.
        language: the language of the card.
        completes: the code of an earlier card that is completed, or None.
        remains: returns what remains of that card: then the new one has these tasks and steps alone. None: all of what is asked for.
    """

    engines: tuple[str, ...] = ()
    tasks: tuple[str, ...] = ()
    stop: date | None = None
    on: date | None = None
    language: str = "en"
    completes: str | None = None
    remains: Callable[[Inputs], Remaining] | None = None


class MadeCards(NamedTuple):
    """The cards of one run.

    Attributes:
        cards: in the order of the site's engines, then its components; none where nothing is due.
        refused: what keeps the cards of other engines from being made; the file of each problem names the engine.
    """

    cards: tuple[Card, ...]
    refused: tuple[Problem, ...]


@dataclass
class _Stops:
    """What the cards of one run are made of."""

    inputs: Inputs
    findings: Findings
    asked: CardsAsked
    stops: Mapping[str, Stop]
    results: LastResults
    meters: dict[str, float | None] = field(default_factory=dict)
    remaining: Remaining | None = None

    def rulesets_of(self, engine: Engine) -> dict[str, RuleSet]:
        """Return the rule sets that judge an engine, by their ids."""
        sets = (self.inputs.books[name].ruleset for name in self.inputs.rulesets_of(engine, None))
        return {ruleset.ruleset: ruleset for ruleset in sets}

    def tasks_asked(self, engine: str) -> tuple[str, ...]:
        """Return the names of the tasks that are asked for at an engine; none where all that is due is meant."""
        if self.remaining is not None:
            return self.remaining.tasks
        return self.stops[engine].tasks if engine in self.stops else self.asked.tasks


def make_cards(
    site: Site,
    as_of: date | datetime,
    asked: CardsAsked,
    *,
    now_us: int | None = None,
    progress: Progress | None = None,
) -> MadeCards:
    """Return the cards of a site: one for each engine that has something to do. What stops one engine's card does not stop the others.

    Args:
        site: the site.
        as_of: the moment of judging, as for `assess_site`.
        asked: which engines and tasks, for which day, in which language.
        now_us: the clock, UTC microseconds, or None.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: everything that stops the judging, or keeps every card from being made, at once.
    """
    stops = _stops_of(site, asked)
    inputs = read_inputs(site, as_of, now_us=now_us, tasks=() if stops else asked.tasks, progress=progress)
    engines = tuple(stops) or asked.engines
    remaining = None if asked.remains is None else asked.remains(inputs)
    meters: dict[str, float | None] = {}

    def note_meter(judged: JudgedEngine) -> None:
        reading = judged.case.log.course.meter_at(judged.case.end_us)
        meters[judged.case.engine.id] = None if reading is None else round(reading, 1)

    findings = judge_inputs(inputs, engines=engines, watch=note_meter, progress=progress)
    making = _Stops(inputs, findings, asked, stops, read_last_results(site.folder), meters, remaining)
    return _cards(making, [unit for unit in site.judged_units if not engines or unit.id in engines])


def _stops_of(site: Site, asked: CardsAsked) -> dict[str, Stop]:
    """Return the plan's stops of the day asked for by engine; refuse where there are none, or one is of no engine of the site."""
    if asked.stop is None:
        return {}
    known = {unit.id for unit in site.judged_units}
    stops = [stop for stop in read_stops(site.folder) if not asked.engines or stop.engine in asked.engines]
    here = {stop.engine: stop for stop in stops if stop.day == asked.stop}
    if not here:
        days = ", ".join(sorted({stop.day.isoformat() for stop in stops})) or "none"
        text = f"{PLAN_FILE} has no stop on {asked.stop.isoformat()} for the engines asked for"
        raise RequestProblemError([Problem(_NO_STOP, "--stop", None, None, text, f"days of their stops: {days}")])
    strangers = [engine for engine in here if engine not in known]
    if strangers:
        text = f"{PLAN_FILE} has stops of what this site does not have: {', '.join(strangers)}"
        raise RequestProblemError([Problem(_NO_STOP, "--stop", None, None, text, f"engines: {', '.join(sorted(known))}")])
    return here


def _cards(making: _Stops, engines: Sequence[Engine]) -> MadeCards:
    """Return the cards that can be made, with the reasons of the other engines; refuse where all have such reasons."""
    by_engine: dict[str, list[Finding]] = {}
    for finding in making.findings.findings:
        by_engine.setdefault(finding.engine, []).append(finding)
    problems = [] if making.stops else _not_for_them(making, engines, by_engine)
    if problems:
        raise RequestProblemError(problems)
    cards: list[Card] = []
    refused: list[Problem] = []
    for engine in engines:
        chosen = _chosen(making, engine, by_engine.get(engine.id, []))
        # a stop is of one engine, and so is what is wrong with it
        wrong = _not_for_them(making, [engine], by_engine) if making.stops else []
        refused += wrong
        try:
            if chosen and not wrong:
                cards.append(_card(making, engine, chosen))
        except ProblemsError as error:
            refused += [replace(each, file=f"card of {engine.id}") for each in error.problems]
    if refused and not cards:
        raise RequestProblemError(refused)
    return MadeCards(tuple(cards), tuple(refused))


def _chosen(making: _Stops, engine: Engine, findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings of an engine that go on its card: of tasks, those asked for, else what is overdue or upcoming."""
    works = {(name, task.id) for name, ruleset in making.rulesets_of(engine).items() for task in ruleset.tasks}
    tasks = making.tasks_asked(engine.id)
    return [
        finding
        for finding in findings
        if (finding.ruleset, finding.task) in works
        and (is_asked(tasks, finding.ruleset, finding.task) if tasks else finding.standing in _DUE)
    ]


def _not_for_them(making: _Stops, engines: Sequence[Engine], found: Mapping[str, Sequence[Finding]]) -> list[Problem]:
    """Return the problems of tasks that are asked for of some engines and are for none of them, or are no work at all."""
    problems: list[Problem] = []
    for name in making.tasks_asked(engines[0].id) if engines else ():
        if not any(is_asked((name,), each.ruleset, each.task) for engine in engines for each in found.get(engine.id, ())):
            problems.append(_not_for(making, engines, name))
        elif not any(_is_work(making, engine, name) for engine in engines):
            text = f"{name} is a budget: it counts what was used, and no work is done for it"
            problems.append(Problem(_BUDGET, "--tasks", None, None, text, "leave it out"))
    return problems


def _is_work(making: _Stops, engine: Engine, name: str) -> bool:
    """Return whether a name is that of a task of an engine's rule sets."""
    return any(is_asked((name,), key, task.id) for key, ruleset in making.rulesets_of(engine).items() for task in ruleset.tasks)


def _not_for(making: _Stops, engines: Sequence[Engine], name: str) -> Problem:
    """Return the problem of a task that is for none of some engines, and why not."""
    reasons = [why for engine in engines for ruleset in making.rulesets_of(engine).values() if (why := why_not(ruleset, engine, name))]
    which = engines[0].id if len(engines) == 1 else "any of the engines asked for"
    file, fix = ("--stop", f"correct {PLAN_FILE}") if making.stops else ("--tasks", "leave it out")
    return Problem("CLI015", file, None, None, f"{name}: not for {which}", "; ".join(reasons[:_MOST_REASONS]) or fix)


def _card(making: _Stops, engine: Engine, findings: Sequence[Finding]) -> Card:
    """Return the card of one engine."""
    asked, site, language = making.asked, making.inputs.site, making.asked.language
    tasks = _tasks_of(making, engine, findings)
    procedures = card_procedures(tasks, engine)
    written = [each.procedure for each in procedures]
    made_on = making.inputs.moment.last_day.isoformat()
    steps = steps_of_stop(written, engine)
    stop = making.stops.get(engine.id)
    on = asked.on or (stop.day if stop is not None else making.inputs.moment.last_day)
    due_on = {making.findings.name_of(finding): _next_due(finding, on) for finding in findings}
    lines = step_lines(steps, procedures, language, partial(making.results.of, engine.id, made_on), due_on)
    if making.remaining is not None:
        lines = tuple(line for line in lines if line.id in making.remaining.steps)
    bring = bring_of(written, engine, language)
    card = Card(
        schema=CARD_SCHEMA,
        code="",
        site=site.site,
        site_title=site.title,
        engine=engine.id,
        engine_title=engine.shown_title,
        made_on=made_on,
        made_by_version=__version__,
        rulesets=_rulesets_of(making.findings.rulesets, tasks),
        language=language,
        stop=CardStop(on=on.isoformat(), plan=None if stop is None else stop.plan, completes=asked.completes),
        tasks=tuple(_card_task(making, finding, procedures) for finding in findings),
        people=bring.people,
        hours=bring.hours,
        parts=bring.parts,
        oil=bring.oil,
        waste=bring.waste,
        tools=bring.tools,
        steps=lines,
        releases=words_in(language)["releases"],
        remarks=(
            *remarks_of_the_rest(None if making.remaining is None else asked.completes),
            *card_remarks(engine, procedures, bring, unstated_of(lines), making.results),
        ),
    )
    return card.model_copy(update={"code": code_of(card)})


def _next_due(finding: Finding, on: date) -> date | None:
    """Return about when a task that is done at a stop is due again: as long after it as the interval before lasts; else its due date."""
    due = due_again_on(finding)
    if due is None or finding.last_done is None:
        return None if due is None else max(due, on)
    return on + max(due - date.fromisoformat(finding.last_done.at[:10]), _DAY)


def _tasks_of(making: _Stops, engine: Engine, findings: Sequence[Finding]) -> list[TaskOfStop]:
    """Return the tasks of some findings with the rule sets that have them."""
    sets = making.rulesets_of(engine)
    found = {(name, task.id): task for name, ruleset in sets.items() for task in ruleset.tasks}
    return [
        TaskOfStop(sets[finding.ruleset], found[finding.ruleset, finding.task], making.findings.name_of(finding)) for finding in findings
    ]


def _card_task(making: _Stops, finding: Finding, procedures: Sequence[CardProcedure]) -> CardTask:
    """Return a task as the card has it."""
    name = making.findings.name_of(finding)
    by = next(each for each in procedures if name in each.tasks)
    return CardTask(
        task=name,
        ruleset=finding.ruleset,
        title=making.findings.title_of(finding),
        standing=finding.standing,
        because=finding.reasons[0].text if finding.reasons else "",
        due_on=finding.due_on,
        procedure=by.procedure.id if by.is_written else None,
        meter_h_expected=making.meters.get(finding.engine),
    )


def _rulesets_of(used: Sequence[RuleSetUsed], tasks: Sequence[TaskOfStop]) -> tuple[RuleSetUsed, ...]:
    """Return the rule sets that the tasks of a card are of."""
    names = {task.ruleset.ruleset for task in tasks}
    return tuple(each for each in used if each.ruleset in names)
