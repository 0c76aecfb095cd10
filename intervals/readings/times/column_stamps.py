"""Columns of times as the files hold them - typed, text, or a mixture, in one column or a date and a time of day - to stamps.

In: the columns of a CSV, Parquet or XLSX file, and the patterns of the block. Out: `Stamps`. Refuses a column of a type that can be no
time.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

import numpy as np
import pyarrow as pa

from intervals.arrays import Instants
from intervals.readings.arrow_arrays import BLANK, NO_TEXT, as_strings, numbers_of, text_column
from intervals.readings.column_values import Cells, ColumnTypeError, is_text, text_of_value
from intervals.readings.times.stamp_patterns import Pattern
from intervals.readings.times.stamps import FIRST_YEAR, LAST_YEAR, OUTSIDE_YEARS, READ, DayOrder, Stamps, stamps_of_texts
from intervals.readings.times.wall_clock import DAY_US, SECOND_US

_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - the local clock's own count, without a zone
_MICROSECOND = timedelta(microseconds=1)
_FIRST_US = int(np.datetime64(f"{FIRST_YEAR}-01-01", "us").astype(np.int64))
_LAST_US = int(np.datetime64(f"{LAST_YEAR}-01-01", "us").astype(np.int64))


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
    if is_text(cells.type):
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
        return text_column([cell.strftime("%Y-%m-%d") if isinstance(cell, date) else text_of_value(cell) for cell in cells])
    import pyarrow.compute as pc  # noqa: PLC0415 - loaded only for columns of text: it takes longer than to read a small log

    if not is_text(cells.type):
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
    return cell.isoformat() if isinstance(cell, time) else text_of_value(cell)
