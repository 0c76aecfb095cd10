"""What concerns several entries of a site file at once: ids, references, dates that contradict one another.

In: a site's plain data, as it was read, whether or not its fields are right. Out: flaws, so that they are reported
together with those of single fields. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from itertools import pairwise
from typing import Any, TypeGuard
from zoneinfo import ZoneInfo

from intervals.language.conditions import STANDARD_FACTS, Condition, comparisons_of
from intervals.language.flaws import Flaw, FlawsError
from intervals.language.measures import is_window_measure
from intervals.language.plain_values import moment_of
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.problems import nearest_of
from intervals.quantities import QUANTITIES
from intervals.site.component_checks import check_components
from intervals.site.local_times import doubt_of
from intervals.site.planned import check_planned, planned_moments_in
from intervals.site.source_checks import check_names, check_outcomes, check_source, word_of
from intervals.site.stop_terms import check_stop_terms

Entries = list[tuple[int, Mapping[str, Any]]]
Place = tuple[str | int, ...]
_A_PAIR = 2
_SWAPPED = "look whether the two are swapped"


def entries_of(value: object) -> Entries:
    """Return the mappings of a list, or of a single one, with their positions."""
    listed = value if isinstance(value, (list, tuple)) else [value]
    return [(index, entry) for index, entry in enumerate(listed) if isinstance(entry, Mapping)]


def _placed(key: str, value: object) -> list[tuple[Place, Mapping[str, Any]]]:
    """Return the mappings of a list, or a single one, each with its place."""
    if value is None:
        return []
    is_list = isinstance(value, (list, tuple))
    return [((key, index) if is_list else (key,), entry) for index, entry in entries_of(value)]


def check_site(data: Mapping[str, Any]) -> list[Flaw]:
    """Return all that is wrong between the entries of a site file.

    Args:
        data: the site's plain data; entries that are not what they should be are passed over.

    Returns:
        Flaws with places from the document's top.
    """
    engines = entries_of(data.get("engines"))
    sources = _placed("readings", data.get("readings"))
    ids = [word_of(engine["id"]) for _, engine in engines if engine.get("id") is not None]
    declared = _declared([source for _, source in sources])
    flaws = [*_check_ids(engines), *_check_running(data.get("running_when"), declared)]
    for index, engine in engines:
        flaws.extend(flaw.below("engines", index) for flaw in _check_engine(engine, declared))
    for place, source in sources:
        flaws.extend(flaw.below(*place) for flaw in check_source(source, ids, declared))
    flaws.extend(check_components(data, ids))
    flaws.extend(_check_clock(data))
    flaws.extend(_check_jobs(data.get("one_job")))
    parts = [word_of(entry["id"]) for _, entry in entries_of(data.get("components")) if entry.get("id") is not None]
    flaws.extend(check_planned(data, [*ids, *parts]))
    flaws.extend(check_stop_terms(data, [*ids, *parts]))
    for key in ("services", "lab"):
        records = data.get(key)
        if isinstance(records, Mapping):
            flaws.extend(flaw.below(key) for flaw in check_names(records.get("engine_names"), [*ids, *parts]))
            flaws.extend(flaw.below(key) for flaw in check_outcomes(records.get("outcome_names")))
    return flaws


def _declared(sources: list[Mapping[str, Any]]) -> dict[str, tuple[str, str | None]]:
    """Return kind and unit of every quantity: the canonical ones, and the first declaration of the site's own."""
    known: dict[str, tuple[str, str | None]] = {name: (quantity.kind, quantity.unit) for name, quantity in QUANTITIES.items()}
    for source in sources:
        for name, column in (source.get("quantities") or {}).items() if isinstance(source.get("quantities"), Mapping) else ():
            if isinstance(column, Mapping) and isinstance(column.get("kind"), str):
                unit = column.get("unit")
                known.setdefault(name, (column["kind"], word_of(unit) if isinstance(unit, (str, int, float)) else None))
    return known


def _check_ids(engines: Entries) -> Iterator[Flaw]:
    """Yield a flaw for each engine whose id was there before."""
    seen: dict[str, int] = {}
    for index, engine in engines:
        if engine.get("id") is None:
            continue
        engine_id = word_of(engine["id"])
        if engine_id in seen:
            text = f'two engines with the id "{engine_id}"; the first one is engines[{seen[engine_id]}]'
            yield Flaw(("engines", index, "id"), text, "rename one of them; an exchange unit is an engine of its own", "duplicate")
        seen.setdefault(engine_id, index)


def _check_engine(engine: Mapping[str, Any], declared: Mapping[str, tuple[str, str | None]]) -> Iterator[Flaw]:
    """Yield flaws of one engine."""
    yield from (flaw.below("running_when") for flaw in _check_running(engine.get("running_when"), declared, ()))
    for counter in engine.get("at_start") or {} if isinstance(engine.get("at_start"), Mapping) else ():
        if counter == "hour_meter_h":
            yield Flaw(("at_start", counter), "the hour meter has a key of its own", "write meter_at_start_h", "declaration")
        elif declared.get(counter, ("", None))[0] != "counter":
            counters = [name for name, (kind, _) in declared.items() if kind == "counter" and name != "hour_meter_h"]
            text = f'"{counter}" is not a counter of this site{nearest_of(str(counter), counters)}'
            yield Flaw(("at_start", counter), text, f"counters: {', '.join(counters)}", "declaration")
    for name in engine.get("attributes") or {} if isinstance(engine.get("attributes"), Mapping) else ():
        if name in STANDARD_FACTS or name in declared or is_window_measure(name):
            has_key = name in STANDARD_FACTS and name not in ("engine", "kind")
            fix = f"write {name} beside id" if has_key else "give the attribute another name"
            yield Flaw(("attributes", name), f'"{name}" means something else to a rule', fix, "attribute")
    yield from _check_times(engine)


