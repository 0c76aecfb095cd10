"""Rows of text files: the three ways of reading give the same rows, with true lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from intervals.readings.column_values import figures_of, names_of
from intervals.readings.files import csv_file, csv_lines, encodings
from intervals.readings.files.csv_columns import ColumnReader
from intervals.readings.files.csv_file import CsvLog
from intervals.readings.files.csv_head import CsvOptions
from intervals.readings.files.log_file import Chunk, Wanted
from intervals.readings.parse_numbers import Marks

WANTED = Wanted(stamps=(0,), names=(1,), figures=(2,))
Row = tuple[int, str, float | None]


def log_of(tmp_path: Path, text: str | bytes, options: CsvOptions | None = None) -> CsvLog:
    """Return a log with the columns Time, Unit, Hours and others."""
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())

    def score(names: Sequence[str]) -> float:
        return len({"Time", "Unit", "Hours"} & set(names)) / 3

    return CsvLog(path, "log.csv", options or CsvOptions(), score)


def rows_of(chunks: Sequence[Chunk]) -> list[Row]:
    """Return line, unit and hours of each row; None for a blank or odd cell."""
    rows: list[Row] = []
    for chunk in chunks:
        names, index = names_of(chunk.cells[1])
        values = figures_of(chunk.cells[2], Marks()).values
        rows.extend(
            (int(line), names[place], None if np.isnan(value) else float(value))
            for line, place, value in zip(chunk.line, index, values, strict=True)
        )
    return rows


@pytest.fixture(params=["typed", "texts", "lines"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Each of the three ways in turn: the faster ones decline."""
    if request.param != "typed":
        monkeypatch.setattr(ColumnReader, "typed", lambda *_, **__: None)
    if request.param == "lines":
        monkeypatch.setattr(ColumnReader, "texts", lambda *_, **__: None)
    return str(request.param)


