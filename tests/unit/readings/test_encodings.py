"""Bytes of any encoding to UTF-8, and lines to chunks."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest

from intervals.readings.encodings import Chunk, UnknownEncodingError, as_utf8, chunks_of, open_text

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
    """Return the chunks of some bytes."""
    return [bytes(chunk.view) for chunk in chunks_of(BytesIO(data), size)]


@pytest.mark.parametrize("size", [1, 2, 3, 7, 8, 100])
def test_chunks_are_whole_lines(size: int) -> None:
    """However small the buffer, a chunk ends where a line ends, and nothing is lost."""
    data = b"one\ntwo two\n\nthree\nlast"
    found = parts(data, size)
    assert b"".join(found) == data
    assert all(part.endswith(b"\n") for part in found[:-1])


def test_chunk_does_not_end_inside_quotes() -> None:
    """A quoted cell that runs over a line end stays in one chunk."""
    data = b'1;"a\nb"\n2;"c\nd"\n'
    assert parts(data, 12) == [b'1;"a\nb"\n', b'2;"c\nd"\n']


def test_stray_quote_does_not_hold_up_the_rest() -> None:
    """A quote that is never closed does not make one chunk of the whole file."""
    data = b'"open\n' + b"1;2\n" * 100
    assert b"".join(parts(data, 40)) == data
    assert len(parts(data, 40)) > 5


@pytest.mark.parametrize(("data", "count"), [(b"a\nb\n", 2), (b"a\nb", 2), (b"", 0), (b"\n\n", 2)])
def test_line_count(data: bytes, count: int) -> None:
    """The last line counts with or without its end."""
    assert Chunk(bytearray(data + b"rest"), len(data), 0).line_count() == count
