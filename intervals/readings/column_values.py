"""Cells as the files hold them - typed, text, or a mixture - to figures, times and engine names.

In: a column of a CSV, Parquet or XLSX file. Out: `Figures`, `Stamps`, or the name of an engine for each row. Refuses a column
of a type that can be no number or no time.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import TypeAlias

import numpy as np
import pyarrow as pa

from intervals.arrays import Flags, Instants
from intervals.readings.files.arrow_arrays import BLANK, NO_TEXT, as_strings, blanks_of, holds_numbers, numbers_of, text_column
from intervals.readings.parse_numbers import Figures, Marks, figures_of_texts, parse_figure
from intervals.readings.rows import Indexes
from intervals.readings.times.stamp_patterns import Pattern
from intervals.readings.times.stamps import FIRST_YEAR, LAST_YEAR, OUTSIDE_YEARS, READ, DayOrder, Stamps, stamps_of_texts
from intervals.readings.times.wall_clock import DAY_US, SECOND_US

Cells: TypeAlias = "pa.ChunkedArray | list[object]"
"""A column: of one type, from text and Parquet files, or of Python values, from sheets."""

_FEW = 200_000
_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - the local clock's own count, without a zone
_MICROSECOND = timedelta(microseconds=1)
_FIRST_US = int(np.datetime64(f"{FIRST_YEAR}-01-01", "us").astype(np.int64))
_LAST_US = int(np.datetime64(f"{LAST_YEAR}-01-01", "us").astype(np.int64))


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
        return np.array([_text_of(cell) == "" for cell in cells], dtype=np.bool_)
    if not _is_text(cells.type):
        return blanks_of(cells)
    if pa.types.is_dictionary(cells.type) or len(cells) < _FEW:
        # by way of the different texts: Arrow's comparison with a scalar loads pandas
        names, place = names_of(cells)
        return np.array([not name.strip() for name in names] or [True], dtype=np.bool_)[place]
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    lengths = pc.binary_length(pc.utf8_trim_whitespace(cells.cast(pa.string())))
    blank: Flags = numbers_of(lengths, 0) == 0
    return blank


def _is_text(kind: pa.DataType) -> bool:
    """Say whether a type holds text, plain or as a dictionary."""
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    return bool(pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_string_view(kind))


def _text_of(cell: object) -> str:
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
    if _is_text(cells.type):
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
        text = _text_of(cell)
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


def stamps_of(columns: Sequence[Cells], patterns: tuple[Pattern, ...], order: DayOrder | None) -> Stamps:
    """Return the times of one column, or of a date's and a time's column together.

    Args:
        columns: one column, or date and time.
        patterns: what a text may look like.
        order: which of day and month comes first where a text does not say.

    Returns:
        The stamps.

    Raises:
        ColumnTypeError: the column's type can be no time, such as a number.
    """
    if len(columns) > 1:
        return _repeated(_joined_texts(columns[0], columns[1]), patterns, order)
    cells = columns[0]
    if isinstance(cells, list):
        return _stamps_of_mixed(cells, patterns, order)
    if _is_text(cells.type):
        return _repeated(cells, patterns, order)
    if pa.types.is_integer(cells.type):
        # 20260131 and the like, written as a number
        return stamps_of_texts(cells.cast(pa.string()).combine_chunks(), patterns, order)
    if not (pa.types.is_timestamp(cells.type) or pa.types.is_date(cells.type)):
        message = f"is of type {cells.type}, which holds no times"
        raise ColumnTypeError(message)
    return _stamps_of_typed(cells)


def _joined_texts(days: Cells, clocks: Cells) -> pa.Array:
    """Return a column of dates and one of times of day as one column of texts."""
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    joined = pc.binary_join_element_wise(_date_texts(days), _time_texts(clocks), BLANK, null_handling="replace")
    return joined.combine_chunks() if isinstance(joined, pa.ChunkedArray) else joined


def _stamps_of_typed(cells: pa.ChunkedArray) -> Stamps:
    """Return the times of a column of timestamps or dates."""
    zone = getattr(cells.type, "tz", None)
    is_date = pa.types.is_date(cells.type)
    us = _microseconds_of(cells)
    state = np.full(len(us), READ, dtype=np.int8)
    if len(us) and (us.min() < _FIRST_US or us.max() >= _LAST_US):
        state[(us < _FIRST_US) | (us >= _LAST_US)] = OUTSIDE_YEARS
    return Stamps(us=us, is_utc=np.full(len(us), zone is not None), has_clock=np.full(len(us), not is_date), state=state)


def _microseconds_of(cells: pa.ChunkedArray) -> Instants:
    """Return times of any unit in microseconds; one beyond the years that are read, in whatever unit, stays beyond them."""
    kind = cells.type
    if pa.types.is_timestamp(kind) and kind.unit in ("us", "ns"):
        return numbers_of(cells if kind.unit == "us" else cells.cast(pa.timestamp("us", kind.tz), safe=False), _LAST_US)
    if pa.types.is_date32(kind):
        length_us, numbers = DAY_US, cells.cast(pa.int32())
    else:
        length_us, numbers = (SECOND_US if pa.types.is_timestamp(kind) and kind.unit == "s" else SECOND_US // 1000), cells.cast(pa.int64())
    counted = numbers_of(numbers, _LAST_US // length_us, np.int64)
    us: Instants = np.clip(counted, _FIRST_US // length_us - 1, _LAST_US // length_us) * length_us
    return us


def _repeated(cells: pa.Array | pa.ChunkedArray, patterns: tuple[Pattern, ...], order: DayOrder | None) -> Stamps:
    """Return the times of a column of texts; of a dictionary each text is read once."""
    if isinstance(cells, pa.ChunkedArray):
        cells = cells.combine_chunks()
    if not pa.types.is_dictionary(cells.type):
        return stamps_of_texts(cells, patterns, order)
    texts = pa.concat_arrays([as_strings(cells.dictionary), NO_TEXT])
    once = stamps_of_texts(texts, patterns, order)
    index = numbers_of(cells.indices, len(texts) - 1)
    return Stamps(
        us=once.us[index],
        is_utc=once.is_utc[index],
        has_clock=once.has_clock[index],
        state=once.state[index],
        day_first_seen=once.day_first_seen,
        month_first_seen=once.month_first_seen,
    )


def _stamps_of_mixed(cells: Sequence[object], patterns: tuple[Pattern, ...], order: DayOrder | None) -> Stamps:
    """Return the times of a sheet's column: real dates, and texts among them."""
    stamps = stamps_of_texts(text_column([cell if isinstance(cell, str) else "" for cell in cells]), patterns, order)
    for row, cell in enumerate(cells):
        if not isinstance(cell, date):
            continue
        if not FIRST_YEAR <= cell.year < LAST_YEAR:
            stamps.state[row] = OUTSIDE_YEARS
        else:
            moment = cell if isinstance(cell, datetime) else datetime.combine(cell, time())
            stamps.us[row] = (moment - _EPOCH) // _MICROSECOND
            stamps.state[row] = READ
            stamps.has_clock[row] = isinstance(cell, datetime)
    return stamps


