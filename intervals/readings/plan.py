"""What one `readings` block asks for, worked out once before its files are read.

In: a site and one of its blocks. Out: `BlockPlan`: zone, time patterns, units, limits, engines. Refuses a time format
that cannot be used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from intervals.problems import Problem, ReadingsProblemError, nearest_of
from intervals.quantities import LOAD_HIGHEST_PCT, unit_conversion
from intervals.readings.columns import ColumnFinder
from intervals.readings.csvhead import CsvOptions
from intervals.readings.openlog import HowWritten
from intervals.readings.rows import Floats, Instants
from intervals.readings.spelling import Spellings
from intervals.readings.stamp_patterns import UNSTATED, Pattern, pattern_of
from intervals.site.model import Site
from intervals.site.sources import CsvFormat, ReadingSource

UNKNOWN = -1
_MOST_NEAREST = 20
_FOREVER_US = np.iinfo(np.int64).max


class Measure(NamedTuple):
    """One quantity of a block: what its figures are worth, and between which they can be true.

    Attributes:
        name: canonical name.
        unit: canonical unit.
        scale: canonical = figure * scale + offset.
        offset: see `scale`.
        lowest: smallest value that can be true.
        highest: largest value that can be true, for each engine of the site.
        limit_text: what the largest value is, in words; an engine's rated power is put in for `{rated}`.
    """

    name: str
    unit: str
    scale: float
    offset: float
    lowest: float
    highest: Floats
    limit_text: str


class EngineNames:
    """Engines by their spelling in files, as `Spellings` finds it.

    Args:
        site: the site with its engines.
        names: engine id by its spelling in the files.
        further: engine id by spellings that count where neither an id nor one of `names` is meant.
        with_components: whether components may stand there too, behind the engines.
    """

    def __init__(
        self, site: Site, names: Mapping[str, str] | None, *, further: Mapping[str, str] | None = None, with_components: bool = False
    ) -> None:
        machines = site.machines if with_components else site.engines
        place = {engine.id: index for index, engine in enumerate(machines)}
        stated, besides = (
            {spelling: place[engine] for spelling, engine in (given or {}).items() if engine in place} for given in (names, further)
        )
        self._own, self._further = Spellings(place | stated), Spellings(besides)
        self._spellings = {engine.id: (engine.id,) for engine in machines}
        for spelling, engine_id in [*(names or {}).items(), *(further or {}).items()]:
            self._spellings[engine_id] = (*self._spellings.get(engine_id, ()), spelling)
        self._nearest: dict[str, str] = {}

    @property
    def spellings(self) -> Mapping[str, tuple[str, ...]]:
        """How each engine may be written, by its id."""
        return self._spellings

    def index(self, name: str) -> int:
        """Return the engine's index in the site, or UNKNOWN."""
        found = self._own.find(name)
        if found is None:
            found = self._further.find(name)
        return UNKNOWN if found is None else found

    def nearest(self, name: str) -> str:
        """Return `; did you mean "x"?` for a name that is no engine's; asked once a name, and not of all those of another site."""
        if name not in self._nearest and name.strip() and len(self._nearest) < _MOST_NEAREST:
            self._nearest[name] = nearest_of(name, [spelling for known in self._spellings.values() for spelling in known])
        return self._nearest.get(name, "")


def names_in_log(site: Site) -> dict[str, str]:
    """Return engine id by its spelling in the log, as the blocks of readings state it; without what two blocks state differently.

    Records and analyses that state no spelling of their own are mostly written by people who know that of the log.
    """
    meant: dict[str, set[str]] = {}
    for source in site.readings:
        for spelling, engine in (source.engine_names or {}).items():
            meant.setdefault(spelling, set()).add(engine)
    return {spelling: min(engines) for spelling, engines in meant.items() if len(engines) == 1}


class BlockPlan(NamedTuple):
    """What is needed to read the files of one block.

    Attributes:
        site: the site.
        source: the block.
        place: the block's place in the site file, such as `$.readings`.
        zone: zone of stamps without offset.
        patterns: what a stamp may look like, nothing where the stated format cannot be used: then no row can be read.
        is_format_stated: the site states the format of stamps.
        names: engines by their spelling.
        measures: the block's quantities.
        finder: finds the block's columns in a header.
        how: what the site states of the files.
        first_us: first moment of each engine, far back where it is not stated.
        end_us: first moment after each engine's time, far away where it is not stated.
        now_us: the clock, or far away; later rows are set aside.
    """

    site: Site
    source: ReadingSource
    place: str
    zone: ZoneInfo
    patterns: tuple[Pattern, ...]
    is_format_stated: bool
    names: EngineNames
    measures: Mapping[str, Measure]
    finder: ColumnFinder
    how: HowWritten
    first_us: Instants
    end_us: Instants
    now_us: int


