"""A job without a card, typed at the terminal, as if a card of one step for each task had been handed in.

In: engine, tasks, time, meter reading, who. Out: `HandedIn`. Refuses (CLI011) a task that no rule set of the engine has.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NamedTuple

from intervals.findings import RuleSetUsed
from intervals.history.completions import task_ids
from intervals.history.unknown_names import no_such
from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import code_of
from intervals.questions.card.card_models import CARD_SCHEMA, Card, CardStop, CardTask, StepLine
from intervals.questions.card.card_procedures import ONLY_STEP
from intervals.questions.record.handed_in import HANDED_IN_SCHEMA, AsFound, HandedIn, HandedStep
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.site.engines import Engine
from intervals.site.model import Site
from intervals.version import __version__

WITHOUT_A_CARD = "typed at the terminal, without a card"


class TypedJob(NamedTuple):
    """What was typed.

    Attributes:
        engine: engine id.
        tasks: task ids, bare or as `set.task`.
        at: when it was done, an instant or a local time.
        made_on: today.
        hour_meter_h: meter reading, h, or None.
        by: who did it.
        note: remark.
        as_found: how each part was found before the work, where it was stated.
    """

    engine: str
    tasks: Sequence[str]
    at: datetime
    made_on: date
    hour_meter_h: float | None
    by: str
    note: str
    as_found: AsFound | None


def handed_in_as(site: Site, job: TypedJob) -> HandedIn:
    """Return a job as if its card had been handed in.

    Raises:
        RequestProblemError: no rule set of the engine has the task (CLI011).
        RuleSetProblemError: a rule set cannot be used.
    """
    engine = next(unit for unit in site.judged_units if unit.id == job.engine)
    rulesets = [load_ruleset(find_ruleset(name, site.folder)) for name in site.rulesets_of(engine)]
    tasks = [each for name in dict.fromkeys(job.tasks) for each in _tasks_named(name, rulesets, engine)]
    at = job.at.isoformat(timespec="minutes")
    card = Card.model_validate(
        {
            "schema": CARD_SCHEMA,
            "code": "",
            "site": site.site,
            "site_title": site.title,
            "engine": engine.id,
            "engine_title": engine.shown_title,
            "made_on": job.made_on.isoformat(),
            "made_by_version": __version__,
            "rulesets": tuple(RuleSetUsed(ruleset=each.ruleset, version=each.version, sha256=each.sha256) for each in rulesets),
            "language": "en",
            # the time tells two jobs of one task apart
            "stop": CardStop(on=at, plan=None, completes=None),
            "tasks": tuple(tasks),
            "people": 1,
            "hours": None,
            "parts": (),
            "oil": (),
            "waste": (),
            "tools": (),
            "steps": tuple(_step_of(task) for task in tasks),
            "releases": "",
            "remarks": (WITHOUT_A_CARD,),
        }
    )
    card = card.model_copy(update={"code": code_of(card)})
    return HandedIn(
        schema_name=HANDED_IN_SCHEMA,
        card=card,
        started_at=None,
        ended_at=at,
        by=job.by or None,
        hour_meter_h=job.hour_meter_h,
        remarks=job.note or None,
        as_found={} if job.as_found is None else dict.fromkeys((task.task for task in tasks), job.as_found),
        steps={step.id: HandedStep(answer="done", at=at) for step in card.steps},
    )


def _tasks_named(name: str, rulesets: Sequence[RuleSet], engine: Engine) -> list[CardTask]:
    """Return the tasks that a name stands for: of several rule sets that have it, each."""
    found = []
    several = len(rulesets) > 1
    for ruleset in rulesets:
        known = {task.id: task for task in ruleset.tasks}
        own = task_ids([name.removeprefix(f"{ruleset.ruleset}.")], known)
        task = next((known[each] for each in own.values() if each in known), None)
        if task is not None and (name == task.id or name.startswith(f"{ruleset.ruleset}.") or name in own):
            shown = f"{ruleset.ruleset}.{task.id}" if several else task.id
            found.append(_card_task(shown, ruleset, str(task.title)))
    if not found:
        known_ids = list(dict.fromkeys(task.id for ruleset in rulesets for task in ruleset.tasks))
        raise RequestProblemError([no_such("task", "--task", name, f"for engine {engine.id}", known_ids)])
    return found


def _card_task(name: str, ruleset: RuleSet, title: str) -> CardTask:
    """Return a task as a card has it; nothing was judged when it was typed."""
    return CardTask(
        task=name,
        ruleset=ruleset.ruleset,
        title=title,
        standing="unknown",
        because="",
        due_on=None,
        procedure=None,
        meter_h_expected=None,
    )


def _step_of(task: CardTask) -> StepLine:
    """Return the one step that stands for a task."""
    bare = task.task.removeprefix(f"{task.ruleset}.")
    return StepLine.model_validate(
        {
            "id": f"{bare}.{ONLY_STEP}",
            "kind": "do",
            "phase": "work",
            "tasks": (task.task,),
            "procedures": (bare,),
            "text": task.title,
            "lang": "",
            **dict.fromkeys(("of", "to", "before", "place", "minutes", "minutes_source", "value", "unit", "limits", "limits_text")),
            "unstated": (),
            "needs": (),
            "evidence": "required",
            "is_restore": False,
            "is_certain": True,
            "last": (),
        }
    )


__all__ = ["WITHOUT_A_CARD", "TypedJob", "handed_in_as"]
