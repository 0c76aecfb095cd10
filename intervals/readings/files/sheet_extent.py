"""How far a sheet of a workbook reaches, found before it is opened: a reader of workbooks holds every cell up to the last one.

In: an XLSX file and a sheet's name. Out: whether its extent could be told. Refuses (`SheetFileError`) a sheet that spans more cells than
any log has, and one that unpacks to more than any log takes. Whatever else is wrong with the file is for its reader to say.
"""

from __future__ import annotations

import posixpath
import re
from pathlib import Path
from typing import BinaryIO
from xml.etree.ElementTree import ParseError, fromstring
from zipfile import BadZipFile, ZipFile

from intervals.readings.files.log_file import SheetFileError

MOST_CELLS = 20_000_000
"""A row for each minute of three years, with a dozen columns."""
MOST_BYTES = 4_000_000_000
_PIECE = 1 << 22
_LONGEST_PLACE = 32
_DIGITS = b"0123456789"
_CELL = re.compile(rb'r="([A-Z]{1,3}[0-9]{1,7})"')
_FAR_CELL = re.compile(rb'r="([A-Z]{2,3}[0-9]{1,7}|[A-Z][0-9]{6,7})"')
_NEAR_ROWS, _NEAR_COLUMNS = 99_999, 26
"""What cells may be in that are not looked at one by one."""
_RELATED = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def check_extent(file: Path | BinaryIO, sheet: str | None = None, *, most_cells: int = MOST_CELLS) -> bool:
    """Refuse a sheet that spans too many cells; return whether it could be told how many it spans.

    Args:
        file: the workbook.
        sheet: the name of the sheet; None: the first.
        most_cells: how many it may span.

    Raises:
        SheetFileError: it spans too many cells, or unpacks to too many bytes.
    """
    try:
        with ZipFile(file) as book:
            part = _part_of(book, sheet)
            if part is None:
                return False
            if book.getinfo(part).file_size > MOST_BYTES:
                message = f"the sheet unpacks to more than {MOST_BYTES / 1e9:.0f} GB; export it as text or Parquet"
                raise SheetFileError(message)
            rows, columns = _extent(book, part, most_cells)
    except (BadZipFile, KeyError, ParseError, EOFError, NotImplementedError, RuntimeError, ValueError):
        return False
    if rows * columns > most_cells:
        message = f"the sheet reaches to row {rows:,} and column {columns:,}; clear the cells beyond the log, or export it as text"
        raise SheetFileError(message)
    return True


def _part_of(book: ZipFile, sheet: str | None) -> str | None:
    """Return the part of a workbook that holds a sheet, or None where that cannot be told."""
    entries = [each for each in fromstring(book.read("xl/workbook.xml")).iter() if each.tag.endswith("}sheet")]
    chosen = next((each for each in entries if sheet is None or each.get("name") == sheet), None)
    related = None if chosen is None else chosen.get(_RELATED)
    parts = fromstring(book.read("xl/_rels/workbook.xml.rels"))
    target = next((each.get("Target", "") for each in parts if related is not None and each.get("Id") == related), None)
    if not target:
        return None
    return target.lstrip("/") if target.startswith("/") else posixpath.normpath(posixpath.join("xl", target))


def _extent(book: ZipFile, part: str, most_cells: int) -> tuple[int, int]:
    """Return the last row and column in which a sheet has a cell, both from 1; at most the corner of what every log may span."""
    far = _furthest(book, part, _FAR_CELL)
    rows, columns = max(far[0], _NEAR_ROWS), max(far[1], _NEAR_COLUMNS)
    # one cell in a far row and one in a far column may be few cells still: each is looked at
    return (rows, columns) if rows * columns <= most_cells else _furthest(book, part, _CELL)


def _furthest(book: ZipFile, part: str, pattern: re.Pattern[bytes]) -> tuple[int, int]:
    """Return the last row and column of the cells whose place fits a pattern, 1 where none does."""
    last_row = 1
    columns: dict[bytes, int] = {}
    with book.open(part) as text:
        rest = b""
        while piece := text.read(_PIECE):
            for place in pattern.findall(rest + piece):
                letters = place.rstrip(_DIGITS)
                last_row = max(last_row, int(place[len(letters) :]))
                if letters not in columns:
                    columns[letters] = _column(letters)
            rest = piece[-_LONGEST_PLACE:]
    return last_row, max(columns.values(), default=1)


def _column(letters: bytes) -> int:
    """Return the number of a column from 1.

    Example:
        >>> _column(b"A"), _column(b"AA"), _column(b"XFD")
        (1, 27, 16384)
    """
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number
