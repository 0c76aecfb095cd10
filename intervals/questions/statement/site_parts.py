"""What of `site.yaml` counted in a month, digested part by part, so that one can see later which part is no longer as it was.

In: a site, the engines that were judged, the end of the month. Out: `SiteParts`: names of parts, each with the digest of what it said; and
what differs between two of them. What only plans or names things (titles, notes, crews, blackouts) does not count, nor does what is dated
after the month. Comparisons are of equality only.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from pydantic import BaseModel

from intervals.documents import Frozen
from intervals.questions.input_digests import SHORT
from intervals.site.components import Component
from intervals.site.engines import Engine
from intervals.site.model import Site

_UNCOUNTED = frozenset({"id", "title", "notes", "card"})
"""What an engine states that changes no judgement."""
_DATED = frozenset({"meter_changes", "laid_up", "out_of_service", "fitted"})
_TERMS_OF_SITE = ("time_zone", "services", "lab", "holidays", "records_from", "running_when", "oil_density_kg_per_l", "one_job")


class SiteParts(Frozen):
    """The parts of a site file that counted.

    Attributes:
        events: what happened up to the month's end: meter changes, lay-ups, fittings, planned times, ends of service.
        terms: what holds without a date: how files read, what each engine states.
    """

    events: dict[str, str]
    terms: dict[str, str]


class PartChanges(NamedTuple):
    """What differs between the parts stated and those there now.

    Attributes:
        counted: parts that were changed or taken away, and events that were added into the month or before it.
        added: terms that were not stated then.
    """

    counted: tuple[str, ...]
    added: tuple[str, ...]


def site_parts(site: Site, engines: Collection[str], end_us: int) -> SiteParts:
    """Return the parts of a site that counted.

    Args:
        site: the site.
        engines: ids of the engines and components that were judged.
        end_us: the end of the month; what is dated at it or later is left out.
    """
    events: dict[str, str] = {}
    terms = {f"{key} of the site": _digest(value) for key, value in _dumped(site, _TERMS_OF_SITE).items()}
    terms |= {f"readings block {number}": _digest(_plain(block)) for number, block in enumerate(site.readings, start=1)}
    components = [each for each in site.components if each.id in engines]
    read = {*engines, *(fitting.engine for each in components for fitting in each.fitted)}
    for engine in site.engines:
        if engine.id in read:
            events |= _numbered(_engine_events(site, engine, end_us))
            terms |= _terms_of(engine)
    for component in components:
        events |= _numbered(_component_events(site, component, end_us))
        terms |= _terms_of(component)
    for name, times in site.planned.items():
        told = (each for each in times if site.instant_us(each.at) < end_us and each.engine in {None, *read})
        events |= _numbered((f"planned {name} {_day(each.at)}", _plain(each)) for each in told)
    return SiteParts(events=events, terms=terms)


def part_changes(was: SiteParts | None, now: SiteParts | None) -> PartChanges:
    """Return what differs; nothing where a statement of a former version says no parts.

    Args:
        was: as stated.
        now: as it is.
    """
    if was is None or now is None:
        return PartChanges((), ())
    counted = [*_changed(was.events, now.events), *(f"{name} was added later" for name in now.events if name not in was.events)]
    counted += _changed(was.terms, now.terms)
    added = tuple(f"site.yaml: {name} was not stated then" for name in now.terms if name not in was.terms)
    return PartChanges(tuple(f"site.yaml: {text}" for text in counted), added)


def _changed(was: Mapping[str, str], now: Mapping[str, str]) -> Iterator[str]:
    """Yield the parts that were changed or taken away."""
    for name, digest in was.items():
        if name not in now:
            yield f"{name} was taken away"
        elif now[name] != digest:
            yield f"{name} was changed"


def _engine_events(site: Site, engine: Engine, end_us: int) -> Iterator[tuple[str, object]]:
    """Yield what happened to an engine before an instant."""
    for change in engine.meter_changes:
        if site.instant_us(change.at) < end_us:
            yield f"meter change of {engine.id} on {_day(change.at)}", _plain(change)
    for lay_up in engine.laid_up:
        if site.instant_us(lay_up.from_) < end_us:
            # the day on which it is to run again may be put off: it counts once it has come
            to = lay_up.to.isoformat() if site.instant_us(lay_up.to) < end_us else None
            yield f"lay-up of {engine.id} from {_day(lay_up.from_)}", [lay_up.from_.isoformat(), to]
    yield from _end_of_service(site, engine, end_us)


def _component_events(site: Site, component: Component, end_us: int) -> Iterator[tuple[str, object]]:
    """Yield where a component was fitted before an instant."""
    for fitting in component.fitted:
        if site.instant_us(fitting.from_) < end_us:
            said = _plain(fitting)
            if fitting.to is not None and site.instant_us(fitting.to) >= end_us:
                said.pop("to")
            yield f"fitting of {component.id} on {_day(fitting.from_)}", said
    yield from _end_of_service(site, component, end_us)


def _end_of_service(site: Site, unit: Engine | Component, end_us: int) -> Iterator[tuple[str, object]]:
    """Yield the end of service, if it had come."""
    if unit.out_of_service is not None and site.instant_us(unit.out_of_service) < end_us:
        yield f"out_of_service of {unit.id}", unit.out_of_service.isoformat()


def _terms_of(unit: Engine | Component) -> dict[str, str]:
    """Return what an engine or component states without a date, each key by itself and each attribute too."""
    said = {key: value for key, value in _plain(unit).items() if key not in _UNCOUNTED | _DATED}
    attributes = said.pop("attributes", {})
    terms = {f"{key} of {unit.id}": _digest(value) for key, value in said.items()}
    return terms | {f"attribute {key} of {unit.id}": _digest(value) for key, value in attributes.items()}


def _numbered(events: Iterable[tuple[str, object]]) -> dict[str, str]:
    """Return the digest of each event by its name; those of one name are numbered."""
    found: dict[str, str] = {}
    for name, said in events:
        number = 1 + sum(each == name or each.startswith(f"{name} (") for each in found)
        found[name if number == 1 else f"{name} ({number})"] = _digest(said)
    return found


def _dumped(site: Site, keys: Collection[str]) -> dict[str, Any]:
    """Return some keys of a site as plain data, as far as they are stated."""
    return site.model_dump(mode="json", by_alias=True, include=set(keys), exclude_defaults=True)


def _plain(entry: BaseModel) -> dict[str, Any]:
    """Return an entry as plain data; a key that is not stated, or that a later version adds, is not in it."""
    return entry.model_dump(mode="json", by_alias=True, exclude_defaults=True)


def _digest(said: object) -> str:
    """Return the digest of what a part says."""
    return hashlib.sha256(json.dumps(said, sort_keys=True, ensure_ascii=True).encode("ascii")).hexdigest()[:SHORT]


def _day(at: date | datetime) -> str:
    """Return a moment as a name shows it."""
    return at.isoformat()
