"""How far a sheet may reach: a workbook of a few cells is never held as billions."""

from __future__ import annotations

from pathlib import Path
from zipfile import ZipFile

import openpyxl
import pytest

from intervals.readings.files.log_file import SheetFileError
from intervals.readings.files.sheet_extent import MOST_CELLS, check_extent


def book(path: Path, *cells: str) -> Path:
    """Write a workbook whose sheet `log` has a few rows and these cells besides, and a sheet `other` with a cell in the furthest corner."""
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    sheet.title = "log"
    for row in range(1, 21):
        sheet.append([row, "G1", row * 5.0])
    for cell in cells:
        sheet[cell] = 1
    made.create_sheet("other")["XFD1048576"] = 1
    made.save(path)
    return path


@pytest.mark.parametrize(
    ("cells", "is_refused"),
    [
        ((), False),
        # 1,048,576 rows of 19 columns are 19.9 million cells, of 20 columns 21.0 million
        (("S1048576",), False),
        (("T1048576",), True),
        # 16,384 columns of 1,220 rows are 19,988,480 cells, of 1,221 rows 20,004,864
        (("XFD1220",), False),
        (("XFD1221",), True),
        (("AAA1", "A1048576"), True),
        (("XFD1048576",), True),
    ],
)
def test_a_sheet_that_spans_more_cells_than_any_log_is_refused(tmp_path: Path, cells: tuple[str, ...], *, is_refused: bool) -> None:
    """What counts is the rectangle from the first cell to the last row and column."""
    path = book(tmp_path / "log.xlsx", *cells)
    assert MOST_CELLS == 20_000_000
    if is_refused:
        with pytest.raises(SheetFileError, match=r"reaches to row [\d,]+ and column [\d,]+"):
            check_extent(path, None)
    else:
        assert check_extent(path, None)


def test_only_the_sheet_that_is_read_counts(tmp_path: Path) -> None:
    """The sheet beside it reaches to the furthest corner."""
    path = book(tmp_path / "log.xlsx")
    check_extent(path, "log")
    with pytest.raises(SheetFileError):
        check_extent(path, "other")
    assert not check_extent(path, "no such sheet")


def test_what_is_no_workbook_is_left_to_its_reader(tmp_path: Path) -> None:
    """Text, an archive of something else, half a workbook, one whose parts are no XML."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"at;engine\n")
    assert not check_extent(path)
    with ZipFile(path, "w") as archive:
        archive.writestr("readme.txt", "nothing")
    assert not check_extent(path)
    with ZipFile(path, "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook")
    assert not check_extent(path)
    whole = book(path).read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert not check_extent(path)


def test_a_sheet_that_unpacks_to_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the size that the archive states."""
    monkeypatch.setattr("intervals.readings.files.sheet_extent.MOST_BYTES", 100)
    with pytest.raises(SheetFileError, match="unpacks to more than"):
        check_extent(book(tmp_path / "log.xlsx"), None)
