"""What reading yields: accepted rows in canonical quantities and units, faults, and the count of file rows.

In: nothing. Out: `Readings` and `BlockRows`, arrays that take some 12 bytes a row and 8 a figure; `BlockRows.frame` shows them to
people.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from intervals.arrays import Floats, Instants
from intervals.faults import Fault
from intervals.readings.block_parts import FILE, LINE, TIME, Name, PartedRows, Stretch, put_together

if TYPE_CHECKING:
    import pandas as pd

    from intervals.site.model import ReadingSource, Site

Indexes = NDArray[np.int32]


class EngineRows(NamedTuple):
    """The rows of one engine in one block, strictly rising in time.

    Attributes:
        at_us: the stamp, UTC microseconds since 1970.
        values: canonical quantity to figures in its canonical unit, NaN where the cell is blank.
        place: of a row, given by its number among these, the file's path below the site folder and the line.
    """

    at_us: Instants
    values: dict[str, Floats]
    place: Callable[[int], tuple[str, int]]


@dataclass(frozen=True)
class BlockRows:
    """The accepted rows of one `readings` block; no engine has two rows at one time.

    They are kept as they came and put together for one engine at a time. The whole columns are for people who look at a log.

    Attributes:
        source: the block of the site file.
        rows: the rows.
        quantities: the canonical quantities of which they have figures.
        files: path of each file below the site folder, in order of name; the same as `Readings.files`.
        before_us: of an engine only rows before this instant are given, as if no later ones had come yet; None: all.
    """

    source: ReadingSource
    rows: PartedRows
    quantities: tuple[str, ...]
    files: tuple[str, ...] = ()
    before_us: int | None = None

    def __len__(self) -> int:
        """Return the number of rows (a wide file row gives one for each engine)."""
        return int(self.rows.counts.sum())

    def of_engine(self, engine: int) -> EngineRows | None:
        """Return the rows of an engine, given by its index in the site, or None where it has none."""
        stretches = self.rows.of_engine(engine)
        if not stretches:
            return None
        at_us = put_together(TIME, stretches)
        count = len(at_us) if self.before_us is None else int(at_us.searchsorted(self.before_us))
        if not count:
            return None
        values = {name: put_together(name, stretches)[:count] for name in self.quantities}
        return EngineRows(at_us[:count], values, partial(_place, stretches, self.files))

    def lines_of(self, engine: int) -> tuple[Indexes, Indexes]:
        """Return the index of the file and the line of each row of an engine that has any."""
        stretches = self.rows.of_engine(engine)
        return put_together(FILE, stretches), put_together(LINE, stretches)

    @cached_property
    def engine(self) -> Indexes:
        """The engine of each row, sorted by it, then time: index into `site.engines`."""
        return np.repeat(np.arange(len(self.rows.counts), dtype=np.int32), self.rows.counts)

    @cached_property
    def at_us(self) -> Instants:
        """The stamp of each row, UTC microseconds since 1970."""
        return self._whole(TIME, np.int64)

    @cached_property
    def file(self) -> Indexes:
        """The file of each row: index into `files`."""
        return self._whole(FILE, np.int32)

    @cached_property
    def line(self) -> Indexes:
        """The line of a text file, row of a sheet, or row of a Parquet file from 1 of each row."""
        return self._whole(LINE, np.int32)

    @cached_property
    def values(self) -> Mapping[str, Floats]:
        """Canonical quantity to figures in its canonical unit, NaN where the cell is blank."""
        return {name: self._whole(name, np.float64) for name in self.quantities}

    def _whole(self, name: Name, kind: type[np.generic]) -> NDArray[Any]:
        """Return a column of all rows, sorted by engine, then time."""
        stretches = [stretch for engine in np.flatnonzero(self.rows.counts).tolist() for stretch in self.rows.of_engine(engine)]
        return put_together(name, stretches) if stretches else np.zeros(0, dtype=kind)

    def frame(self, site: Site) -> pd.DataFrame:
        """Return the rows as a pandas frame, for people to look at, filter and draw.

        Args:
            site: the site that the rows were read for.

        Returns:
            Columns engine (id, categorical), at (site's local time with offset), one column a quantity in its canonical
            unit, file (path below the site folder, categorical) and line; sorted by engine, then time.
        """
        import pandas as pd  # noqa: PLC0415 - pandas is loaded only by those who ask for a frame

        columns: dict[str, object] = {
            "engine": pd.Categorical.from_codes(self.engine, categories=pd.Index([engine.id for engine in site.engines])),
            "at": pd.to_datetime(self.at_us, unit="us", utc=True).tz_convert(site.zone),
        }
        columns.update(self.values)
        columns["file"] = pd.Categorical.from_codes(self.file, categories=pd.Index(list(self.files)))
        columns["line"] = self.line
        return pd.DataFrame(columns)


def _place(stretches: Sequence[Stretch], files: Sequence[str], row: int) -> tuple[str, int]:
    """Return file and line of a row, given by its number in some stretches."""
    for stretch in stretches:
        if row < stretch.stop - stretch.start:
            return files[int(stretch.cell(FILE, row))], int(stretch.cell(LINE, row))
        row -= stretch.stop - stretch.start
    raise IndexError(row)


@dataclass(frozen=True)
class Readings:
    """Everything that was read of a site's operating log.

    Attributes:
        blocks: one `BlockRows` for each `readings` block, in the order of the site file.
        faults: every row set aside and every cell blanked, in order of file and line.
        rows_read: rows in the files; a wide row counts once, blank and comment lines do not count.
        rows_accepted: rows of which at least one engine's reading is kept.
        rows_set_aside: rows of which nothing is kept; `rows_read` = `rows_accepted` + `rows_set_aside`.
        files: path of each file below the site folder, in order of name.
        digests: digest of the rows of each engine as the files have them, with their places; none where nothing is kept for later runs.
        look_again: holds rows of some engines (None: of all) that are kept from an earlier run against their digests, and returns None, or
            the readings read anew where they are not as they were; None where all rows are what was just read.
    """

    blocks: tuple[BlockRows, ...]
    faults: list[Fault] = field(default_factory=list)
    rows_read: int = 0
    rows_accepted: int = 0
    rows_set_aside: int = 0
    files: tuple[str, ...] = ()
    digests: tuple[bytes, ...] = ()
    look_again: Callable[[Collection[int] | None], Readings | None] | None = None

    def confirmed(self, engines: Collection[int] | None = None) -> Readings:
        """Return readings of which the rows of some engines, by their indexes, are sure to be what the files hold.

        Args:
            engines: whose rows are asked for; None: of all.
        """
        if self.look_again is None:
            return self
        return self.look_again(engines) or (self if engines is not None else replace(self, look_again=None))

    def of_engines(self, engines: Sequence[int]) -> Readings:
        """Return the rows of some engines, given by their indexes, rising; without faults and counts."""
        blocks = tuple(replace(block, rows=block.rows.only(engines)) for block in self.blocks)
        return Readings(blocks, files=self.files)

    def before(self, instant_us: int) -> Readings:
        """Return the readings as if none from an instant on had come yet."""
        return replace(self, blocks=tuple(replace(block, before_us=instant_us) for block in self.blocks))

    def without_sources(self) -> Readings:
        """Return the readings without the blocks of the site file, which whoever they are sent to has."""
        return self.with_sources((None,) * len(self.blocks))

    def with_sources(self, sources: Sequence[ReadingSource | None]) -> Readings:
        """Return the readings with these blocks of the site file."""
        pairs = zip(self.blocks, sources, strict=True)
        return replace(self, blocks=tuple(replace(block, source=source) for block, source in pairs))  # type: ignore[arg-type]  # put back
