"""Whole lines of a text file to columns at once: of the types that they should have, or of text.

In: the bytes of some lines. Out: a table, or None where these lines need a slower way. Refuses nothing.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from intervals.readings.arrow_arrays import row_column, text_column
from intervals.readings.column_values import is_blank
from intervals.readings.files.csv_head import CsvShape
from intervals.readings.files.csv_lines import misfit, record_at
from intervals.readings.files.log_file import Wanted
from intervals.readings.rows import Indexes

Data = bytes | memoryview

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}(?::\d{2}(?::\d{2}(?:\.\d{1,6})?)?(Z|[+-]\d{2}(?::?\d{2})?)?)?)?")
_BLOCK_BYTES = 2 * 1024 * 1024
_WORDS = pa.dictionary(pa.int32(), pa.string())
_REPEATED_SHARE = 0.5


class TextTable(NamedTuple):
    """Columns of text.

    Attributes:
        line: line of each row.
        cells: the wanted columns, by their place in the header.
        malformed: line and description of each row that does not fit.
    """

    line: Indexes
    cells: dict[int, pa.ChunkedArray]
    malformed: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class ColumnReader:
    """Reads the wanted columns of one file.

    Attributes:
        shape: how the file is laid out.
        wanted: which columns, and what they hold.
    """

    shape: CsvShape
    wanted: Wanted

    def typed(self, data: Data, *, has_quotes: bool) -> dict[int, pa.ChunkedArray] | None:
        """Return the wanted columns in their types, a row for each line; None if a cell or a row is off."""
        # of the type of nothing: a cell that is filled where no column is fails, as a cell of the wrong type does
        types = self._types | dict.fromkeys(self._beyond, pa.null())
        try:
            table = self._table(data, types, has_quotes=has_quotes)
        except pa.ArrowInvalid:
            return None
        return self._by_place(table)

    def texts(self, data: Data, first_line: int, line_count: int, *, has_quotes: bool) -> TextTable | None:
        """Return the wanted columns as text, and the rows that do not fit; None if rows and lines do not agree."""
        odd: list[tuple[int, str]] = []

        def set_aside(row: pacsv.InvalidRow) -> str:
            odd.append((row.number - 1, row.text))
            return "skip"

        try:
            types = dict.fromkeys((*self.wanted.places, *self._beyond), pa.string())
            table = self._table(data, types, has_quotes=has_quotes, set_aside=set_aside)
        except pa.ArrowInvalid:
            return None
        if table.num_rows + len(odd) != line_count:
            return None
        is_odd = np.zeros(line_count, dtype=np.bool_)
        is_odd[[number for number, _ in odd]] = True
        line = np.flatnonzero(~is_odd).astype(np.int32) + np.int32(first_line)
        plain = self._without_filled(table, line)
        return self._with_odd(plain, [(first_line + number, text) for number, text in odd])

    def _table(self, data: Data, types: dict[int, pa.DataType], *, has_quotes: bool, set_aside: object = None) -> pa.Table:
        """Return the wanted columns, named by their places."""
        return pacsv.read_csv(
            pa.py_buffer(data),
            read_options=pacsv.ReadOptions(
                column_names=[str(place) for place in range(self.shape.width)],
                block_size=_BLOCK_BYTES,
                # rows are numbered only where one thread reads
                use_threads=set_aside is None,
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=self.shape.separator,
                quote_char='"' if has_quotes else False,
                newlines_in_values=has_quotes,
                # a blank line is a row of nothing, so that rows and lines agree
                ignore_empty_lines=False,
                invalid_row_handler=set_aside,
            ),
            convert_options=pacsv.ConvertOptions(
                include_columns=[str(place) for place in types],
                column_types={str(place): kind for place, kind in types.items()},
                null_values=[""],
                strings_can_be_null=False,
                decimal_point=self.wanted.marks.decimal,
            ),
        )

    def _by_place(self, table: pa.Table) -> dict[int, pa.ChunkedArray]:
        """Return the wanted columns by their place in the header."""
        return {place: table.column(str(place)) for place in self.wanted.places}

    @property
    def _beyond(self) -> tuple[int, ...]:
        """The fields after the last column, which are blank in most rows."""
        return tuple(range(len(self.shape.header), self.shape.width))

    def _without_filled(self, table: pa.Table, line: Indexes) -> TextTable:
        """Return the columns of text; rows that have something after the last column are malformed."""
        filled = np.zeros(len(line), dtype=np.bool_)
        for place in self._beyond:
            filled |= ~is_blank(table.column(str(place)))
        if not filled.any():
            return TextTable(line, self._by_place(table), ())
        text = f"{self.shape.width} fields where the header has {len(self.shape.header)}"
        kept = table.take(row_column(np.flatnonzero(~filled)))
        return TextTable(line[~filled], self._by_place(kept), tuple((int(number), text) for number in line[filled]))

    def _with_odd(self, table: TextTable, odd: Sequence[tuple[int, str]]) -> TextTable:
        """Return the table with those odd rows that fit the header after all; the others are malformed."""
        malformed = list(table.malformed)
        lines: list[int] = []
        rows: list[list[str]] = []
        for line, text in odd:
            fields, _ = record_at([text], 0, self.shape)
            fault = misfit(fields, self.shape)
            if not any(field.strip() for field in fields):
                continue
            if fault:
                malformed.append((line, fault))
            else:
                lines.append(line)
                rows.append(fields)
        if not rows:
            return TextTable(table.line, table.cells, tuple(malformed))
        all_lines = np.concatenate([table.line, np.array(lines, dtype=np.int32)])
        order = np.argsort(all_lines, kind="stable")
        cells = {
            place: pa.chunked_array([*column.chunks, text_column([row[place] for row in rows])]).take(row_column(order))
            for place, column in table.cells.items()
        }
        return TextTable(all_lines[order], cells, tuple(malformed))

    @cached_property
    def _types(self) -> dict[int, pa.DataType]:
        """The types that the wanted columns should have."""
        types: dict[int, pa.DataType] = dict.fromkeys(self.wanted.places, pa.float64())
        types.update(dict.fromkeys(self.wanted.names, _WORDS))
        types.update({place: self._stamp_type(place) for place in self.wanted.stamps})
        return types

    def _stamp_type(self, place: int) -> pa.DataType:
        """Return the type for a column of times: instants if the first is written as ISO 8601, else text."""
        texts = self.shape.column(place)
        match = _ISO.fullmatch(texts[0]) if texts else None
        if match and self.wanted.is_iso and len(self.wanted.stamps) == 1:
            return pa.timestamp("us", "UTC") if match[1] else pa.timestamp("us")
        # several engines at one time: each text is read once
        return _WORDS if len(set(texts)) < len(texts) * _REPEATED_SHARE else pa.string()
