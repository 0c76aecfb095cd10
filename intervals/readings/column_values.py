"""Cells as the files hold them - typed, text, or a mixture - to figures and engine names; to times in `times/column_stamps.py`.

In: a column of a CSV, Parquet or XLSX file. Out: `Figures`, or the name of an engine for each row. Refuses a column of a type that can be
no number.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TypeAlias

import numpy as np
import pyarrow as pa

from intervals.arrays import Flags
from intervals.readings.arrow_arrays import as_strings, blanks_of, holds_numbers, numbers_of
from intervals.readings.parse_numbers import Figures, Marks, figures_of_texts, parse_figure
from intervals.readings.rows import Indexes

Cells: TypeAlias = "pa.ChunkedArray | list[object]"
"""A column: of one type, from text and Parquet files, or of Python values, from sheets."""
_FEW = 200_000
"""Of a column with fewer texts Python finds the different ones: Arrow's functions take longer to load than that takes."""


class ColumnTypeError(ValueError):
    """A whole column is of a type that cannot be what it should be."""


def text_of_cell(cells: Cells, row: int) -> str:
    """Return a cell as it is written, without surrounding blanks; a time that Python's calendar does not reach as its number."""
    cell = cells[row]
    if isinstance(cell, pa.Scalar):
        try:
            cell = cell.as_py()
        except (OverflowError, ValueError):
            cell = cell.value
    if isinstance(cell, datetime):
        cell = cell.isoformat(" ", "seconds" if cell.second else "minutes")
    return "" if cell is None else str(cell).strip()


def is_blank(cells: Cells) -> Flags:
    """Return which cells hold nothing."""
    if isinstance(cells, list):
        return np.array([text_of_value(cell) == "" for cell in cells], dtype=np.bool_)
    if not is_text(cells.type):
        return blanks_of(cells)
    if pa.types.is_dictionary(cells.type) or len(cells) < _FEW:
        # by way of the different texts: Arrow's comparison with a scalar loads pandas
        names, place = names_of(cells)
        return np.array([not name.strip() for name in names] or [True], dtype=np.bool_)[place]
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    lengths = pc.binary_length(pc.utf8_trim_whitespace(cells.cast(pa.string())))
    blank: Flags = numbers_of(lengths, 0) == 0
    return blank


def is_text(kind: pa.DataType) -> bool:
    """Say whether a type holds text, plain or as a dictionary."""
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def text_of_value(cell: object) -> str:
    """Return a sheet's cell as text; a whole number without its point."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


# figures


def figures_of(cells: Cells, marks: Marks) -> Figures:
    """Return the numbers of a column.

    Args:
        cells: the column.
        marks: which mark stands before the decimals of numbers that are text.

    Returns:
        The numbers, and the cells that are none.

    Raises:
        ColumnTypeError: the column's type can be no number, such as a time.
    """
    if isinstance(cells, list):
        return _figures_of_mixed(cells, marks)
    if is_text(cells.type):
        return figures_of_texts(cells.cast(pa.string()).combine_chunks(), marks)
    if pa.types.is_float32(cells.type):
        # by way of its shortest text: what was written as 0.1 is a tenth again, and not 0.10000000149
        cells = cells.cast(pa.string()).cast(pa.float64())
    if not holds_numbers(cells.type):
        try:
            cells = cells.cast(pa.int8() if pa.types.is_boolean(cells.type) else pa.float64(), safe=False)
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
            message = f"is of type {cells.type}, which holds no numbers"
            raise ColumnTypeError(message) from error
    values = numbers_of(cells, np.nan, np.float64)
    is_finite = np.isfinite(values)
    if np.count_nonzero(is_finite) == len(cells) - cells.null_count:
        return Figures(values)
    rows = np.flatnonzero(~is_finite & ~blanks_of(cells))
    odd = tuple((int(row), str(values[row])) for row in rows)
    values = values.copy()
    values[rows] = np.nan
    return Figures(values, odd)


def _figures_of_mixed(cells: Sequence[object], marks: Marks) -> Figures:
    """Return the numbers of a sheet's column."""
    values = np.full(len(cells), np.nan)
    odd: list[tuple[int, str]] = []
    for row, cell in enumerate(cells):
        text = text_of_value(cell)
        if not text:
            continue
        is_number = isinstance(cell, int | float) and not isinstance(cell, bool)
        value = float(cell) if is_number else parse_figure(text, marks) if isinstance(cell, str) else None  # type: ignore[arg-type]
        if value is None or not np.isfinite(value):
            odd.append((row, text))
        else:
            values[row] = value
    return Figures(values, tuple(odd))


# times


# engines


def names_of(cells: Cells) -> tuple[list[str], Indexes]:
    """Return the names that a column holds, and for each row which of them (a blank cell is the name "").

    Raises:
        ColumnTypeError: the column's type can be no word, such as a list in each row.
    """
    if isinstance(cells, list):
        texts = [text_of_value(cell) for cell in cells]
        place = {text: index for index, text in enumerate(dict.fromkeys(texts))}
        return list(place), np.array([place[text] for text in texts], dtype=np.int32)
    if pa.types.is_floating(cells.type) or (pa.types.is_string(cells.type) and len(cells) < _FEW):
        return names_of(cells.to_pylist())
    if not pa.types.is_dictionary(cells.type):
        try:
            cells = cells.cast(pa.string()).dictionary_encode()
        except (pa.ArrowInvalid, pa.ArrowNotImplementedError) as error:
            message = f"is of type {cells.type}, which holds no words"
            raise ColumnTypeError(message) from error
    if not len(cells):
        return [], np.zeros(0, dtype=np.int32)
    # a word that stands in the dictionaries of many chunks is looked at once
    try:
        cells = cells.unify_dictionaries()
    except pa.ArrowInvalid:
        # dictionaries that hold nothing as a word, or more words than their numbers reach
        cells = cells.cast(pa.string()).dictionary_encode()
    texts = [text or "" for text in as_strings(cells.chunk(0).dictionary).to_pylist()]
    index = numbers_of(pa.chunked_array([chunk.indices for chunk in cells.chunks]), len(texts), np.int32)
    if cells.null_count:
        texts.append("")
    place = {text: number for number, text in enumerate(dict.fromkeys(texts))}
    if len(place) == len(texts):
        return texts, index
    return list(place), np.array([place[text] for text in texts], dtype=np.int32)[index]
