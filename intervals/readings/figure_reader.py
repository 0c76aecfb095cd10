"""Figures of a file's columns in canonical units; what cannot be read or cannot be is blanked, and becomes a fault.

In: cells of a column, what it measures, the rows with their engines. Out: figures, NaN where there is none, and faults. Refuses a column
of a type that can be no number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from intervals.arrays import Flags, Floats
from intervals.faults import Fault
from intervals.quantities import LARGEST_FIGURE
from intervals.readings.column_values import Cells, figures_of
from intervals.readings.engine_rows import EngineRows
from intervals.readings.parse_numbers import Figures, Marks, with_signal_words
from intervals.readings.plan import Measure
from intervals.site.model import Engine

_MOST_LETTERS_SHOWN = 40


@dataclass(frozen=True)
class FigureReader:
    """Reads the figures of one file.

    Attributes:
        engines: those of the site, in its order.
        name: path of the file below the site folder.
        header: names of the file's columns.
        marks: which mark stands before the decimals.
        faults: what was blanked is added to them.
    """

    engines: Sequence[Engine]
    name: str
    header: tuple[str, ...]
    marks: Marks
    faults: list[Fault]

    def values_of(self, measure: Measure, cells: Cells, place: int, rows: EngineRows) -> Floats:
        """Return a column's figures in canonical units, without what cannot be read or cannot be.

        Args:
            measure: what the column holds.
            cells: the column, one cell for each row of the chunk.
            place: its place in the header.
            rows: the rows with their engines; cells of rows that are not kept are no fault.

        Returns:
            One figure for each of the rows, NaN where there is none.

        Raises:
            ColumnTypeError: the column is of a type that can be no number.
        """
        figures = figures_of(cells, self.marks)
        if figures.odd and measure.is_signal:
            figures = with_signal_words(figures)
        self._odd_cells(measure, figures, place, rows)
        values = figures.values if rows.of is None else figures.values[rows.of]
        if (measure.scale, measure.offset) != (1.0, 0.0):
            # what overflows is infinite, and cannot be
            with np.errstate(over="ignore"):
                values = values * measure.scale + measure.offset
        is_low = np.fmin.reduce(values) < measure.lowest
        # an engine's own limit is asked for where the lowest of them is passed; an unknown one, of which no row is kept, has the last
        if is_low or np.fmax.reduce(values) > measure.highest.min():
            is_high = values > measure.highest[rows.engine]
            if is_low or is_high.any():
                return self._without_impossible(measure, values, rows, is_high)
        return self._signal(measure, values, rows) if measure.is_signal else values

    def _signal(self, measure: Measure, values: Floats, rows: EngineRows) -> Floats:
        """Return the figures of a level without a unit, which are 0 and 1, without any other."""
        odd = rows.is_kept & ~np.isnan(values) & (values != 0) & (values != 1)
        if not odd.any():
            return values
        for row in np.flatnonzero(odd):
            engine = self.engines[rows.engine[row]].id
            text = f"{measure.name} {values[row]:.10g} is neither 0 nor 1, as a signal must be; it is taken as blank; "
            text += "if it is not a signal, state its unit"
            self._fault(engine, "impossible_value", int(rows.line[row]), int(rows.at_us[row]), text)
        return np.where(odd, np.nan, values)

    def _odd_cells(self, measure: Measure, figures: Figures, place: int, rows: EngineRows) -> None:
        """Add a fault for each cell that is no number."""
        for row, text in rows.places_of(figures.odd):
            if not rows.is_kept[row]:
                continue
            is_number = _is_not_finite(text)
            kind = "impossible_value" if is_number else "unreadable_cell"
            what = "is impossible" if is_number else "is not a number"
            said = f'{measure.name} "{cut_text(text)}" in column "{self.header[place].strip()}" {what}; it is taken as blank'
            self._fault(self.engines[rows.engine[row]].id, kind, int(rows.line[row]), int(rows.at_us[row]), said)

    def _without_impossible(self, measure: Measure, values: Floats, rows: EngineRows, is_high: Flags) -> Floats:
        """Return the figures with those that cannot be blanked, each a fault; which are above their engine's limit is known."""
        odd = ((values < measure.lowest) | is_high) & rows.is_kept
        if not odd.any():
            return values
        for row in np.flatnonzero(odd):
            engine = self.engines[rows.engine[row]]
            if abs(values[row]) > LARGEST_FIGURE:
                why = "cannot be"
            else:
                why = f"is above {measure.limit_text.format(rated=engine.rated_kw or 0)}" if is_high[row] else "is below zero"
            text = f"{measure.name} {values[row]:.10g} {measure.unit} {why}; it is taken as blank"
            self._fault(engine.id, "impossible_value", int(rows.line[row]), int(rows.at_us[row]), text)
        return np.where(odd, np.nan, values)

    def _fault(self, engine: str, kind: str, line: int, at_us: int, text: str) -> None:
        """Add a fault of this file."""
        self.faults.append(Fault(engine, kind, self.name, line, at_us, text))


def cut_text(text: str) -> str:
    """Return the beginning of a long text, on one line."""
    text = " ".join(text.split())
    return text if len(text) <= _MOST_LETTERS_SHOWN else text[:_MOST_LETTERS_SHOWN] + "..."


def _is_not_finite(text: str) -> bool:
    """Say whether a text is a number, if not a finite one."""
    try:
        return not np.isfinite(float(text))
    except ValueError:
        return False
