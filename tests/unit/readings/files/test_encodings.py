"""Bytes of any encoding to UTF-8, and its whole lines."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.files.encodings import UnknownEncodingError, WholeLines, as_utf8, open_text, whole_lines_of

TEXT = "Zeit;Öltemperatur\n1;2\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
def test_found_encoding(tmp_path: Path, encoding: str) -> None:
    """A byte order mark, the zeros of two-byte text, and what is not UTF-8 are recognised."""
    path = tmp_path / "log.csv"
    path.write_bytes(TEXT.encode(encoding))
    stream, found = open_text(path, None)
    with stream:
        assert as_utf8(stream.read(), found).decode() == TEXT


@pytest.mark.parametrize("encoding", ["latin-1", "cp1252", "utf-16-le", "cp850", "utf-8"])
def test_stated_encoding(tmp_path: Path, encoding: str) -> None:
    """A stated encoding is the one that is read."""
    path = tmp_path / "log.csv"
    path.write_bytes(TEXT.encode(encoding))
    stream, found = open_text(path, encoding)
    with stream:
        assert as_utf8(stream.read(), found).decode() == TEXT


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le", "utf-16-be", "utf-32-le"])
@pytest.mark.parametrize("stated", [True, False])
def test_marks_before_the_text(tmp_path: Path, encoding: str, *, stated: bool) -> None:
    """Two byte order marks, as a program leaves that puts one before a file that has one, are no part of the first name."""
    path = tmp_path / "log.csv"
    path.write_bytes(("\ufeff\ufeff" + TEXT).encode(encoding))
    stream, found = open_text(path, encoding if stated else None)
    with stream:
        assert as_utf8(stream.read(), found).decode() == TEXT


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        # one program wrote the name, another one the remark
        ("Süd;1;".encode() + "Öl".encode("cp1252") + b"\n", "Süd;1;Öl\n"),
        # the bytes of the first are UTF-8 for a small letter, but not beside the others of the cell
        (b'\xc9\x94 \xe9;"\xc3\xa9, \xe9"\n', 'É” é;"é, é"\n'),
        # a letter cut off in the middle, by a program that counts bytes
        ("Süd".encode() + b";Gr\xc3\n" + "Süd\n".encode(), "Süd;GrÃ\nSüd\n"),
        (b"\xfc\t" + "ü".encode() + b"|\xfc,\xfc\r\n\r\n\xfc", "ü\tü|ü,ü\r\n\r\nü"),
        (b"\x81;" + "ü".encode(), "\ufffd;ü"),
    ],
)
def test_cells_of_two_encodings(data: bytes, expected: str) -> None:
    """Each cell is UTF-8 or else Windows-1252 (whose tables these bytes are taken from), whatever the cells around it are."""
    assert as_utf8(data, None).decode() == expected


@given(
    st.lists(
        st.tuples(st.text(st.sampled_from("aé°Öß€ 1"), max_size=6), st.sampled_from(["utf-8", "cp1252"]), st.sampled_from(",;|\t\n")),
        max_size=30,
    ),
    st.data(),
)
def test_encoding_does_not_depend_on_the_cut(cells: list[tuple[str, str, str]], data: st.DataObject) -> None:
    """Lines made UTF-8 in two goes are those made in one."""
    raw = b"".join(text.encode(encoding) + mark.encode() for text, encoding, mark in cells)
    ends = [0, *(place + 1 for place, byte in enumerate(raw) if byte == ord("\n"))]
    cut = data.draw(st.sampled_from(ends))
    assert as_utf8(raw[:cut], None) + as_utf8(raw[cut:], None) == as_utf8(raw, None)


def test_stated_encoding_that_does_not_fit(tmp_path: Path) -> None:
    """Bytes that are no text in the stated encoding are refused, not replaced."""
    path = tmp_path / "log.csv"
    path.write_bytes(TEXT.encode("cp1252"))
    stream, found = open_text(path, "utf-8")
    with stream, pytest.raises(UnicodeError):
        as_utf8(stream.read(), found)


def test_encoding_that_does_not_exist(tmp_path: Path) -> None:
    """An encoding that nobody knows is refused by name."""
    path = tmp_path / "log.csv"
    path.write_bytes(b"a")
    with pytest.raises(UnknownEncodingError):
        open_text(path, "utf-9")


def test_lone_carriage_returns(tmp_path: Path) -> None:
    """A file whose lines end in carriage returns alone has lines too."""
    path = tmp_path / "log.csv"
    path.write_bytes(b"a;b\r1;2\r3;4\r")
    stream, _ = open_text(path, None)
    with stream:
        assert stream.read() == b"a;b\n1;2\n3;4\n"


def parts(data: bytes, size: int) -> list[bytes]:
    """Return the whole lines of some bytes."""
    return [bytes(lines.view) for lines in whole_lines_of(BytesIO(data), size)]


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8, 100])
def test_chunks_are_whole_lines(size: int) -> None:
    """However small the buffer, the lines end where a line ends, and nothing is lost."""
    data = b"one\ntwo two\n\nthree\nlast"
    found = parts(data, size)
    assert b"".join(found) == data
    assert all(part.endswith(b"\n") for part in found[:-1])


def test_chunk_does_not_end_inside_quotes() -> None:
    """A quoted cell that runs over a line end stays whole."""
    data = b'1;"a\nb"\n2;"c\nd"\n'
    assert parts(data, 12) == [b'1;"a\nb"\n', b'2;"c\nd"\n']


def test_stray_quote_does_not_hold_up_the_rest() -> None:
    """A quote that is never closed does not keep the whole file together."""
    data = b'"open\n' + b"1;2\n" * 100
    assert b"".join(parts(data, 40)) == data
    assert len(parts(data, 40)) > 5


@pytest.mark.parametrize(("data", "count"), [(b"a\nb\n", 2), (b"a\nb", 2), (b"", 0), (b"\n\n", 2)])
def test_line_count(data: bytes, count: int) -> None:
    """The last line counts with or without its end."""
    assert WholeLines(bytearray(data + b"rest"), len(data), 0).line_count() == count
