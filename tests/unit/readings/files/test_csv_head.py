"""Where a header is and how fields are parted."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from intervals.readings.files.csv_head import CsvOptions, CsvShape, read_shape

SOUGHT = {"Time", "Hours"}


def shape_of(tmp_path: Path, text: str, options: CsvOptions | None = None) -> CsvShape:
    """Return the layout of a text in which the columns Time and Hours are sought."""
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8", newline="")

    def score(names: Sequence[str]) -> float:
        return len(SOUGHT & {name.strip() for name in names}) / len(SOUGHT)

    return read_shape(path, options or CsvOptions(), score)


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separator_is_found(tmp_path: Path, separator: str) -> None:
    """The separator is the one with which the header holds the sought columns."""
    shape = shape_of(tmp_path, f"Time{separator}Hours\n1{separator}2\n")
    assert (shape.separator, shape.header, shape.header_line) == (separator, ("Time", "Hours"), 1)


def test_stated_separator(tmp_path: Path) -> None:
    """A stated separator is the only one that is tried."""
    assert shape_of(tmp_path, "Time^Hours\n", CsvOptions(separator="^")).header == ("Time", "Hours")


def test_lines_before_the_header(tmp_path: Path) -> None:
    """The header is the first line that holds all sought columns, whatever stands above it."""
    shape = shape_of(tmp_path, 'Plant log\n"Export, of 2026"\n\nTime;Unit\nTime;Hours\n1;2\n')
    assert (shape.header_line, shape.header, shape.separator) == (5, ("Time", "Hours"), ";")


def test_header_beyond_thirty_lines_is_not_found(tmp_path: Path) -> None:
    """Only thirty lines are looked at; the first of them is then shown as what the file has."""
    assert shape_of(tmp_path, "Notes\n" * 30 + "Time;Hours\n").header == ("Notes",)


def test_skip_rows(tmp_path: Path) -> None:
    """Where the lines before the header are stated, the header is the line after them and no other."""
    text = "Time;Hours;old\nTime;Hours;new\n"
    assert shape_of(tmp_path, text).header[-1] == "old"
    assert shape_of(tmp_path, text, CsvOptions(skip_rows=1)).header[-1] == "new"
    assert shape_of(tmp_path, "x\n" + text, CsvOptions(skip_rows=0)).header == ("x",)


def test_header_that_lacks_a_column(tmp_path: Path) -> None:
    """Where no line holds all, the line that holds most is the header."""
    assert shape_of(tmp_path, "Plant log\nTime;Stunden\n1;2\n").header == ("Time", "Stunden")


TABLE = "Zeit;Aggregat;Bh;kW\n01.01.2026;Süd;8,5;430,5\n02.01.2026;Süd;9,5;431,5\n"


@pytest.mark.parametrize(
    "above",
    [
        "",
        "Export Leitsystem;Bachmühle\n",
        "Export Leitsystem;Bachmühle\nErstellt;02.01.2026 06:00\n\n",
        "Export Leitsystem;Bachmühle;;\nErstellt;02.01.2026 06:00;;\n",
        "Leitsystem, Version 3, Stand 2026, alle Anlagen, Bachmühle, Süd\n",
    ],
)
def test_of_a_table_of_other_columns_the_header_is_shown(tmp_path: Path, above: str) -> None:
    """Where none of what is sought is there, the header is the line of words that is as wide as the rows below it."""
    shape = shape_of(tmp_path, above + TABLE)
    assert (shape.header, shape.separator) == (("Zeit", "Aggregat", "Bh", "kW"), ";")
    assert shape.header_line == above.count("\n") + 1


@pytest.mark.parametrize(
    ("text", "header"),
    [
        ("Zeit;1;2;3\n01.01.2026;8,5;9,5;7,5\n", ("Zeit", "1", "2", "3")),
        ("Anlage Bachmühle\n;Zeit;Bh\n0;01.01.2026;8,5\n1;02.01.2026;9,5\n", ("", "Zeit", "Bh")),
        ("Zeit;Bh\n01.01.2026;8,5;;\n02.01.2026;9,5;;\n", ("Zeit", "Bh")),
        ("Anlage Bachmühle\nZeit;Bh;kW\n", ("Zeit", "Bh", "kW")),
        ("Betriebsstunden\n8\n9\n", ("Betriebsstunden",)),
    ],
)
def test_headers_of_other_columns_that_are_not_as_wide_as_their_rows(tmp_path: Path, text: str, header: tuple[str, ...]) -> None:
    """Names that are numbers, a first column without a name, rows that end with separators, no rows at all, and one column."""
    assert shape_of(tmp_path, text).header == header


def test_header_cell_over_two_lines(tmp_path: Path) -> None:
    """A quoted header cell may run over a line end; the header then ends at its last line."""
    path = tmp_path / "log.csv"
    path.write_text('Time,"Oil\ntemperature",Hours\n1,2,3\n', encoding="utf-8")
    shape = read_shape(path, CsvOptions(), lambda names: len({"Time", "Oil temperature", "Hours"} & set(names)) / 3)
    assert (shape.header, shape.header_line) == (("Time", "Oil temperature", "Hours"), 2)


def test_comment_lines(tmp_path: Path) -> None:
    """A comment is neither header nor sample."""
    shape = shape_of(tmp_path, "# Time;Hours\nTime;Hours\n# x\n1;2\n", CsvOptions(comment="#"))
    assert (shape.header_line, shape.samples) == (2, (("1", "2"),))


def test_separator_at_the_end_of_every_row(tmp_path: Path) -> None:
    """A blank field at the end of the rows is no column, and neither is one at the end of the header."""
    shape = shape_of(tmp_path, "Time;Hours\n1;2;\n3;4;\n")
    assert (shape.header, shape.width) == (("Time", "Hours"), 3)
    assert shape_of(tmp_path, "Time;Hours;;\n1;2\n").header == ("Time", "Hours")


@pytest.mark.parametrize("text", ["", "\n\n", " \n"])
def test_empty_file(tmp_path: Path, text: str) -> None:
    """A file of nothing has no header."""
    shape = shape_of(tmp_path, text)
    assert (shape.header, shape.header_line) == ((), 0)
