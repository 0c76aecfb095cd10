"""Due points as they are printed: how each one of a month was met, and the figure of compliance of the month, as models.

In: plain values from the judge. Out: frozen pydantic models, parts of the documents of findings and of a month.
"""

from __future__ import annotations

from typing import Literal

from intervals.documents import Frozen

MetWord = Literal["on_time", "late", "missed", "pending", "deferred", "early"]


class Occurrence(Frozen):
    """One due point of a month, and how it was met (`consumed` of the deciding leg, when it was done, else at the month's end).

    `on_time`, `late`, `missed` and `early` were decided in the month, on `decided_on`; `pending` and `deferred` were not, by its end.
    `missed` is late too: the next due point was reached before it was done. `open`: late, and not done by the month's end.
    """

    engine: str
    ruleset: str = ""
    task: str
    weight: str
    met: MetWord
    open: bool
    line_on: str | None
    decided_on: str | None
    done_on: str | None
    consumed: float | None
    deferred: bool
    text: str


class WeightCount(Frozen):
    """How many of some occurrences were on time and late; `missed` and `open` are parts of `late`; no figure where none was counted."""

    on_time: int
    late: int
    missed: int
    open: int
    figure: float | None


class Compliance(Frozen):
    """The month's figure: on_time / (on_time + late), each due point in the month in which it was decided; the same by weight.

    `missed` and `open` are parts of `late`; `pending`, `deferred` and `early` are listed and not counted.
    """

    month: str
    on_time: int
    late: int
    missed: int
    open: int
    pending: int
    deferred: int
    early: int
    figure: float | None
    by_weight: dict[str, WeightCount]
    occurrences: tuple[Occurrence, ...]
