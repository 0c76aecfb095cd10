"""Analyses of oil and other fluids: the optional file of what a laboratory found, to `Analysis` values and faults.

In: a site, which says where the file is and what its columns are called, and the values that rules ask for. Out: `Analyses`. Refuses
(codes LAB) a file that the site names and that is not there, missing columns, and dates whose day and month cannot be distinguished.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from intervals.arrays import Instants
from intervals.faults import Fault
from intervals.problems import asked_back
from intervals.readings.files.log_file import Chunk, Wanted, is_empty
from intervals.readings.files.open_log import HowWritten, Stage, open_log
from intervals.readings.parse_numbers import Marks
from intervals.readings.plan import EngineNames, csv_options, names_in_log, record_patterns_of
from intervals.readings.records.record_columns import RecordColumns, Times, find_places, header_score
from intervals.readings.refusals import folder_refusal, refusal
from intervals.readings.times.day_order import DayOrders
from intervals.site.model import Site
from intervals.site.sources import LAB_COLUMNS

_SET_ASIDE = "the analysis is set aside"
_NEEDED = ("at", "engine", "result_at")
_MAY_FALL = ("_change", "_change_pct", "_rise", "_c")
"""Endings of values that may be below zero: what a value became beside the new fluid, and degrees Celsius."""
_WHOLE_PCT = 100.0


class Analysis(NamedTuple):
    """What a laboratory found in one sample of one engine.

    Attributes:
        engine: engine id.
        kind: which analysis it is, as rules name it.
        at_us: when the sample was taken, UTC microseconds (noon where only the day is known).
        result_us: when the result came, UTC microseconds (noon where only the day is known).
        result_is_date: whether only the day of the result is known.
        values: value by name, None where it is blank; only what was asked for.
        file: path below the site folder.
        line: line or row of that file.
        impossible: names of the values that cannot be, and are blank for that; nothing else stands in for them.
        at_is_date: whether only the day of the sample is known.
    """

    engine: str
    kind: str
    at_us: int
    result_us: int
    result_is_date: bool
    values: Mapping[str, float | None]
    file: str
    line: int
    impossible: frozenset[str] = frozenset()
    at_is_date: bool = False

    @property
    def place(self) -> str:
        """Where it stands, as file:line."""
        return f"{self.file}:{self.line}"


@dataclass(frozen=True)
class Analyses:
    """The analyses of a site, in order of the file, and every row set aside and cell blanked."""

    analyses: tuple[Analysis, ...] = ()
    faults: list[Fault] = field(default_factory=list)

    def by_engine(self) -> dict[str, list[Analysis]]:
        """Return the analyses of each engine that has any, in order of the file."""
        found: dict[str, list[Analysis]] = {}
        for each in self.analyses:
            found.setdefault(each.engine, []).append(each)
        return found


def read_lab(site: Site, values: Collection[str], *, now_us: int | None) -> Analyses:
    """Return the analyses of a site.

    Args:
        site: the site.
        values: names of the values that somebody asks for; others are not read.
        now_us: the clock, UTC microseconds: results later than it are set aside; None sets none aside.

    Returns:
        The analyses in order of the file. A site that names no file and has no `lab.csv` has none.

    Raises:
        ReadingsProblemError: the named file is missing (LAB001), cannot be read (LAB002, 005, 006, 013), lacks a column (003) or has
            it twice (004), or its times cannot be read (007, 012, 015).
    """
    source = site.lab
    path = site.folder / source.file
    if path.is_dir():
        raise folder_refusal(source.file, Stage.LAB.code(2), "lab")
    if not path.is_file():
        if "file" not in source.model_fields_set:
            return Analyses()
        raise refusal(
            site.file, "LAB001", f"there is no file {path}", path="$.lab.file", fix="name the file of analyses, or leave lab.file out"
        )
    patterns = record_patterns_of(source.timestamp_format, "LAB012", site.file, "$.lab.timestamp_format")
    needed = _NEEDED if source.kind is not None else (*_NEEDED, "kind")
    columns = {name: source.columns.get(name, name) for name in (*LAB_COLUMNS, *sorted({*values, *source.columns} - set(LAB_COLUMNS)))}
    log = open_log(site.folder, source.file, Stage.LAB, HowWritten(csv_options(source.csv), source.sheet), header_score(columns, needed))
    if is_empty(log.header):
        return Analyses((), [Fault(None, "empty_file", log.name, None, None, "the file holds no analyses")])
    places = find_places(log, columns, needed=needed, mapped=source.columns, stage=Stage.LAB, key="lab")
    figures = [name for name in columns if name not in LAB_COLUMNS and name in places]
    marks = log.marks([places[name] for name in figures]) or Marks()
    orders = DayOrders({log.name: (log, ((places["at"],), (places["result_at"],)))}, patterns, "LAB007", "$.lab.timestamp_format")
    reader = _LabReader(site, RecordColumns(log, places, site.zone, orders, Stage.LAB, marks), figures, now_us)
    words = tuple(places[name] for name in ("engine", "kind") if name in places)
    stamps = (places["at"], places["result_at"])
    for chunk in log.chunks(Wanted(stamps, words, tuple(places[name] for name in figures), is_iso=False, marks=marks)):
        reader.read(chunk)
    reader.faults.sort(key=lambda fault: fault.line or 0)
    return Analyses(tuple(reader.analyses), reader.faults)


class _LabReader:
    """Turns the chunks of the file into analyses."""

    def __init__(self, site: Site, columns: RecordColumns, figures: list[str], now_us: int | None) -> None:
        self._site = site
        self._columns = columns
        self._figures = figures
        self._now_us = now_us
        self._engines = EngineNames(site, site.lab.engine_names, "lab.engine_names", further=names_in_log(site))
        self.analyses: list[Analysis] = []
        self.faults = columns.faults

    def read(self, chunk: Chunk) -> None:
        """Add the analyses of a chunk."""
        columns, name = self._columns, self._columns.log.name
        for line, text in chunk.malformed:
            columns.fault("malformed_row", line, f"{text}; {_SET_ASIDE}")
        if not len(chunk):
            return
        engines = columns.words(chunk, "engine")
        kinds = columns.words(chunk, "kind")
        taken = columns.times(chunk, "at", set_aside=_SET_ASIDE)
        came = columns.times(chunk, "result_at", set_aside=f"{_SET_ASIDE} until its result has come")
        taken_us, came_us = self._instants(taken), self._instants(came)
        values = {figure: columns.figures(chunk, figure, may_be_negative=True) for figure in self._figures}
        for row in np.flatnonzero(taken.is_read & came.is_read).tolist():
            line, meant = int(chunk.line[row]), self._engines.indexes(engines[row])
            if not meant:
                self._unknown_engine(engines[row], line)
                continue
            engine, at_us, result_us = self._site.engines[meant[0]].id, int(taken_us[row]), int(came_us[row])
            on = came.on_day[row]
            if self._now_us is not None and (result_us if on is None else self._site.instant_us(on)) > self._now_us:
                text = f"its result is later than the clock; {_SET_ASIDE}"
                self.faults.append(Fault(engine, "record_in_future", name, line, result_us, text))
                continue
            if result_us < at_us and (on is None or on < self._site.day_of(at_us)):
                text = f"its result came before its sample was taken; {_SET_ASIDE}"
                self.faults.append(Fault(engine, "unreadable_record", name, line, at_us, text))
                continue
            found = {figure: column[row] for figure, column in values.items()}
            impossible = self._blanked(found, engine, line, at_us)
            kind = kinds[row] or self._site.lab.kind or ""
            is_day = taken.on_day[row] is not None
            analysis = Analysis(engine, kind, at_us, max(result_us, at_us), on is not None, found, name, line, impossible, is_day)
            self.analyses += [analysis._replace(engine=self._site.engines[index].id) for index in meant]

    def _unknown_engine(self, name: str, line: int) -> None:
        """Add the fault of an analysis whose engine is declared nowhere, or that names none."""
        if not name:
            self._columns.fault("unreadable_record", line, f"the engine is blank; {_SET_ASIDE}")
            return
        text = f'no engine "{name}" is declared; {_SET_ASIDE}{asked_back(self._engines.nearest(name))}'
        self.faults.append(Fault(None, "unknown_engine", self._columns.log.name, line, None, text, self._engines.spelled(name)))

    def _blanked(self, found: dict[str, float | None], engine: str, line: int, at_us: int) -> frozenset[str]:
        """Blank the values of a row that cannot be, with a fault each, and return their names."""
        said = {name: why for name, value in found.items() if value is not None and (why := _why_impossible(name, value))}
        for name, why in said.items():
            text = f"{name} {found[name]:g} {why}; it is taken as blank"
            self.faults.append(Fault(engine, "impossible_value", self._columns.log.name, line, at_us, text))
            found[name] = None
        return frozenset(said)

    def _instants(self, times: Times) -> Instants:
        """Return the instants of a column; a date alone stands at its noon."""
        at_us = times.at_us.copy()
        for row, on in enumerate(times.on_day):
            if on is not None:
                at_us[row] = self._site.noon_us(on)
        return at_us


def _why_impossible(name: str, value: float) -> str | None:
    """Return why a laboratory cannot have found a value, None where it can."""
    is_change = name.endswith(_MAY_FALL)
    if not is_change and value < 0:
        return "is below zero"
    if name.endswith("_change_pct"):
        return "takes away more than there was" if value < -_WHOLE_PCT else None
    if not is_change and name.removesuffix("_new").endswith("_pct") and value > _WHOLE_PCT:
        return "is more than the whole"
    return None
