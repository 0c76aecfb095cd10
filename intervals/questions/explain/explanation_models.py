"""The arithmetic behind a finding, as models.

In: plain values from `explain`. Out: frozen models, which `reports/document.py` prints as `intervals.explanation/1`.
"""

from __future__ import annotations

from intervals.documents import Frozen
from intervals.findings import Finding, RecordsWarning


class CellLine(Frozen):
    """One duty cell of a window: its hours, what they count, and which rules fired on it."""

    levels: dict[str, str]
    hours_h: float
    counts_as: float
    equivalent_h: float
    rules: tuple[str, ...]
    unknown_rules: tuple[str, ...] = ()


class Measure(Frozen):
    """One figure of the window as a whole that a rule may ask for."""

    name: str
    value: float | str | bool | None
    unit: str
    note: str = ""


class FactorLine(Frozen):
    """One window rule that fired: what it does to the interval."""

    rule: str
    effect: str
    because: str | None
    source: str | None


class Step(Frozen):
    """One line of arithmetic: what it yields, and the sum with its figures."""

    label: str
    sum: str


class RulePlace(Frozen):
    """Where a rule of the explanation stands."""

    rule: str
    place: str
    because: str | None
    source: str | None


class Explanation(Frozen):
    """The arithmetic behind one finding, so that a person can redo it with a pocket calculator.

    `window` is the plain window (from, to, and where each comes from); `steps` are the sums in order. `last_done_is_a_day` is true where
    the record gives its date alone, so that the moment it is counted from was looked up.
    """

    finding: Finding
    window: tuple[Step, ...]
    cells: tuple[CellLine, ...]
    measures: tuple[Measure, ...]
    factors: tuple[FactorLine, ...]
    steps: tuple[Step, ...]
    rules: tuple[RulePlace, ...]
    doubts: tuple[str, ...]
    last_done_is_a_day: bool = False
    warnings: tuple[RecordsWarning, ...] = ()