@pytest.mark.usefixtures("way")
class TestEveryWay:
    """What holds for each of the three ways."""

    def test_plain_file(self, tmp_path: Path) -> None:
        """Rows stand at their lines, the header being line 1."""
        log = log_of(tmp_path, "Time,Unit,Hours\n2026-01-01 00:00,G1,1.5\n2026-01-01 01:00,G2,\n")
        assert rows_of(list(log.chunks(WANTED))) == [(2, "G1", 1.5), (3, "G2", None)]

    def test_windows_line_ends_and_no_last_one(self, tmp_path: Path) -> None:
        """Carriage returns belong to the line end; the last line needs none."""
        log = log_of(tmp_path, "Time,Unit,Hours\r\n2026-01-01 00:00,G1,1.5\r\n2026-01-01 01:00,G2,2")
        assert rows_of(list(log.chunks(WANTED))) == [(2, "G1", 1.5), (3, "G2", 2)]

    def test_blank_lines_are_no_rows(self, tmp_path: Path) -> None:
        """Empty lines, blanks and lines of separators are passed over and counted as lines."""
        log = log_of(tmp_path, "Time,Unit,Hours,Note\n\n2026-01-01 00:00,G1,1,\n,,,\n  \n2026-01-01 01:00,G1,2,\n\n\n")
        assert rows_of(list(log.chunks(WANTED))) == [(3, "G1", 1), (6, "G1", 2)]

    def test_row_with_a_note_alone_is_a_row(self, tmp_path: Path) -> None:
        """A row that holds something, if not in a wanted column, is not dropped."""
        log = log_of(tmp_path, "Time,Unit,Hours,Note\n,,,stopped\n")
        assert rows_of(list(log.chunks(WANTED))) == [(2, "", None)]

    def test_quoted_cells(self, tmp_path: Path) -> None:
        """Quotes are taken off; a quoted separator is a letter; a doubled quote is one."""
        log = log_of(tmp_path, 'Time,Unit,Hours,Note\n2026-01-01 00:00,"G,1","1.5","say ""no"""\n')
        assert rows_of(list(log.chunks(WANTED))) == [(2, "G,1", 1.5)]

    def test_quoted_line_end(self, tmp_path: Path) -> None:
        """A cell over three lines is one row at its first line; the next row stands at its true line."""
        log = log_of(tmp_path, 'Time,Unit,Hours,Note\n2026-01-01 00:00,G1,1,"a\nb\nc"\n2026-01-01 01:00,G1,2,\n')
        assert rows_of(list(log.chunks(WANTED))) == [(2, "G1", 1), (5, "G1", 2)]

    def test_ragged_rows(self, tmp_path: Path) -> None:
        """Too few and too many fields set a row aside, with its line, even where what is too many is blank."""
        text = "Time,Unit,Hours\n2026-01-01 00:00,G1,1\nx,y\n2026-01-01 01:00,G1,2,\n2026-01-01 02:00,G1,3,4\n2026-01-01 03:00,G1,5\n"
        chunks = list(log_of(tmp_path, text).chunks(WANTED))
        assert rows_of(chunks) == [(2, "G1", 1), (6, "G1", 5)]
        assert [fault for chunk in chunks for fault in chunk.malformed] == [
            (3, "2 fields where the header has 3"),
            (4, "4 fields where the header has 3"),
            (5, "4 fields where the header has 3"),
        ]

    def test_separator_at_the_end_of_most_rows(self, tmp_path: Path) -> None:
        """Where most rows end in a separator, those that do not are right as well; a filled field there is not."""
        rows = [f"2026-01-0{day} 00:00,G1,{day}," for day in range(1, 8)]
        rows[2] = rows[2].rstrip(",")
        rows[4] += "x"
        chunks = list(log_of(tmp_path, "Time,Unit,Hours\n" + "\n".join(rows) + "\n").chunks(WANTED))
        assert [row[0] for row in rows_of(chunks)] == [2, 3, 4, 5, 7, 8]
        assert [fault for chunk in chunks for fault in chunk.malformed] == [(6, "4 fields where the header has 3")]

    def test_comments(self, tmp_path: Path) -> None:
        """Where the site states a comment mark, such lines are no rows, even if they have as many fields."""
        log = log_of(tmp_path, "Time,Unit,Hours\n#,a,1\n2026-01-01 00:00,G1,1\n", CsvOptions(comment="#"))
        assert rows_of(list(log.chunks(WANTED))) == [(3, "G1", 1)]

    def test_stray_quote(self, tmp_path: Path) -> None:
        """A quote that is never closed costs its own row at most, never those below."""
        rest = "".join(f"2026-01-02 {hour:02d}:00,G1,{hour}\n" for hour in range(24))
        chunks = list(log_of(tmp_path, 'Time,Unit,Hours\n2026-01-01 00:00,"G1,1\n' + rest).chunks(WANTED))
        assert len(rows_of(chunks)) + sum(len(chunk.malformed) for chunk in chunks) == 25
        assert rows_of(chunks)[-24:] == [(hour + 3, "G1", hour) for hour in range(24)]

    def test_quote_inside_a_cell(self, tmp_path: Path) -> None:
        """An inch mark is a letter."""
        log = log_of(tmp_path, 'Time,Unit,Hours,Note\n2026-01-01 00:00,G1,1,5" pipe\n2026-01-01 01:00,G1,2,4" pipe\n')
        assert rows_of(list(log.chunks(WANTED))) == [(2, "G1", 1), (3, "G1", 2)]

    def test_small_chunks(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """A file read in chunks of a few rows gives the same lines, whatever is off in some of them."""
        rows = [f"2026-01-{day:02d} 00:00,G1,{day}" for day in range(1, 29)]
        rows[3] += ",9"
        rows[9] = ""
        rows[17] = '2026-01-18 00:00,"G\n1",18'
        text = "Time,Unit,Hours\n" + "\n".join(rows) + "\n"
        whole = list(log_of(tmp_path, text).chunks(WANTED))
        monkeypatch.setattr(csv_file, "whole_lines_of", lambda stream: encodings.whole_lines_of(stream, 64))
        chunks = list(log_of(tmp_path, text).chunks(WANTED))
        assert len(chunks) > 5
        assert rows_of(chunks) == rows_of(whole)
        assert rows_of(whole)[-1] == (30, "G1", 28)
        assert sum((chunk.malformed for chunk in chunks), ()) == ((5, "4 fields where the header has 3"),)

    def test_windows_1252(self, tmp_path: Path) -> None:
        """Bytes that are not UTF-8 are read as Windows-1252."""
        log = log_of(tmp_path, "Time,Unit,Hours\n2026-01-01 00:00,Groß,1\n".encode("cp1252"))
        assert rows_of(list(log.chunks(WANTED))) == [(2, "Groß", 1)]


def test_types_of_a_clean_file(tmp_path: Path) -> None:
    """A clean file is read into instants, words of a dictionary and numbers, without going through text."""
    (chunk,) = log_of(tmp_path, "Time,Unit,Hours\n2026-01-01 00:00,G1,1.5\n").chunks(WANTED)
    kinds = [cells.type for cells in chunk.cells.values() if isinstance(cells, pa.ChunkedArray)]
    assert kinds == [pa.timestamp("us"), pa.dictionary(pa.int32(), pa.string()), pa.float64()]


def test_decimal_comma(tmp_path: Path) -> None:
    """The decimal mark is found in the first rows."""
    log = log_of(tmp_path, "Time;Unit;Hours\n2026-01-01 00:00;G1;1,5\n")
    assert log.marks([2]) == Marks(",", is_known=True)


def test_stated_decimal_mark(tmp_path: Path) -> None:
    """A stated mark needs no proof."""
    log = log_of(tmp_path, "Time;Unit;Hours\n2026-01-01 00:00;G1;1,234\n", CsvOptions(decimal=","))
    assert log.marks([2]) == Marks(",", is_known=True, is_stated=True)


def test_line_by_line_in_several_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long stretch that is read line by line comes in chunks."""
    monkeypatch.setattr(csv_lines, "_ROWS_A_CHUNK", 2)
    text = "Time,Unit,Hours,Note\n" + "".join(f'2026-01-0{day},G1,{day},"a\nb"\n' for day in range(1, 6))
    chunks = list(log_of(tmp_path, text).chunks(WANTED))
    assert [len(chunk) for chunk in chunks] == [2, 2, 1]
    assert [row[0] for row in rows_of(chunks)] == [2, 4, 6, 8, 10]


def test_cell_longer_than_any(tmp_path: Path) -> None:
    """A cell of more letters than Python's reader takes sets its row aside and harms no other."""
    text = 'Time,Unit,Hours,Note\n2026-01-01,"G1",1,"' + "x" * 200_000 + "\n2026-01-02,G1,2,\n"
    chunks = list(log_of(tmp_path, text).chunks(WANTED))
    assert rows_of(chunks)[-1] == (3, "G1", 2)
    assert sum(len(chunk) + len(chunk.malformed) for chunk in chunks) == 2
