"""The rows of a sheet as office programs save it: separators, title rows, encodings and quotation marks of any of them.

In: a CSV or XLSX file. Out: its rows below the header, cells by column, with their lines. Refuses (CLI160) a file without the columns, a
column that is there twice, quotation marks that do not pair, and a row that is longer than the header.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time
from io import BytesIO, StringIO
from pathlib import Path
from typing import NamedTuple

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import read_code
from intervals.questions.record.handed_in import CANNOT_BE_READ, read_bytes, refused
from intervals.questions.record.typed_cells import StoredFigure
from intervals.readings.files.encodings import text_of_file
from intervals.readings.files.log_file import SheetFileError
from intervals.readings.files.sheet_extent import check_extent

_NEEDED = ("card", "step", "kind", "value")
_SEPARATORS = (",", ";", "\t", "|")
_MOST_CELLS = 200_000
"""A card has some hundred rows."""
_HEADER_WITHIN = 30
"""Empty rows and titles above the header are passed over, so many at most."""
_SHEET_OF_CARD = "type into the sheet made for the card: intervals card --sheet"
Row = tuple[int, dict[str, str]]


class _Header(NamedTuple):
    """Where a header stands, counted from 0, and the names of its columns; in text also what parts its cells."""

    place: int
    columns: list[str]
    separator: str = ""


def sheet_rows(path: Path) -> list[Row]:
    """Return the rows of a sheet in which something stands, each with its line.

    Args:
        path: a workbook where it ends in .xlsx, else text.

    Raises:
        RequestProblemError: it cannot be read as a sheet (CLI160).
    """
    listed = _of_workbook(path) if path.suffix.lower() == ".xlsx" else _of_text(path)
    return [(line, row) for line, row in listed if any(row.values())]


def _of_text(path: Path) -> Iterator[Row]:
    """Yield the rows of a CSV file with their lines."""
    lines = list(StringIO(text_of_file(read_bytes(path)), newline=""))
    found = [
        _Header(place, [_name(cell) for cell in next(csv.reader([line], delimiter=separator), [])], separator)
        for place, line in enumerate(lines[:_HEADER_WITHIN])
        for separator in _SEPARATORS
    ]
    header = _header(path, found)
    reader = csv.reader(lines[header.place + 1 :], delimiter=header.separator, strict=True)
    line = header.place + 2
    try:
        for cells in reader:
            for cell in cells:
                _check_quotes(path, cell, line, header)
            yield line, _row(path, header, cells, line)
            line = header.place + 2 + reader.line_num
    except csv.Error:
        raise _unpaired(path, line) from None


def _check_quotes(path: Path, cell: str, line: int, header: _Header) -> None:
    """Refuse a cell that holds further rows: its quotation mark was closed by that of another cell."""
    for further in cell.splitlines()[1:]:
        parts = further.split(header.separator)
        if len(parts) >= len(header.columns) or any(read_code(part) for part in parts):
            raise _unpaired(path, line)


def _unpaired(path: Path, line: int) -> RequestProblemError:
    """Return the refusal of a row whose quotation marks do not pair."""
    text = "a quotation mark of this row is opened and not closed where its cell ends: the rows after it would be lost"
    fix = "close it at the end of the cell, or leave it out"
    return RequestProblemError([Problem(CANNOT_BE_READ, str(path), line, None, text, fix)])


def _of_workbook(path: Path) -> Iterator[Row]:
    """Yield the rows of the first sheet of a workbook."""
    from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415 - loaded only where there is such a file

    data = BytesIO(read_bytes(path))
    try:
        if not check_extent(data, most_cells=_MOST_CELLS):
            raise refused(path, "cannot be read as a workbook", "save it as .xlsx")
        data.seek(0)
        table = CalamineWorkbook.from_filelike(data).get_sheet_by_index(0).to_python(skip_empty_area=False)
    except (CalamineError, OSError, SheetFileError) as error:
        raise refused(path, f"cannot be read as a workbook: {error}", "save it as .xlsx") from None
    header = _header(path, [_Header(place, [_name(str(cell)) for cell in cells]) for place, cells in enumerate(table[:_HEADER_WITHIN])])
    for line, cells in enumerate(table[header.place + 1 :], start=header.place + 2):
        yield line, _row(path, header, [_text(cell) for cell in cells], line)


def _header(path: Path, candidates: Sequence[_Header]) -> _Header:
    """Return the first header with all columns that are needed; refuse a sheet without them, and one that has a column twice."""

    def missing(header: _Header) -> list[str]:
        return [name for name in _NEEDED if name not in header.columns]

    nearest = min(candidates, key=lambda each: len(missing(each)), default=_Header(0, []))
    if missing(nearest):
        raise refused(path, f"the sheet has no column {', '.join(missing(nearest))}", _SHEET_OF_CARD)
    twice = sorted({name for name in nearest.columns if name and nearest.columns.count(name) > 1})
    if twice:
        raise refused(path, f"the sheet has the column {', '.join(twice)} twice", "leave one of the two out")
    return nearest


def _row(path: Path, header: _Header, cells: Sequence[str], line: int) -> dict[str, str]:
    """Return the cells of a row by column; refuse one in which something stands beyond the last column."""
    beyond = [cell for cell in cells[len(header.columns) :] if cell.strip()]
    if beyond:
        text = f'the row has more cells than the header has columns: "{beyond[0]}"'
        fix = f"a cell that holds {header.separator or 'them'} stands in quotation marks"
        raise RequestProblemError([Problem(CANNOT_BE_READ, str(path), line, None, text, fix)])
    return {name: _cell(cell) for name, cell in zip(header.columns, cells, strict=False) if name}


def _name(cell: str) -> str:
    """Return the name of a column."""
    return cell.strip().casefold()


def _cell(cell: str) -> str:
    """Return a cell on one line, without blanks around it."""
    return cell if isinstance(cell, StoredFigure) else " ".join(part for line in cell.splitlines() if (part := line.strip()))


def _text(cell: object) -> str:
    """Return a cell of a workbook as text."""
    if isinstance(cell, (datetime, date)):
        return cell.isoformat()
    if isinstance(cell, time):
        return cell.isoformat(timespec="seconds" if cell.second else "minutes")
    if isinstance(cell, float):
        return StoredFigure(f"{cell:.15g}")
    return "" if cell is None else str(cell)


__all__ = ["Row", "sheet_rows"]
