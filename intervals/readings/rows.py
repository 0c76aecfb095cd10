"""What reading yields: accepted rows in canonical quantities and units, faults, and the count of file rows.

In: nothing. Out: `Readings` and `BlockRows`, plain arrays that take some 50 bytes a row; `BlockRows.frame` shows them to people.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from intervals.faults import Fault
from intervals.readings.parts import PartedColumns

if TYPE_CHECKING:
    import pandas as pd

    from intervals.site.model import ReadingSource, Site

Floats = NDArray[np.float64]
Instants = NDArray[np.int64]
Indexes = NDArray[np.int32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class BlockRows:
    """The accepted rows of one `readings` block, sorted by engine, then time; no engine has two rows at one time.

    Attributes:
        source: the block of the site file.
        engine: index into `site.engines`.
        at_us: the stamp, UTC microseconds since 1970.
        file: index into `files`.
        line: line of a text file, row of a sheet, or row of a Parquet file from 1.
        values: canonical quantity to figures in its canonical unit, NaN where the cell is blank.
        files: path of each file below the site folder, in order of name; the same as `Readings.files`.
    """

    source: ReadingSource
    engine: Indexes
    at_us: Instants
    file: Indexes
    line: Indexes
    values: Mapping[str, Floats]
    files: tuple[str, ...] = ()

    def __len__(self) -> int:
        """Return the number of rows (a wide file row gives one for each engine)."""
        return len(self.engine)

    def rows_of(self, engine: int) -> slice:
        """Return which rows are those of an engine, given by its index."""
        # a number of the array's own type: any other makes a copy of the whole array
        own = self.engine.dtype.type(engine)
        return slice(int(np.searchsorted(self.engine, own, side="left")), int(np.searchsorted(self.engine, own, side="right")))

    def figures_of(self, engine: int) -> dict[str, Floats]:
        """Return the figures of an engine, given by its index: without putting whole columns together for them."""
        rows = self.rows_of(engine)
        if isinstance(self.values, PartedColumns):
            return self.values.of_engine(engine, rows)
        return {name: column[rows] for name, column in self.values.items()}

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
    """

    blocks: tuple[BlockRows, ...]
    faults: list[Fault] = field(default_factory=list)
    rows_read: int = 0
    rows_accepted: int = 0
    rows_set_aside: int = 0
    files: tuple[str, ...] = ()
