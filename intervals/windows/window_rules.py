"""The rules on a window as a whole: the figures that they ask for, and which of them fired.

In: an engine made ready, a task, one window or several. Out: `WindowRules`. Every condition is put to the rule book; none is decided here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from intervals.history.engine_case import EngineCase
from intervals.history.window_measures import Indexes, LogBegin, Measurer, Spans
from intervals.rulebook.inference import FactValue, Verdict
from intervals.rules.tasks import Adjustment, Task
from intervals.windows.leg_states import FiredRule, Until, WindowRules, WindowStart

_ALL = slice(None)


def rules_of_window(case: EngineCase, task: Task, start: WindowStart, until: Until) -> WindowRules:
    """Return what the window rules of a task say of one window.

    Args:
        case: the engine.
        task: the task.
        start: where the window begins.
        until: where it is looked at; after the log's end only the part that the log covers is measured.

    Returns:
        The rules that hold (those that are unknown and count as held included), each with the figures it asked for, and those that are
        unknown.
    """
    if not case.book.windowed_for(task):
        return WindowRules()
    return rules_of_windows(case, task, span_of(start, until))[0]


def rules_of_windows(case: EngineCase, task: Task, spans: Spans) -> list[WindowRules]:
    """Return what the window rules of a task say of each of several windows, with the figures they asked for.

    Args:
        case: the engine.
        task: the task.
        spans: the windows, n starts and ends.

    Returns:
        One entry per window, in their order.
    """
    return JudgedWindows(case, spans).rules_for(task)


class JudgedWindows:
    """Windows of one engine, of one task or several, put to the window rules together.

    Args:
        case: the engine.
        spans: the windows, n starts and ends.
    """

    def __init__(self, case: EngineCase, spans: Spans) -> None:
        self._case, self._spans = case, spans
        self._columns: dict[float, dict[str, list[float]]] = {}
        self._verdicts: dict[float, list[Verdict]] = {}

    @property
    def count(self) -> int:
        """How many windows there are."""
        return len(self._spans.start_edges)

    def rules_for(self, task: Task, place: slice = _ALL) -> list[WindowRules]:
        """Return what the rules of a task say of each window, or of some, with the figures they asked for."""
        count, facts = len(self._spans.start_edges[place]), self._case.facts
        fired_rules: list[list[FiredRule]] = [[] for _ in range(count)]
        unknown: list[list[Adjustment]] = [[] for _ in range(count)]
        for rule in self._case.book.windowed_for(task):
            verdicts, columns = self._judged(rule)
            for index, verdict in enumerate(verdicts[place]):
                if _counts(rule, verdict):
                    fired_rules[index].append(FiredRule(rule, facts | _row(columns, index + (place.start or 0))))
                if rule.id in verdict.unknown:
                    unknown[index].append(rule)
        return [WindowRules(tuple(fired), tuple(others)) for fired, others in zip(fired_rules, unknown, strict=True)]

    def situations_of(self, task: Task, place: slice) -> tuple[list[tuple[FiredRule, ...]], list[int]]:
        """Return the different sets of rules of a task that fired on some windows, without figures, and which of them did on each."""
        rules = self._case.book.windowed_for(task)
        numbers: dict[tuple[Verdict, ...], int] = {}
        verdicts = list(zip(*(self._judged(rule)[0][place] for rule in rules), strict=True))
        which = [numbers.setdefault(each, len(numbers)) for each in verdicts]
        pairs = [zip(rules, each, strict=True) for each in numbers]
        return [tuple(FiredRule(rule, {}) for rule, verdict in some if _counts(rule, verdict)) for some in pairs], which

    def _judged(self, rule: Adjustment) -> tuple[list[Verdict], dict[str, list[float]]]:
        """Return what the rules say of each window where so much of it must be known as one rule asks, and the measures."""
        share = float(rule.known_share_at_least)
        if share not in self._verdicts:
            case, count = self._case, len(self._spans.start_edges)
            self._columns[share] = measured_spans(case, self._spans, share)
            self._verdicts[share] = case.book.window.fire_each(case.facts, self._columns[share], count)
        return self._verdicts[share], self._columns[share]


def _counts(rule: Adjustment, verdict: Verdict) -> bool:
    """Tell whether a rule counts on a window: it holds, or it is unknown and says so."""
    return rule.id in verdict.holds or (rule.when_unknown == "holds" and rule.id in verdict.unknown)


def measures_of(case: EngineCase, start: WindowStart, until: Until, known_share: float) -> dict[str, FactValue]:
    """Return every measure of a window that some rule asks for; None where it is unknown."""
    return _row(measured_spans(case, span_of(start, until), known_share), 0)


def measured_spans(case: EngineCase, spans: Spans, known_share: float) -> dict[str, list[float]]:
    """Return every measure that some rule asks for: its value in each of several windows, NaN where it is unknown."""
    log = LogBegin(case.log.covers_from_us, case.before_log_h)
    measurer = Measurer(case.ledger, case.cell_verdicts, case.site.oil_density_kg_per_l, known_share, log, case.life)
    covered_us = case.log.covered_to_us(case.end_us)
    if covered_us < case.end_us:
        # use a day is that of the days that the log covers, and no start or top-up is held against hours that no meter covers yet
        covered_edge = int(case.ledger.edges_us.searchsorted(covered_us, side="right")) - 1
        spans = spans._replace(
            end_us=np.clip(spans.end_us, spans.start_us, np.maximum(spans.start_us, covered_us)),
            end_edges=np.clip(spans.end_edges, spans.start_edges, np.maximum(spans.start_edges, covered_edge)),
        )
    return {measure.name: measurer.measure(measure.name, spans).tolist() for measure in case.book.measures}


def _row(columns: Mapping[str, Sequence[float]], index: int) -> dict[str, FactValue]:
    """Return the measures of one of several windows; None where one is unknown."""
    return {name: None if math.isnan(column[index]) else column[index] for name, column in columns.items()}


def spans_from(start: WindowStart, edges: Indexes, instants: Indexes, days: Indexes) -> Spans:
    """Return windows of one start that are looked at at several edges of the ledger.

    Args:
        start: where they begin.
        edges: the edges.
        instants: their instants, UTC microseconds.
        days: the last local days that they cover, as ordinal numbers.
    """
    ones = np.ones(len(edges), dtype=np.int64)
    return Spans(ones * start.edge, edges, ones * start.at_us, instants, ones * start.day.toordinal(), days)


def span_of(start: WindowStart, until: Until) -> Spans:
    """Return one window as spans."""
    ends = ((start.edge,), (until.edge,), (start.at_us,), (until.at_us,), (start.day.toordinal(),), (until.day.toordinal(),))
    return Spans(*(np.array(end, dtype=np.int64) for end in ends))
