"""What may stand in the place of doing a task by time: an analysis that finds everything within limits.

In: the plain data under `in_place_of_time` of a task. Out: a frozen model. Refuses field by field.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from pydantic import Field

from intervals.language.conditions import AllOf, Condition, comparisons_of
from intervals.language.fields import ConditionField, Day, Id, Text, WholeFromZero, WrittenModel

OF_NEW = ("_rise", "_change_pct", "_pct_of_new")
"""Endings of values that compare a used fluid with the new one: used - new, 100 (used - new) / new, 100 used / new."""
NEW = "_new"
"""Ending of the column that holds a value of the new fluid."""


class InPlaceOfTime(WrittenModel):
    """The task need not be done while the latest analysis is within every limit and not older than the task's own interval."""

    key_hints: ClassVar[Mapping[str, str]] = {
        "kind": "write by",
        "limits": "write within: {acid_number_rise: {at_most: 3.0}}",
        "business_days": "write act_within_business_days",
    }

    by: Id = Field(description="the kind of analysis, as it is written in the file of analyses", examples=["oil-analysis"])
    within: ConditionField = Field(
        description="the limits that all hold; X_rise, X_change_pct and X_pct_of_new compare X with the new fluid",
        examples=[{"acid_number_rise": {"at_most": 3.0}}],
    )
    act_within_business_days: WholeFromZero = Field(
        0, description="beyond a limit the task is due this many business days after the result, or before the next start if that is later"
    )
    holidays: tuple[Day, ...] = Field((), description="days other than Saturdays and Sundays that are not business days")
    source: Text | None = Field(None, description="where this comes from")

    @property
    def limits(self) -> tuple[Condition, ...]:
        """The limits one by one, in the order of the file."""
        return self.within.parts if isinstance(self.within, AllOf) else (self.within,)

    @property
    def figures(self) -> tuple[str, ...]:
        """Every value that the limits ask for, and the value that it is worked out from, in order of name."""
        return figures_of(self.within)

    @property
    def values(self) -> frozenset[str]:
        """Every value that may stand in the file of analyses."""
        return values_behind(self.figures)


def figures_of(condition: Condition) -> tuple[str, ...]:
    """Return every value that a condition asks of an analysis, and the value that it is worked out from, in order of name."""
    return tuple(sorted(figures_behind(part.name for part in comparisons_of(condition))))


def figures_behind(asked: Iterable[str]) -> frozenset[str]:
    """Return values that are asked for, and those that they are worked out from: `X_rise` from `X`."""
    names = frozenset(asked)
    return names | {name.removesuffix(ending) for name in names for ending in OF_NEW if name.endswith(ending)}


def values_behind(asked: Iterable[str]) -> frozenset[str]:
    """Return every value that may stand in the file of analyses where some are asked for: those of the new fluid too."""
    figures = figures_behind(asked)
    return figures | {name + NEW for name in figures}
