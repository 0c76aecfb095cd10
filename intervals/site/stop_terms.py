"""On what terms engines may be stopped: how many at once, the hours of the crews, days on which nothing is done, days that cost least.

In: the plain data under `groups`, `crew`, `blackouts` and `prefer` of a site file. Out: frozen models; flaws of engines that are not there
and of entries that contradict themselves. Refuses field by field. Only a plan of stops asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from intervals.language.fields import Day, Id, Ids, Name, OneOrMany, PositiveNumber, Text, WholeFromOne, WrittenModel
from intervals.language.flaws import Flaw
from intervals.problems import nearest_of

Place = tuple[str | int, ...]


class StopGroup(WrittenModel):
    """Engines of which so many at most may stand at once."""

    scalar_hint: ClassVar[str] = "write for example {engines: [G1, G2], stopped_at_most: 1}"
    key_hints: ClassVar[Mapping[str, str]] = {"most": "write stopped_at_most", "at_most": "write stopped_at_most"}

    engines: Annotated[tuple[Name, ...], Field(min_length=2)] = Field(description="ids of the engines", examples=[["G1", "G2"]])
    stopped_at_most: WholeFromOne = Field(description="how many of them may stand at once", examples=[1])


class Crew(WrittenModel):
    """People who do the work, and their hours."""

    scalar_hint: ClassVar[str] = "write for example {hours_per_week: 40}"
    key_hints: ClassVar[Mapping[str, str]] = {"hours": "write hours_per_week", "tasks": "write for"}

    name: Id = Field("own", description="what the crew is called", examples=["outside"])
    hours_per_week: PositiveNumber = Field(description="hours of all its people together in a week, h", examples=[40])
    for_: Ids = Field(
        (), alias="for", description="ids of the tasks that it does; the first crew without does all others", examples=[["overhaul"]]
    )


class Blackout(WrittenModel):
    """Days on which engines are not stopped: from a first day to a last one, or the events of a calendar file."""

    scalar_hint: ClassVar[str] = "write for example {from: 2026-12-21, to: 2027-01-03}"

    from_: Day | None = Field(None, alias="from", description="first day")
    to: Day | None = Field(None, description="last day; the first one where it is left out")
    file: Name | None = Field(
        None, description="a calendar file (ICS) in the site's folder, each event of which is one", examples=["holidays.ics"]
    )
    engines: Annotated[tuple[Name, ...], OneOrMany()] = Field((), description="ids of the engines; every one where it is left out")
    reason: Text | None = Field(None, description="why", examples=["heat season"])


class Prefer(WrittenModel):
    """The days on which a stop costs least.

    In the file the word `weekend` stands for `{days: weekend}`.
    """

    scalar_hint: ClassVar[str] = "write weekend, or for example {file: demand.csv, column: heat_kw}"

    days: Literal["weekend"] | None = Field(None, description="stops are made at weekends where nothing is lost by it")
    file: Name | None = Field(
        None, description="a CSV file in the site's folder: its first column a day or a time", examples=["demand.csv"]
    )
    column: Name | None = Field(
        None, description="its column of expected demand: a stop is cheapest where it is least", examples=["heat_kw"]
    )

    @model_validator(mode="before")
    @classmethod
    def _let_word_stand(cls, data: object) -> object:
        """Let the word stand for its mapping."""
        return {"days": data} if isinstance(data, str) else data


class _OrWeekend:
    """Offers the word `weekend` beside the mapping in the JSON Schema."""

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """Offer the word."""
        return {"anyOf": [{"const": "weekend"}, handler(core)]}


PreferField = Annotated[Prefer, _OrWeekend()]
"""The days on which a stop costs least: the word `weekend`, or a file and its column."""


def check_stop_terms(data: Mapping[str, Any], ids: Sequence[str]) -> Iterator[Flaw]:
    """Yield flaws of the terms of stops: engines that are not there, days that are swapped, entries that say nothing or too much.

    Args:
        data: the site's plain data.
        ids: ids of its engines and components.
    """
    for place, text in (*_named(data, "groups"), *_named(data, "blackouts")):
        if text not in ids:
            yield Flaw(place, f'no engine "{text}"{nearest_of(text, ids)}', f"engines: {', '.join(ids)}", "unknown_engine")
    yield from _check_engines(data)
    yield from _check_blackouts(data.get("blackouts"))
    yield from _check_crews(data.get("crew"))
    prefer = data.get("prefer")
    if isinstance(prefer, Mapping) and (prefer.get("days") is None) == (prefer.get("file") is None or prefer.get("column") is None):
        yield Flaw(("prefer",), "either weekend, or a file and its column", Prefer.scalar_hint, "range")


def _named(data: Mapping[str, Any], key: str) -> Iterator[tuple[Place, str]]:
    """Yield the engines that entries name, each with its place."""
    for place, entry in _entries(key, data.get(key)):
        named = entry.get("engines")
        if isinstance(named, (list, tuple)):
            yield from (((*place, "engines", index), str(getattr(word, "text", word))) for index, word in enumerate(named))
        elif named is not None:
            yield (*place, "engines"), str(getattr(named, "text", named))


def _check_engines(data: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of lists of engines: one that is named twice, a list that is empty."""
    seen: set[tuple[Place, str]] = set()
    for place, text in (*_named(data, "groups"), *_named(data, "blackouts")):
        if (place[:-1], text) in seen:
            yield Flaw(place, f'the engine "{text}" is named twice', "name each engine once", "duplicate")
        seen.add((place[:-1], text))
    for place, entry in _entries("blackouts", data.get("blackouts")):
        if entry.get("engines") in ([], ()):
            yield Flaw((*place, "engines"), "an engine is needed; got an empty list", "leave it out where every engine is meant", "range")


def _check_blackouts(blackouts: object) -> Iterator[Flaw]:
    """Yield flaws of days on which nothing is done."""
    for place, entry in _entries("blackouts", blackouts):
        if (entry.get("from") is None) == (entry.get("file") is None):
            yield Flaw(place, "either days or a calendar file is needed", "write for example {from: 2026-12-21, to: 2027-01-03}", "range")
        first, last = (str(entry.get(key)) for key in ("from", "to"))
        if entry.get("from") is not None and entry.get("to") is not None and last < first:
            yield Flaw((*place, "to"), f"to {last}, from {first}", "look whether the two are swapped", "contradiction")


def _check_crews(crews: object) -> Iterator[Flaw]:
    """Yield a flaw for each crew whose name was there before."""
    seen: set[str] = set()
    for place, entry in _entries("crew", crews):
        name = str(entry.get("name", "own"))
        if name in seen:
            yield Flaw((*place, "name") if "name" in entry else place, f'two crews with the name "{name}"', "give each a name", "duplicate")
        seen.add(name)


def _entries(key: str, value: object) -> list[tuple[Place, Mapping[str, Any]]]:
    """Return the mappings of a list, or a single one, each with its place."""
    if isinstance(value, Mapping):
        return [((key,), value)]
    listed = value if isinstance(value, (list, tuple)) else ()
    return [((key, index), entry) for index, entry in enumerate(listed) if isinstance(entry, Mapping)]
