"""Times that are planned at a site, such as departures: what rules may ask to be done ahead of.

In: the plain data under `planned` of a site file. Out: frozen models; flaws of times for engines that are not there, and of lists that are
too long. Refuses field by field.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any, ClassVar

from pydantic import Field, model_validator

from intervals.language.fields import Id, Moment, WrittenModel
from intervals.language.flaws import Flaw
from intervals.problems import nearest_of

MOST_TIMES = 10_000
"""Each planned time cuts the ledger of an engine."""


class PlannedTime(WrittenModel):
    """One planned time, of one engine or of all.

    In the file a bare time stands for one of all engines.
    """

    key_hints: ClassVar[Mapping[str, str]] = {**dict.fromkeys(("on", "time", "date", "when"), "write at")}

    at: Moment = Field(description="when; a date is its first local midnight", examples=["2026-11-03T14:00"])
    engine: Id | None = Field(None, description="the engine or component that it is for; every one where it is left out")

    @model_validator(mode="before")
    @classmethod
    def _let_bare_time_stand(cls, data: object) -> object:
        """Let a bare time stand for one of all engines."""
        return {"at": data} if isinstance(data, (str, date, datetime)) else data


def planned_in(data: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], object]]:
    """Yield the entries of every planned list of a site's plain data, each with its place."""
    lists = data.get("planned")
    for name, listed in lists.items() if isinstance(lists, Mapping) else ():
        if isinstance(listed, (list, tuple)):
            yield from ((("planned", name, index), entry) for index, entry in enumerate(listed))
        else:
            yield ("planned", name), listed


def planned_moments_in(data: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], object]]:
    """Yield the times of every planned list of a site's plain data, each with its place."""
    for place, entry in planned_in(data):
        yield ((*place, "at"), entry.get("at")) if isinstance(entry, Mapping) else (place, entry)


def check_planned(data: Mapping[str, Any], ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield flaws of planned lists: engines that are not there, more times than can be judged.

    Args:
        data: the site's plain data.
        ids: ids of its engines and components.
    """
    counts: dict[str | int, int] = {}
    for place, entry in planned_in(data):
        counts[place[1]] = counts.get(place[1], 0) + 1
        named = entry.get("engine") if isinstance(entry, Mapping) else None
        word = str(getattr(named, "text", named))
        if named is not None and word not in ids:
            yield Flaw((*place, "engine"), f'no engine "{word}"{nearest_of(word, ids)}', f"engines: {', '.join(ids)}", "unknown_engine")
    for name, count in counts.items():
        if count > MOST_TIMES:
            yield Flaw(
                ("planned", name), f"{count:,} times; at most {MOST_TIMES:,} are judged", "leave out those that are long past", "range"
            )


__all__ = ["MOST_TIMES", "PlannedTime", "check_planned", "planned_moments_in"]
