"""Sheets of workbooks to columns of Python values: real dates, numbers, texts as they stand.

In: an XLSX file and a sheet's name. Out: `SheetLog`. Refuses a workbook without that sheet (`SheetMissingError`), and what is no
workbook, or one that spans more cells than any log (`SheetFileError`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
from python_calamine import CalamineError, CalamineWorkbook

from intervals.addresses import Address, FilePlace
from intervals.readings.files.csv_head import HEADER_WITHIN_LINES, CsvOptions, HeaderScore, likeness_of
from intervals.readings.files.log_file import Chunk, SheetFileError, SheetMissingError, Wanted
from intervals.readings.files.sheet_extent import check_extent
from intervals.readings.parse_numbers import Marks

_MOST_KEPT_ROWS = 20_000


class SheetLog:
    """One sheet of a workbook.

    Attributes:
        name: path below the site folder.
        header: names of the columns; blank names at the end are left out.
        header_line: row of the header, None for a sheet without any.
    """

    def __init__(self, path: FilePlace, name: str, sheet: str | None, options: CsvOptions, score: HeaderScore) -> None:
        self.name = name
        self._path = path
        self._sheet = sheet
        self._options = options
        rows = self._read()
        # many small workbooks are kept, a large one is read again rather than held
        self._kept = rows if len(rows) <= _MOST_KEPT_ROWS else None
        place = self._find_header(rows, score)
        names = [_name(cell) for cell in rows[place]] if place is not None else []
        while names and not names[-1]:
            names.pop()
        self.header = tuple(names)
        self.header_line = None if place is None else place + 1

    def marks(self, figures: Collection[int]) -> Marks | None:
        """Return which mark stands before the decimals of figures that are text: what is stated, else each cell by itself."""
        del figures
        decimal = self._options.decimal
        return Marks("," if decimal == "," else ".", is_known=decimal is not None, is_stated=decimal is not None)

    def chunks(self, wanted: Wanted) -> Iterator[Chunk]:
        """Yield the rows of the sheet; a row of nothing is none."""
        first = self.header_line or 0
        sheet = self._kept if self._kept is not None else self._read()
        rows = [(number, row) for number, row in enumerate(sheet[first:], start=first + 1) if any(map(_is_content, row))]
        line = np.array([number for number, _ in rows], dtype=np.int32)
        yield Chunk(line, {place: [row[place] for _, row in rows] for place in wanted.places})

    def _read(self) -> list[list[object]]:
        """Return the rows of the sheet, from its first."""
        place = BytesIO(self._path.open().read()) if isinstance(self._path, Address) else self._path
        check_extent(place, self._sheet)
        if isinstance(place, BytesIO):
            place.seek(0)
        try:
            return self._rows_of_sheet(place)
        except CalamineError as error:
            raise SheetFileError(str(error)) from error

    def _rows_of_sheet(self, place: Path | BytesIO) -> list[list[object]]:
        """Return the rows of the sheet, from its first, of a workbook that lies here."""
        with CalamineWorkbook.from_object(place) as workbook:
            if self._sheet is not None and self._sheet not in workbook.sheet_names:
                shown = ", ".join(f'"{other}"' for other in workbook.sheet_names)
                message = f'there is no sheet "{self._sheet}"; the workbook has {shown}'
                raise SheetMissingError(message)
            sheet = workbook.get_sheet_by_index(0) if self._sheet is None else workbook.get_sheet_by_name(self._sheet)
            return [list(row) for row in sheet.to_python(skip_empty_area=False)]

    def _find_header(self, rows: list[list[object]], score: HeaderScore) -> int | None:
        """Return the index of the first row that holds most of what is sought, of those at the top; else of that most like a header."""
        skipped = self._options.skip_rows
        last = HEADER_WITHIN_LINES if skipped is None else skipped + 1
        candidates = [
            (index, [_name(cell) for cell in row])
            for index, row in enumerate(rows[:last])
            if index >= (skipped or 0) and any(map(_is_content, row))
        ]
        if not candidates:
            return None
        scores = [score(names) for _, names in candidates]
        if (highest := max(scores)) > 0:
            return candidates[scores.index(highest)][0]
        following = [*(names for _, names in candidates[1:]), []]
        likeness = [likeness_of(names, below) for (_, names), below in zip(candidates, following, strict=True)]
        return candidates[likeness.index(max(likeness))][0]


def _name(cell: object) -> str:
    """Return a header's cell as the name of a column; a whole number is written as the sheet shows it, without a point."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return " ".join(str(cell).split()) if cell is not None else ""


def _is_content(cell: object) -> bool:
    """Say whether a cell holds anything."""
    return cell is not None and str(cell).strip() != ""
