"""A table of intervals that results choose from: failures among the last attempts, what a laboratory found, how a part was found.

In: the plain data under a task's `table`. Out: frozen models. Refuses field by field; what concerns the task beside it is refused in
`checking/table_checks`. Which row holds is judged at the start of a window (`windows/table_rows.py`).
"""

from __future__ import annotations

from functools import cached_property
from typing import ClassVar

from pydantic import Field

from intervals.language.conditions import comparisons_of
from intervals.language.fields import ConditionField, Legs, Text, WrittenModel
from intervals.language.result_measures import ResultMeasure, result_measure_of
from intervals.rules.in_place import values_behind


class TableRow(WrittenModel):
    """One row: the interval of a window at whose start its condition holds, and holds of no row above it."""

    scalar_hint: ClassVar[str] = "write for example {when: {failures_in_last_20: {at_least: 2}}, every: {calendar: P7D}}"

    when: ConditionField = Field(
        description="results and what the engine states, at the window's start", examples=[{"failures_in_last_20": {"at_least": 2}}]
    )
    every: Legs = Field(description="the interval of the next window", examples=[{"calendar": "P7D"}])
    source: Text | None = Field(None, description="where this row comes from")

    @cached_property
    def measures(self) -> dict[str, ResultMeasure]:
        """The measures of results that it asks for, by name, in the order of the file."""
        named = {part.name: result_measure_of(part.name) for part in comparisons_of(self.when)}
        return {name: measure for name, measure in named.items() if measure is not None}

    @property
    def lab_values(self) -> frozenset[str]:
        """Every value of an analysis that it asks for, those of the new fluid with them."""
        return values_behind(measure.of for measure in self.measures.values() if measure.kind == "latest")


__all__ = ["TableRow"]
