"""What starts counted in a window: the rules that fired on them, and what is unknown.

In: a task's chain and a window. Out: reasons, and a line of the sum. The rules were judged on the duty cell of each start.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from intervals.arrays import Floats
from intervals.findings import FactValue, Reason
from intervals.judge.wording import starts_text
from intervals.language.legs import rounded
from intervals.rulebook.rulebook import STARTS
from intervals.rules.tasks import Adjustment
from intervals.shown_numbers import figure
from intervals.windows.chain import TaskChain, WindowEnd

NO_START = 1e-6


def starts_in(chain: TaskChain, window: WindowEnd) -> Floats | None:
    """Return the starts of a window by duty cell; None where no rule of the task asks for them or none are counted."""
    counted = chain.case.starts_by_cell
    if counted is None or not chain.case.book.per_start_for(chain.task):
        return None
    starts: Floats = counted[window.end_edge] - counted[window.start.edge]
    return starts


def starts_of_rules(chain: TaskChain, window: WindowEnd) -> dict[str, float]:
    """Return how many starts of a window each rule fired on; rules that fired on none are left out."""
    starts = starts_in(chain, window)
    if starts is None:
        return {}
    fired = chain.case.weights(chain.task).start_fired
    hits = {rule.id: _hit(starts, fired, rule) for rule in chain.case.book.per_start_for(chain.task)}
    return {name: hit for name, hit in hits.items() if hit > NO_START}


def _hit(starts: Floats, names: tuple[tuple[str, ...], ...], rule: Adjustment) -> float:
    """Return the starts in cells that name a rule."""
    return rounded(float(np.dot(starts, np.array([rule.id in each for each in names], dtype=np.float64))))


def start_reasons(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield one reason for every rule about starts that fired in a window."""
    hits = starts_of_rules(chain, window)
    for rule in chain.case.book.per_start_for(chain.task):
        if rule.id in hits:
            facts: dict[str, FactValue] = {"starts": hits[rule.id], **rule.effect.facts}
            yield Reason(rule=rule.id, text=starts_text(rule, hits[rule.id]), facts=facts, source=rule.source)


def start_doubts(chain: TaskChain, window: WindowEnd) -> Iterator[Reason]:
    """Yield what is not known of the starts that a rule of the task counts."""
    case = chain.case
    known_from = case.ledger.counters_known_from_us.get(STARTS)
    starts = starts_in(chain, window)
    for rule in case.book.per_start_for(chain.task):
        if not rule.start_effect.start_h:
            continue
        if known_from is None or known_from > window.start.at_us:
            before = "" if known_from is None else f" before {case.days.iso(known_from)}"
            text = f"{rule.id} counts starts, and none are logged{before}: they count as zero"
            yield Reason(rule=f"unknown-{rule.id}", text=text, facts={STARTS: None}, source=rule.source)
        unknown = 0.0 if starts is None else _hit(starts, case.weights(chain.task).start_unknown, rule)
        if unknown > NO_START:
            how = "counted as if the rule held" if rule.when_unknown == "holds" else "they count as zero"
            text = f"{figure(unknown)} starts on which {rule.id} ({rule.condition_in_words}) could not be judged: {how}"
            yield Reason(rule=f"unknown-{rule.id}", text=text, facts={STARTS: unknown}, source=rule.source)


def start_sums(chain: TaskChain, window: WindowEnd) -> Iterator[str]:
    """Yield the starts of a window as they stand in the sum of running hours, such as `42 starts x 8 h`."""
    starts = starts_in(chain, window)
    if starts is None:
        return
    each = chain.case.weights(chain.task).start_h
    for hours in np.unique(each[(starts > NO_START) & (each > 0)]).tolist():
        yield f"{figure(rounded(float(starts[each == hours].sum())))} starts x {hours:g} h"