def plan_blocks(site: Site, now_us: int | None, problems: list[Problem]) -> tuple[BlockPlan, ...]:
    """Return the plans of all blocks of a site.

    Args:
        site: the site.
        now_us: the clock, UTC microseconds, or None.
        problems: to which a time format that cannot be used is added (REA012), of every block.

    Returns:
        One plan a block, in order.
    """
    return tuple(
        _plan_block(site, source, "$.readings" if len(site.readings) == 1 else f"$.readings[{index}]", now_us, problems)
        for index, source in enumerate(site.readings)
    )


def _plan_block(site: Site, source: ReadingSource, place: str, now_us: int | None, problems: list[Problem]) -> BlockPlan:
    """Return the plan of one block."""
    stated = source.timestamp.format
    patterns: tuple[Pattern, ...] = ()
    try:
        patterns = patterns_of(stated, "REA012", site.file, f"{place}.timestamp.format")
    except ReadingsProblemError as error:
        problems.extend(error.problems)
    names = EngineNames(site, source.engine_names)
    return BlockPlan(
        site=site,
        source=source,
        place=place,
        zone=site.zone if source.timestamp.time_zone is None else ZoneInfo(source.timestamp.time_zone),
        patterns=patterns,
        is_format_stated=stated is not None,
        names=names,
        measures=_measures(site, source),
        finder=ColumnFinder(source, names.spellings),
        how=HowWritten(csv_options(source.csv), source.sheet),
        first_us=_moments(site, (engine.in_service for engine in site.engines), -_FOREVER_US),
        end_us=_moments(site, (engine.out_of_service for engine in site.engines), _FOREVER_US),
        now_us=_FOREVER_US if now_us is None else now_us,
    )


def patterns_of(stated: str | None, code: str, file: str, path: str) -> tuple[Pattern, ...]:
    """Return the patterns of stamps: the stated format's, or what is understood without one.

    Raises:
        ReadingsProblemError: the format cannot be used.
    """
    if stated is None:
        return UNSTATED
    try:
        return (pattern_of(stated),)
    except ValueError as error:
        raise ReadingsProblemError([Problem(code, file, None, path, str(error), "write for example %d.%m.%Y %H:%M")]) from None


def csv_options(stated: CsvFormat | None) -> CsvOptions:
    """Return what a site states of its text files; what it does not state is found out from the file."""
    if stated is None:
        return CsvOptions()
    given = {name: getattr(stated, name) for name in stated.model_fields_set}
    return CsvOptions(**given)


def _moments(site: Site, values: Iterable[object], unstated: int) -> Instants:
    """Return instants, and what stands for one that is not stated."""
    return np.array([unstated if value is None else site.instant_us(value) for value in values], dtype=np.int64)  # type: ignore[arg-type]


def _measures(site: Site, source: ReadingSource) -> dict[str, Measure]:
    """Return the quantities of a block, in the order of the site file."""
    measures: dict[str, Measure] = {}
    for name, column in source.quantities.items():
        quantity = site.quantities[name]
        scale, offset = (1.0, 0.0) if column.unit is None else unit_conversion(quantity.unit, column.unit)
        may_be_negative = quantity.kind == "level" and quantity.may_be_negative
        limit = np.inf if quantity.highest is None else quantity.highest
        highest = np.full(len(site.engines), limit)
        limit_text = f"{limit:g} {quantity.unit}"
        if name == "load_kw":
            highest = np.array([engine.rated_kw * LOAD_HIGHEST_PCT / 100 if engine.rated_kw else np.inf for engine in site.engines])
            limit_text = f"{LOAD_HIGHEST_PCT:g} % of the rated {{rated:g}} kW"
        lowest = -np.inf if may_be_negative else 0.0
        measures[name] = Measure(name, quantity.unit, scale, offset, lowest, highest, limit_text)
    return measures
