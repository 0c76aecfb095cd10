"""What remains of a card that was recorded in part: its open tasks, and the steps that a card for the rest has.

In: a site's inputs, and the code of the card. Out: `Remaining`. Refuses (CLI151) a code of which the engine has no card in part.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.history.engine_cases import build_cases
from intervals.history.inputs import Inputs
from intervals.local_days import to_us
from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.remaining import Remaining
from intervals.questions.record.card_today import tasks_today
from intervals.questions.record.handed_in import HandedIn, read_handed_in
from intervals.questions.record.jobs_in_parts import cards_that_complete, earlier_parts, joined_evidence
from intervals.questions.record.record_moment import latest_completion
from intervals.questions.record.recorded_cards import recorded_file, standing_tasks
from intervals.questions.record.shared_steps import with_shared_steps
from intervals.questions.record.what_completes import steps_after, steps_of_safety, steps_that_lack
from intervals.readings import ServiceRecord
from intervals.rules.procedure_steps import STOPPED_PHASES
from intervals.site.model import Engine

_OPTION, _CODE = "--completes", "CLI151"


def remaining_work(inputs: Inputs, code: str, engine_id: str, tasks: Sequence[str]) -> Remaining:
    """Return what remains of a card.

    Args:
        inputs: the site's inputs.
        code: the code of the card.
        engine_id: the engine that a card for the rest is asked for.
        tasks: the tasks that are asked for; none means all that are open.

    Raises:
        RequestProblemError: there is no such card of the engine on record, or nothing of it is open (CLI151); it cannot be read (CLI160).
    """
    records = inputs.records.get(engine_id, [])
    standing = standing_tasks(records, code)
    path = recorded_file(inputs.site, code)
    if not standing:
        elsewhere = [engine for engine, listed in inputs.records.items() if standing_tasks(listed, code)]
        why = f"it was recorded for {', '.join(elsewhere)}" if elsewhere else "there is no record that stands"
        msg = f"of the card {code} nothing is left to do at {engine_id}: {why}"
        raise _refused(msg, "name a card that was recorded in part")
    if path is None:
        text = f"the record of the card {code} stands, and its file {code}.card.json is not in records/"
        raise _refused(text, "put the file back; or make a card of the whole job, without --completes")
    part = read_handed_in(path)
    engine = next(unit for unit in inputs.site.judged_units if unit.id == engine_id)
    partial = [task for task in standing if _is_open(inputs, records, code, task)]
    since = _done_since(inputs, engine, part, partial)
    left = tuple(named for named in part.card.tasks if named.task in partial and named.task not in since)
    chosen = tuple(named for named in left if not tasks or named.task in tasks or named.task.removeprefix(f"{named.ruleset}.") in tasks)
    if not chosen:
        others = cards_that_complete(inputs.site, records, code)
        fix = f"leave --tasks out: open are {', '.join(each.task for each in left)}" if left else "name a card that was recorded in part"
        asked = f" of {', '.join(tasks)}" if left else ""
        by = f"; it was completed by {', '.join(others)}" if others and not left else ""
        by += "".join(f"; {task} was done whole since ({place})" for task, place in since.items())
        msg = f"of the card {code} nothing is open{asked}{by}"
        raise _refused(msg, fix)
    rest = part.model_copy(update={"card": part.card.model_copy(update={"tasks": chosen})})
    return Remaining(tuple(named.task for named in chosen), _steps(inputs, engine, [*earlier_parts(inputs.site, part), part], rest))


def _is_open(inputs: Inputs, records: Sequence[ServiceRecord], code: str, task: str) -> bool:
    """Tell whether a task of a card was left in part, and no later card has a record of it."""
    last = [record for record in records if record.ref == code and record.task == task and record.outcome != "void"][-1]
    completing = cards_that_complete(inputs.site, records, code)
    return last.outcome == "partial" and not any(task in standing_tasks(records, other) for other in completing)


def _done_since(inputs: Inputs, engine: Engine, part: HandedIn, tasks: Sequence[str]) -> dict[str, str]:
    """Return the tasks of a card that were done whole after it ended, each with where its record is."""
    ended_at = part.ends_at(inputs.site.zone)
    cases = build_cases(inputs, [unit.id for unit in inputs.site.judged_units].index(engine.id), None) if tasks and ended_at else ()
    rulesets = [book.ruleset for book in inputs.books_of(engine, None)]
    found = {}
    for today in tasks_today(part.card, engine, rulesets) if cases else ():
        case = next((each for each in cases if today.ruleset is not None and each.ruleset == today.ruleset.ruleset), None)
        at_us, place = latest_completion(case, "" if today.task is None else today.task.id)
        if today.named.task in tasks and at_us is not None and ended_at is not None and at_us > to_us(ended_at):
            found[today.named.task] = place
    return found


def _steps(inputs: Inputs, engine: Engine, parts: Sequence[HandedIn], rest: HandedIn) -> frozenset[str]:
    """Return the steps of a card for the rest: cautions, what lacks, what comes after it, and what secures the engine for work on it."""
    rulesets = [book.ruleset for book in inputs.books_of(engine, None)]
    todays = tasks_today(rest.card, engine, rulesets)
    steps = [step for today in todays for step in today.steps]
    given = [with_shared_steps(part, steps, engine, rulesets, inputs.site.zone) for part in parts]
    joined = [(today, joined_evidence(given, today.procedure, today.steps)) for today in todays]
    lacking = frozenset(step for today, evidence in joined for step in steps_that_lack(today.procedure, today.steps, evidence))
    remaining = lacking | steps_after(steps, lacking)
    cautions = frozenset(step.id for step in steps if step.kind == "caution")
    # what is done on the running engine alone asks for no standstill
    is_stopped = any(step.id in remaining and step.phase in STOPPED_PHASES for step in steps)
    return remaining | cautions | (steps_of_safety(steps) if is_stopped else frozenset())


def _refused(text: str, fix: str) -> RequestProblemError:
    """Return the refusal of a card for the rest."""
    return RequestProblemError([Problem(_CODE, _OPTION, None, None, text, fix)])
