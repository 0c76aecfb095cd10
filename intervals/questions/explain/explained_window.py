"""What lies in a window, in lines: hours at each duty and what they count, which rules fired on them, what is doubtful.

In: a task's chain and a window. Out: `CellLine`s, ids of rules, faults as text.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from intervals.arrays import Floats
from intervals.history.engine_case import EngineCase
from intervals.history.window_measures import NOTHING_H
from intervals.judge.cell_words import cell_text
from intervals.judge.start_reasons import starts_of_rules
from intervals.language.conditions import comparisons_of
from intervals.questions.explain.explanation_models import CellLine
from intervals.windows.chain import TaskChain, WindowEnd

Levels = tuple[tuple[str, str], ...]


def hours_by_duty(case: EngineCase, hours: Floats, wanted: Collection[str]) -> dict[Levels, tuple[float, int]]:
    """Return the hours of cells that read alike in the wanted levels, added up, each with a cell that stands for them.

    Args:
        case: the engine.
        hours: hours of each cell of its ledger, in h.
        wanted: names of the levels that matter.
    """
    summed: dict[Levels, tuple[float, int]] = {}
    for index, cell in enumerate(case.ledger.cells):
        if hours[index] <= NOTHING_H:
            continue
        levels = tuple(
            (level, cell_text(case.book.plan.thresholds[level], code))
            for level, code in zip(case.ledger.levels, cell, strict=True)
            if level in wanted
        )
        before, stands_for = summed.get(levels, (0.0, index))
        summed[levels] = (before + float(hours[index]), stands_for)
    return summed


def cells_of(chain: TaskChain, window: WindowEnd) -> Iterator[CellLine]:
    """Yield every duty cell that has hours in the window."""
    case = chain.case
    cells = case.ledger.cell_running_h
    hours = cells[window.end_edge] - cells[window.start.edge]
    weights = case.weights(chain.task)
    wanted = {part for rule in case.book.hourly_for(chain.task) for part in _levels_of(case, rule.id)}
    for levels, (sum_h, index) in hours_by_duty(case, hours, wanted).items():
        counts = float(weights.hour_weight[index])
        yield CellLine(
            levels=dict(levels),
            hours_h=round(sum_h, 6),
            counts_as=counts,
            equivalent_h=round(sum_h * counts, 6),
            rules=weights.fired[index],
            unknown_rules=weights.unknown[index],
        )


def _levels_of(case: EngineCase, rule_id: str) -> set[str]:
    """Return the levels that an hour-by-hour rule asks for."""
    rule = next(rule for rule in case.book.hourly if rule.id == rule_id)
    return {part.name for part in comparisons_of(rule.when) if part.name in case.book.levels}


def fired_in(chain: TaskChain, window: WindowEnd) -> tuple[str, ...]:
    """Return the rules that fired in the window."""
    hourly = [rule for cell in cells_of(chain, window) for rule in (*cell.rules, *cell.unknown_rules)]
    return tuple(dict.fromkeys([*hourly, *starts_of_rules(chain, window), *(effect.rule.id for effect in window.effects)]))


def doubts_between(case: EngineCase, start_us: int, end_us: int) -> tuple[str, ...]:
    """Return the faults of the data between two instants, one line each."""
    inside = [fault for fault in case.faults if fault.at_us is not None and start_us <= fault.at_us <= end_us]
    return tuple(f"{fault.kind}: {fault.text}" + (f" ({fault.file}:{fault.line})" if fault.file else "") for fault in inside)