def _day(value: object) -> str | None:
    """Return the day of a date or time as text that sorts; None where it is neither."""
    text = value.isoformat() if isinstance(value, date) else value
    try:
        return date.fromisoformat(text[:10]).isoformat() if isinstance(text, str) else None
    except ValueError:
        return None


def _check_times(engine: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of dates that contradict one another."""
    start, end = _day(engine.get("in_service")), _day(engine.get("out_of_service"))
    if start and end and end <= start:
        yield Flaw(("out_of_service",), f"out of service on {end}, in service from {start}", _SWAPPED, "contradiction")
    yield from _check_stays(engine.get("laid_up"))
    yield from _check_rolls(engine)
    seen: set[str] = set()
    for place, change in _placed("meter_changes", engine.get("meter_changes")):
        at = str(change.get("at"))
        if at in seen:
            yield Flaw((*place, "at"), f"two meter changes at {at}", "remove one of them", "contradiction")
        seen.add(at)


def _check_rolls(engine: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of readings that a meter which starts again at zero cannot show."""
    rolls_over_at_h = engine.get("meter_rolls_over_at_h")
    if not _is_number(rolls_over_at_h):
        return
    changes = _placed("meter_changes", engine.get("meter_changes"))
    shown: list[tuple[Place, object]] = [(("meter_at_start_h",), engine.get("meter_at_start_h"))]
    shown += [((*place, key), change.get(key)) for place, change in changes for key in ("old_read_h", "new_read_h")]
    for place, reading_h in shown:
        if _is_number(reading_h) and reading_h >= rolls_over_at_h:
            text = f"a reading below meter_rolls_over_at_h, {shown_value(rolls_over_at_h)}, is needed; got {shown_value(reading_h)}"
            yield Flaw(place, text, "correct the one or the other", "contradiction")


def _is_number(value: object) -> TypeGuard[float]:
    """Say whether a value is a number as it was read."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def moments_of(data: Mapping[str, Any]) -> Iterator[tuple[Place, object]]:
    """Yield every value of a site file that may be a time of day at the site, with its place."""
    yield ("records_from",), data.get("records_from")
    yield from planned_moments_in(data)
    judged = [entry for key in ("engines", "components") for entry in _placed(key, data.get(key))]
    for place, unit in judged:
        yield from (((*place, key), unit.get(key)) for key in ("in_service", "records_from", "out_of_service"))
        for inner, keys in (("meter_changes", ("at",)), ("fitted", ("from", "to"))):
            for below, entry in _placed(inner, unit.get(inner)):
                yield from (((*place, *below, key), entry.get(key)) for key in keys)


def _check_clock(data: Mapping[str, Any]) -> Iterator[Flaw]:
    """Yield flaws of local times that name no instant, or two; of one with an offset there is no doubt."""
    try:
        zone = ZoneInfo(word_of(data.get("time_zone")).strip())
    except (OSError, ValueError, KeyError):
        return
    for place, value in moments_of(data):
        try:
            at = moment_of(value) if value is not None else None
        except FlawsError:
            continue
        doubt = doubt_of(at, zone) if isinstance(at, datetime) else None
        if doubt is not None:
            yield Flaw(place, doubt.text, doubt.fix, "clock")


def _check_jobs(groups: object) -> Iterator[Flaw]:
    """Yield a flaw for each group of `one_job` that does not name two tasks."""
    for index, group in enumerate(groups if isinstance(groups, (list, tuple)) else ()):
        if isinstance(group, (list, tuple)) and group and len({str(word) for word in group}) < _A_PAIR:
            text = "a job of one task alone; two tasks or more are needed, each as set.task"
            yield Flaw(("one_job", index), text, "add the task of the other rule set, or leave the entry out", "range")


def _check_stays(laid_up: object) -> Iterator[Flaw]:
    """Yield flaws of lay-ups that end before they begin, or overlap."""
    stays: list[tuple[str, str, Place]] = []
    for place, stay in _placed("laid_up", laid_up):
        first, last = _day(stay.get("from")), _day(stay.get("to"))
        if first and last and last < first:
            yield Flaw(place, f"laid up to {last}, from {first}", _SWAPPED, "contradiction")
        elif first and last:
            stays.append((first, last, place))
    stays.sort(key=lambda stay: stay[0])
    for earlier, later in pairwise(stays):
        if later[0] <= earlier[1]:
            text = f"laid up from {later[0]}, while another lay-up lasts from {earlier[0]} to {earlier[1]}"
            yield Flaw(later[2], text, "write one entry for both", "contradiction")


def _check_running(
    raw: object, declared: Mapping[str, tuple[str, str | None]], place: tuple[str, ...] = ("running_when",)
) -> Iterator[Flaw]:
    """Yield flaws of a condition for running that asks for anything but levels."""
    if raw is None:
        return
    try:
        condition = raw if isinstance(raw, Condition) else parse_condition(raw, {})
    except FlawsError:
        return
    levels = [name for name, (kind, _) in declared.items() if kind == "level"]
    for comparison in comparisons_of(condition):
        if comparison.name not in levels:
            text = f'"{comparison.name}" is not a level of this site{nearest_of(comparison.name, levels)}'
            yield Flaw((*place, comparison.name), text, f"levels: {', '.join(levels)}", "asks_wrongly")
