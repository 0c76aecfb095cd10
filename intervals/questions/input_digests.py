"""Digests of what a judgement rests on: every file, every service record, and the log's rows by engine and day.

In: the inputs of a site. Out: SHA-256 digests, so that one can see later what is no longer as it was. Digests of records and
rows are of what was read (values in canonical units), not of how it was written: a file that is renamed or saved with other line
ends still holds the same rows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Literal

import numpy as np

from intervals.addresses import FilePlace, place_of
from intervals.arrays import Floats, Instants
from intervals.documents import Frozen
from intervals.history.inputs import Inputs
from intervals.local_days import LocalDays
from intervals.readings import Analysis, ServiceRecord
from intervals.readings.records.found_grades import MEASURES_FILE

SHORT = 16
_PIECE = 1 << 20
InputKind = Literal["site", "readings", "services", "laboratory", "measures", "rule set"]


class InputFile(Frozen):
    """A file that the judgement rests on, as it was: path below the site folder (of a rule set its name) and digest of its bytes."""

    kind: InputKind
    path: str
    bytes: int
    sha256: str


def input_files(inputs: Inputs) -> tuple[InputFile, ...]:
    """Return every file that the inputs were read from, with the digest of its bytes."""
    return tuple(_files(inputs))


def _files(inputs: Inputs) -> Iterator[InputFile]:
    """Yield the site file, the rule sets, the records, the log."""
    site = inputs.site
    folder = site.folder
    yield _input_file("site", Path(site.file), Path(site.file).name)
    for book in inputs.books.values():
        if book.ruleset.file:
            yield _input_file("rule set", Path(book.ruleset.file), Path(book.ruleset.file).name)
    if (folder / site.services.file).is_file():
        yield _input_file("services", folder / site.services.file, site.services.file)
    if (folder / site.lab.file).is_file():
        yield _input_file("laboratory", folder / site.lab.file, site.lab.file)
    if any(book.asks_found for book in inputs.books.values()) and (folder / MEASURES_FILE).is_file():
        yield _input_file("measures", folder / MEASURES_FILE, MEASURES_FILE.as_posix())
    for name in inputs.readings.files:
        yield _input_file("readings", place_of(folder, name), name)


def _input_file(kind: InputKind, path: FilePlace, shown: str) -> InputFile:
    """Return one file with its size and digest."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
            size += len(piece)
    return InputFile(kind=kind, path=shown, bytes=size, sha256=digest.hexdigest())


def record_digest(record: ServiceRecord) -> str:
    """Return the digest of what a service record says; its place in the file does not count."""
    said = [
        record.engine, record.task, record.at_us, _iso(record.on), record.hour_meter_h, record.outcome, record.until_h,
        _iso(record.until_date), record.approved_by, record.done_by, record.note, record.ref, record.hours_h,
    ]  # fmt: skip
    return hashlib.sha256(json.dumps(said, ensure_ascii=True).encode()).hexdigest()[:SHORT]


def analysis_digest(analysis: Analysis, values: Collection[str]) -> str:
    """Return the digest of what an analysis says; its place in the file does not count.

    Args:
        analysis: the analysis.
        values: names of the values that count.
    """
    counted = sorted((name, value) for name, value in analysis.values.items() if name in values)
    said = [analysis.engine, analysis.kind, analysis.at_us, analysis.result_us, counted]
    return hashlib.sha256(json.dumps(said, ensure_ascii=True).encode()).hexdigest()[:SHORT]


def _iso(day: date | None) -> str | None:
    """Return a date as text."""
    return None if day is None else day.isoformat()


def day_digests(inputs: Inputs, end_us: int) -> dict[str, dict[str, str]]:
    """Return the digest of the log's rows by engine and local day.

    Args:
        inputs: what was read.
        end_us: rows later than this are left out.

    Returns:
        Engine id -> day (ISO) -> digest. A row that is stamped at midnight belongs to the day that it closes.
    """
    found: dict[str, dict[str, hashlib._Hash]] = {}
    for block in inputs.readings.blocks:
        for index, engine in enumerate(inputs.site.engines):
            rows = block.of_engine(index)
            if rows is None:
                continue
            at_us = rows.at_us[: int(rows.at_us.searchsorted(end_us, side="right"))]
            if len(at_us):
                _add_days(found.setdefault(engine.id, {}), at_us, rows.values, inputs.days)
    return {engine: {day: digest.hexdigest()[:SHORT] for day, digest in sorted(days.items())} for engine, days in found.items()}


def place_of_day(inputs: Inputs, engine: str, day: date) -> str:
    """Return the file and the lines in which an engine's rows of one day stand, or nothing where there are none."""
    index = next((number for number, entry in enumerate(inputs.site.engines) if entry.id == engine), len(inputs.site.engines))
    first_us = inputs.days.midnight_us(day)
    last_us = inputs.days.midnight_us(date.fromordinal(day.toordinal() + 1))
    for block in inputs.readings.blocks:
        rows = block.of_engine(index)
        if rows is None:
            continue
        mine = slice(*(int(rows.at_us.searchsorted(edge_us, side="right")) for edge_us in (first_us, last_us)))
        file, line = (column[mine] for column in block.lines_of(index))
        if len(file):
            lines = line[file == file[0]]
            return f"{inputs.readings.files[file[0]]}:{int(lines.min())} to {int(lines.max())}"
    return ""


def _add_days(days_of: dict[str, hashlib._Hash], at_us: Instants, figures: Mapping[str, Floats], days: LocalDays) -> None:
    """Add the first rows of one block and engine to the digests of their days."""
    which = np.searchsorted(days.midnights_us, at_us, side="left")
    starts = np.concatenate(([0], np.flatnonzero(np.diff(which)) + 1, [len(at_us)])).tolist()
    ordered = sorted((name, values[: len(at_us)]) for name, values in figures.items())
    columns = [(name, np.where(np.isnan(values), np.nan, values + 0.0)) for name, values in ordered]
    for first, last in pairwise(starts):
        digest = days_of.setdefault(days.last_day_before(int(at_us[first])).isoformat(), hashlib.sha256())
        digest.update(at_us[first:last].astype("<i8").tobytes())
        for name, values in columns:
            if not np.isnan(values[first:last]).all():
                digest.update(name.encode())
                digest.update(values[first:last].astype("<f8").tobytes())
