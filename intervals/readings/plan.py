"""What one `readings` block asks for, worked out once before its files are read.

In: a site and one of its blocks. Out: `BlockPlan`: zone, time patterns, units, limits, engines. Refuses a time format
that cannot be used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from intervals.arrays import Floats, Instants
from intervals.faults import Spelled
from intervals.problems import Problem, ReadingsProblemError, clearly_nearest
from intervals.quantities import LARGEST_FIGURE, LOAD_HIGHEST_PCT, unit_conversion
from intervals.readings.files.csv_head import CsvOptions
from intervals.readings.files.open_log import HowWritten
from intervals.readings.found_columns import ColumnFinder
from intervals.readings.spelling import Spellings
from intervals.readings.times.stamp_patterns import CLEAR, UNSTATED, Pattern, dated_pattern_of, pattern_of
from intervals.site.model import Site
from intervals.site.sources import ALL, CsvFormat, ReadingSource

Engines = tuple[int, ...]
"""Indexes of engines in the site."""
NamesByWord = Mapping[str, str | tuple[str, ...]]
UNKNOWN = -1
MOST_NEAREST = 20
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
        is_signal: a level without a unit, which is 0 or 1.
    """

    name: str
    unit: str
    scale: float
    offset: float
    lowest: float
    highest: Floats
    limit_text: str
    is_signal: bool = False


class EngineNames:
    """Engines by their spelling in files, as `Spellings` finds it; a spelling may stand for several.

    Args:
        site: the site with its engines.
        names: engine id, several of them, or all, by its spelling in the files.
        key: where the site file states them, such as `services.engine_names`.
        further: the same by spellings that count where neither an id nor one of `names` is meant.
        with_components: whether components may stand there too, behind the engines.
    """

    def __init__(
        self,
        site: Site,
        names: NamesByWord | None,
        key: str,
        *,
        further: NamesByWord | None = None,
        with_components: bool = False,
    ) -> None:
        self._key = key
        judged = site.judged_units if with_components else site.engines
        self._place = {engine.id: index for index, engine in enumerate(judged)}
        self._all = tuple(range(len(site.engines)))
        own: dict[str, Engines] = {engine: (index,) for engine, index in self._place.items()}
        stated, besides = (
            {spelling: places for spelling, word in (given or {}).items() if (places := self._places_of(word))}
            for given in (names, further)
        )
        self._own, self._further = Spellings(own | stated), Spellings(besides)
        self._spellings: dict[str, tuple[str, ...]] = {engine.id: (engine.id,) for engine in judged}
        self._meant: dict[str, str] = {engine.id: engine.id for engine in judged}
        for spelling, places in [*stated.items(), *besides.items()]:
            word = (names or {}).get(spelling) or (further or {}).get(spelling, "")
            self._meant.setdefault(spelling, word if isinstance(word, str) else f"[{', '.join(word)}]")
            for index in places:
                engine_id = judged[index].id
                self._spellings[engine_id] = (*self._spellings[engine_id], spelling)
        self._nearest: dict[str, str] = {}
        self.of_several = any(len(places) > 1 for places in [*stated.values(), *besides.values()])
        self._known = (*self._place, ALL) if len(self._all) > 1 and ALL not in self._place else tuple(self._place)

    def _places_of(self, word: str | tuple[str, ...]) -> Engines:
        """Return the engines that an id, several of them, or the word for all stand for, each once, in the site's order."""
        if word == ALL and ALL not in self._place:
            return self._all
        ids = (word,) if isinstance(word, str) else word
        return tuple(sorted({self._place[engine] for engine in ids if engine in self._place}))

    @property
    def spellings(self) -> Mapping[str, tuple[str, ...]]:
        """How each engine may be written, by its id."""
        return self._spellings

    def indexes(self, name: str) -> Engines:
        """Return the indexes in the site of the engines that a name stands for; none where it stands for none."""
        found = self._own.find(name)
        return (self._further.find(name) if found is None else found) or ()

    def index(self, name: str) -> int:
        """Return the index in the site of the first engine that a name stands for, or UNKNOWN."""
        return next(iter(self.indexes(name)), UNKNOWN)

    def stated(self, words: str | tuple[str, ...] | None) -> Engines:
        """Return the engines of what a site states of whole files: a name, several, or all."""
        if words is None:
            return ()
        if words == ALL:
            return self.indexes(ALL) or self._all
        names = (words,) if isinstance(words, str) else words
        return tuple(sorted({index for name in names for index in self.indexes(name)}))

    def nearest(self, name: str) -> str:
        """Return the spelling that must be meant by a name that is no engine's, or nothing.

        It is asked once a name, and not of all those of another site.
        """
        if name not in self._nearest and name.strip() and len(self._nearest) < MOST_NEAREST:
            self._nearest[name] = clearly_nearest(name, self._meant) or ""
        return self._nearest.get(name, "")

    def spelled(self, name: str) -> Spelled:
        """Return what a name that is no engine's is of, and what may be meant by it, to be reported once for all of its rows."""
        return Spelled(self._key, name.strip(), self._meant.get(self.nearest(name), ""), self._known)


def names_in_log(site: Site) -> dict[str, str | tuple[str, ...]]:
    """Return engines by their spelling in the log, as the blocks of readings state it; without what two blocks state differently.

    Records and analyses that state no spelling of their own are mostly written by people who know that of the log.
    """
    meant: dict[str, set[str | tuple[str, ...]]] = {}
    for source in site.readings:
        for spelling, engines in (source.engine_names or {}).items():
            meant.setdefault(spelling, set()).add(engines)
    return {spelling: next(iter(engines)) for spelling, engines in meant.items() if len(engines) == 1}


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
    names = EngineNames(site, source.engine_names, f"{place.removeprefix('$.')}.engine_names")
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


def record_patterns_of(stated: str | None, code: str, file: str, path: str) -> tuple[Pattern, ...]:
    """Return the patterns of times that people write: in the stated order of day and month, as a date alone too, or in no doubt.

    Who keeps records writes the day, and the hour where it matters: a stated format says how to read a date and refuses no other.

    Raises:
        ReadingsProblemError: the format cannot be used.
    """
    patterns = patterns_of(stated, code, file, path)
    if stated is None:
        return patterns
    dated = dated_pattern_of(stated)
    return (*patterns, *(() if dated is None else (dated,)), *CLEAR)


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
        highest = np.full(len(site.engines), quantity.highest)
        limit_text = f"{quantity.highest:g} {quantity.unit}"
        if name == "load_kw":
            rated = [engine.rated_kw * LOAD_HIGHEST_PCT / 100 if engine.rated_kw else LARGEST_FIGURE for engine in site.engines]
            highest = np.array(rated)
            limit_text = f"{LOAD_HIGHEST_PCT:g} % of the rated {{rated:g}} kW"
        is_signal = quantity.kind == "level" and not quantity.unit
        measures[name] = Measure(name, quantity.unit, scale, offset, quantity.lowest, highest, limit_text, is_signal)
    return measures