def _date_texts(cells: Cells) -> pa.Array | pa.ChunkedArray:
    """Return a column of dates as texts; a date that was kept as midnight loses its clock."""
    if isinstance(cells, list):
        return text_column([cell.strftime("%Y-%m-%d") if isinstance(cell, date) else _text_of(cell) for cell in cells])
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    if not _is_text(cells.type):
        is_instant = pa.types.is_timestamp(cells.type)
        return pc.strftime(cells, format="%Y-%m-%d") if is_instant else cells.cast(pa.string())
    return pc.replace_substring_regex(cells.cast(pa.string()), r"[T ]0?0:00(:00(\.0+)?)?\s*$", "")


def _time_texts(cells: Cells) -> pa.Array | pa.ChunkedArray:
    """Return a column of times of day as texts."""
    if isinstance(cells, list):
        return text_column([_clock_text(cell) for cell in cells])
    return cells.cast(pa.string())


def _clock_text(cell: object) -> str:
    """Return a sheet's time of day as text; it may be kept as a time, a span or a moment of the first day."""
    if isinstance(cell, datetime):
        cell = cell.time()
    if isinstance(cell, timedelta):
        if not timedelta(0) <= cell < timedelta(days=1):
            # no time of day: as it is written, it cannot be read as one
            return str(cell)
        cell = (datetime.combine(date(1970, 1, 1), time()) + cell).time()
    return cell.isoformat() if isinstance(cell, time) else _text_of(cell)


# engines


def names_of(cells: Cells) -> tuple[list[str], Indexes]:
    """Return the names that a column holds, and for each row which of them (a blank cell is the name "")."""
    if isinstance(cells, list):
        texts = [_text_of(cell) for cell in cells]
        place = {text: index for index, text in enumerate(dict.fromkeys(texts))}
        return list(place), np.array([place[text] for text in texts], dtype=np.int32)
    if pa.types.is_floating(cells.type) or (pa.types.is_string(cells.type) and len(cells) < _FEW):
        return names_of(cells.to_pylist())
    if not pa.types.is_dictionary(cells.type):
        cells = cells.cast(pa.string()).dictionary_encode()
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
