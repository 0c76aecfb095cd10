"""Quotes that can be read in one way only, and those that cannot."""

from __future__ import annotations

import csv

import pytest

from intervals.readings.files.csv_quotes import is_well_quoted

ONE_WAY = {
    "around a cell": b'1;"a";2\n',
    "around every cell": b'"1";"a";"2"\r\n"3";"b";"4"\r\n',
    "at both ends of the lines": b'"a"',
    "around nothing": b'1;"";2\n',
    "two for one": b'1;"5"" pipe";2\n',
    "two for one at a cell's ends": b'1;"""all""";2\n',
    "one alone, written as two": b'1;"""";2\n',
    "around a line end": b'1;"two\nlines";2\n',
    "around a separator": b'1;"a;b";2\n',
    "a letter": b'1;5" pipe;2\n1;6" pipe;2\n',
    "two letters": b'1;the "best" oil;2\n',
    "a letter behind a blank": b'1; "a";2\n',
    "a letter in one line, around a cell in another": b'1;5" pipe;2\n1;"a";2\n',
}
SEVERAL_WAYS = {
    "never closed": b'1;"a;2\n',
    "never closed in two lines": b'1;"a;2\n1;"b;2\n',
    "closed within a cell": b'1;"a" b;2\n',
    "closed twice": b'1;"a"b";2\n1;";2\n',
    "nothing, then letters": b'1;""a;2\n',
    "behind the closing one": b'1;"a"";2\n',
    "one, then one that is a letter": b'1;"open;"a;b"\n1;;"open\n',
    "a letter beside a quoted cell": b'1;"a";5" pipe\n',
    "a letter within a quoted line end": b'1;"a\n5" pipe\nb";2\n',
    "alone before the line end": b'1;2;"\r\n',
}


@pytest.mark.parametrize("data", ONE_WAY.values(), ids=ONE_WAY)
def test_one_way(data: bytes) -> None:
    """Quotes around whole cells, two for one in them, and letters of other cells: csv of the standard library takes them as strict."""
    assert is_well_quoted(data, ";")
    assert list(csv.reader(data.decode().splitlines(keepends=True), delimiter=";", strict=True))


@pytest.mark.parametrize("data", SEVERAL_WAYS.values(), ids=SEVERAL_WAYS)
def test_several_ways(data: bytes) -> None:
    """A quote that is not closed, or closed before its cell ends: each line has to be looked at."""
    assert not is_well_quoted(data, ";")


@pytest.mark.parametrize("separator", [",", "\t", "|"])
def test_separators(separator: str) -> None:
    """What parts cells decides where a cell begins and ends."""
    row = separator.join(["1", '"a"', "2"]).encode()
    assert is_well_quoted(row, separator)
    assert is_well_quoted(row + b'\n"a;b"', separator)
    assert not is_well_quoted(b'"a";2', separator)


@pytest.mark.parametrize("shift", range(4))
def test_border_of_pieces(shift: int) -> None:
    """Lines that are looked at in pieces of a megabyte are seen whole, wherever a piece ends."""
    head = b"1;2;3\n" * 174_762 + b"1" * (shift + 1)
    for cell, is_right in ((b'"a"', True), (b'""', True), (b'""""', True), (b'"a" b', False), (b'"', False)):
        assert is_well_quoted(head + b";" + cell + b";2\n", ";") is is_right
