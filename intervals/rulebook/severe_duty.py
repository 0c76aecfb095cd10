"""The site's own factor for severe duty, as a rule like any other.

In: an engine that states `severe_duty`. Out: an adjustment that fires on that engine alone. No public text gives a factor for dust,
heat or idling: the number is the site's, and so is the reason that it gives.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from intervals.faults import Fault
from intervals.language.conditions import Comparison
from intervals.rulebook.rulebook import RuleBook
from intervals.rules.effects.known_effects import IntervalTimes
from intervals.rules.tasks import SEVERE_DUTY, Adjustment
from intervals.site.model import Engine

SOURCE = "the site's own factor"


def severe_rule(engine: Engine) -> Adjustment | None:
    """Return the adjustment of an engine's severe duty, or None where it states none."""
    severe = engine.severe_duty
    if severe is None:
        return None
    written = {
        "id": SEVERE_DUTY,
        "tasks": severe.tasks,
        "when": Comparison("engine", "in", (engine.id,)),
        IntervalTimes.key: severe.interval_times,
        "because": severe.because,
        "source": SOURCE,
    }
    return Adjustment.model_validate(written)


def book_with_severe_duty(book: RuleBook, engine: Engine) -> RuleBook:
    """Return the rule book that judges an engine: the shared one, or one with the site's own factor beside its rules."""
    rule = severe_rule(engine)
    return book if rule is None else RuleBook(book.ruleset, book.levels, (rule,))


def severe_faults(engine: Engine, books: Sequence[RuleBook]) -> Iterator[Fault]:
    """Yield a fault for each task that an engine's severe duty names and none of its rule sets has."""
    severe = engine.severe_duty
    known = {task.id for book in books for task in book.ruleset.tasks}
    which = f"rule set {books[0].ruleset.ruleset} does not have"
    if len(books) > 1:
        which = f"none of its rule sets has: {', '.join(book.ruleset.ruleset for book in books)}"
    for task in () if severe is None or severe.tasks == "all" else severe.tasks:
        if task not in known:
            text = f'severe_duty of {engine.id} names the task "{task}", which {which}'
            yield Fault(engine.id, "unknown_task", None, None, None, text)
