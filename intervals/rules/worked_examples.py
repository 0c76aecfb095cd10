"""Worked examples of a rule set: an engine, what it did since the last completion, and what must come out.

In: the plain data under `examples`. Out: frozen models. Refuses field by field; what concerns several entries at once is refused in
`checking/between_entries`. They are judged in `questions/examples`.
"""

from __future__ import annotations

from typing import ClassVar, Literal

from pydantic import Field

from intervals.language.fields import Day, Fact, Id, Ids, Name, Number, NumberFromZero, WholeFromZero, WrittenModel


class Expect(WrittenModel):
    """What an example must give; only what is stated is compared (figures in the governing leg's unit)."""

    used: NumberFromZero | None = Field(None, description="used of the governing leg")
    allowed: NumberFromZero | None = Field(None, description="allowed of the governing leg")
    remaining: Number | None = Field(None, description="remaining of the governing leg")
    consumed: NumberFromZero | None = Field(None, description="used / allowed of the governing leg")
    governing: Name | None = Field(None, description="the leg that decides")
    standing: Literal["overdue", "upcoming", "in_interval", "unknown"] | None = Field(None, description="the standing")
    within_tolerance: bool | None = Field(None, description="overdue, but within tolerance")
    fired: Ids | None = Field(None, description="the adjustments that fire, all of them")
    due_on: Day | None = Field(None, description="the date on which it falls due")


class JobAgo(WrittenModel):
    """How long ago another job was done."""

    scalar_hint: ClassVar[str] = "write for example {running_hours: 40, days: 3}"

    days: WholeFromZero = Field(description="days since the job", examples=[3])
    running_hours: NumberFromZero | None = Field(None, description="running hours since the job, where the example has any", examples=[40])


class Example(WrittenModel):
    """A worked example: an engine, what it did since the last completion, and what must come out."""

    name: Name = Field(description="one sentence that says what the example shows")
    engine: dict[Name, Fact] = Field({}, description="what the engine states of itself", examples=[{"fuel": "biogas", "rated_kw": 500}])
    since_last: dict[Name, Number] = Field(
        description="since the last completion: running_hours, days, counters, amounts, levels",
        examples=[{"running_hours": 1010, "days": 40, "load_pct": 60}],
    )
    results: dict[Name, Fact] = Field(
        {}, description="what the table of the task asks for at the window's start", examples=[{"failures_in_last_20": 2, "found": "worn"}]
    )
    done_since: dict[Id, JobAgo] = Field(
        {}, description="other jobs done since then, such as an overhaul", examples=[{"overhaul": {"running_hours": 40, "days": 3}}]
    )
    task: Id = Field(description="the task that is judged")
    as_of: Day | None = Field(None, description="the last day that is judged, for dated intervals")
    first: bool = Field(False, description="whether the engine is new or overhauled")
    expect: Expect = Field(description="what must come out")
