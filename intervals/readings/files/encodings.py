"""Bytes of a text file to UTF-8, whatever they were written in, in chunks that end where a row ends.

In: a file and, if the site states it, its encoding. Out: a stream without byte order mark, and its lines, many at a time (`WholeLines`).
Refuses bytes that are not text in the stated encoding.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from io import SEEK_END, BytesIO
from typing import BinaryIO, NamedTuple

from intervals.addresses import FilePlace

READ_BYTES = 16 * 1024 * 1024
_HEAD_BYTES = 64 * 1024
_ZEROS_WITHIN_BYTES = 4096
_WIDE_SHARE = 0.4
_LINES_BACK = 50
# UTF-32 first: its mark begins with that of UTF-16
_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# a cell of a line with letters beyond ASCII, whichever mark parts cells; it begins where a cell begins, so that none is gone over twice
_CELL = re.compile(rb"(?<![^,;|\t])[^,;|\t\x80-\xff]*[\x80-\xff][^,;|\t]*")
_ASCII_BLANKED = 128 * b" " + bytes(range(128, 256))
_WHOLE = frozenset({"utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be", "utf-7"})


class UnknownEncodingError(Exception):
    """There is no encoding of the stated name."""


class WholeLines(NamedTuple):
    """Whole lines of a file in a buffer that the next ones may be read into.

    Attributes:
        buffer: the bytes, and after them others that mean nothing.
        end: how many of them are the lines.
        quotes: how many of those are double quotes.
    """

    buffer: bytes | bytearray
    end: int
    quotes: int

    @property
    def view(self) -> memoryview:
        """The lines without copying them."""
        return memoryview(self.buffer)[: self.end]

    def has(self, sought: bytes) -> bool:
        """Say whether the lines hold these bytes."""
        return self.buffer.find(sought, 0, self.end) >= 0

    def line_count(self) -> int:
        """Return the number of lines; the last one counts without its end as well."""
        ends = self.buffer.count(b"\n", 0, self.end)
        return ends + (self.end > 0 and self.buffer[self.end - 1 : self.end] != b"\n")


def open_text(path: FilePlace, encoding: str | None) -> tuple[BinaryIO, str | None]:
    """Return a stream of a text file's bytes after its byte order mark, with lines that end in a line feed.

    Args:
        path: the file.
        encoding: the encoding that the site states, or None: then a byte order mark or the look of the bytes decides.

    Returns:
        The stream, and the encoding of its bytes for `as_utf8`; None stands for UTF-8, or for cells where that fails Windows-1252.

    Raises:
        OSError: the file cannot be opened.
        UnicodeError: the bytes are no text in that encoding.
        UnknownEncodingError: there is no such encoding.
    """
    stream = path.open("rb")
    try:
        head = stream.read(_HEAD_BYTES)
        encoding = _known(encoding) if encoding else None
        mark, marked = next(((mark, name) for mark, name in _MARKS if head.startswith(mark)), (b"", None))
        encoding = _wide_without_mark(head) if encoding is None and marked is None else encoding or marked
        if encoding in _WHOLE:
            stream.seek(0)
            text = stream.read().decode(marked or encoding).lstrip("\ufeff")
            stream.close()
            return BytesIO(_with_line_feeds(text.encode("utf-8"))), None
        stream.seek(_marks_end(head, mark))
        if b"\r" in head and b"\n" not in head:
            whole = stream.read()
            stream.close()
            return BytesIO(_with_line_feeds(whole)), None if encoding == "utf-8" and marked else encoding
    except BaseException:
        stream.close()
        raise
    return stream, None if marked == "utf-8" else encoding


def _marks_end(head: bytes, mark: bytes) -> int:
    """Return where the text begins: a program that puts its mark before a file that has one makes two of them."""
    end = len(mark)
    while mark and head.startswith(mark, end):
        end += len(mark)
    return end


def _known(encoding: str) -> str:
    """Return the one name of an encoding."""
    try:
        return codecs.lookup(encoding).name
    except LookupError:
        raise UnknownEncodingError(encoding) from None


def _wide_without_mark(head: bytes) -> str | None:
    """Return the two-byte encoding that the zeros of Latin text betray, or None."""
    head = head[:_ZEROS_WITHIN_BYTES]
    half = max(len(head) // 2, 1)
    if head[1::2].count(0) > half * _WIDE_SHARE:
        return "utf-16-le"
    return "utf-16-be" if head[0::2].count(0) > half * _WIDE_SHARE else None


def _with_line_feeds(data: bytes) -> bytes:
    """Return the bytes with every lone carriage return as a line feed, if no line ends in one."""
    return data if b"\n" in data else data.replace(b"\r", b"\n")


def as_utf8(data: bytes | bytearray | memoryview, encoding: str | None) -> bytes:
    """Return bytes of a stream of `open_text` as UTF-8.

    Args:
        data: whole lines.
        encoding: what `open_text` returned.

    Returns:
        UTF-8. Where no encoding is stated, each cell that is not UTF-8 is taken for Windows-1252 (`text_of_bytes`): one program may
        have written the names and another one the remarks, and what a cell is does not depend on the cells around it.

    Raises:
        UnicodeError: the bytes are no text in the stated encoding.
    """
    raw = bytes(data)
    if raw.isascii():
        return raw
    if encoding is not None:
        return raw.decode(encoding).encode("utf-8")
    if _is_utf8(raw):
        return raw
    if not any(map(_is_utf8, set(raw.translate(_ASCII_BLANKED).split()))):
        # no cell can be UTF-8: all are of one encoding, as in most files that are not
        return _as_windows(raw).encode("utf-8")
    return b"\n".join(line if _is_utf8(line) else _CELL.sub(_cell_as_utf8, line) for line in raw.split(b"\n"))


def _cell_as_utf8(cell: re.Match[bytes]) -> bytes:
    """Return one cell as UTF-8."""
    return text_of_bytes(cell[0]).encode("utf-8")


def text_of_bytes(cell: bytes) -> str:
    """Return the text of one cell: UTF-8, or where it is not, Windows-1252, which has a letter for nearly any byte."""
    try:
        return cell.decode("utf-8")
    except UnicodeDecodeError:
        return _as_windows(cell)


def text_of_file(data: bytes) -> str:
    """Return the text of a whole small file, whatever an editor saved it in: UTF-8, UTF-16 or UTF-32 with or without a mark, Windows-1252.

    Bytes that are no text in it are marked as unreadable; marks at its beginning are left out.
    """
    marked = next((name for mark, name in _MARKS if data.startswith(mark)), None) or _wide_without_mark(data)
    text = text_of_bytes(data) if marked in (None, "utf-8") else data.decode(marked, errors="replace")
    return text.lstrip("\ufeff")


def _as_windows(data: bytes) -> str:
    """Return bytes as Windows-1252; the few that it has no letter for are marked as unreadable."""
    return data.decode("cp1252", errors="replace")


def _is_utf8(data: bytes) -> bool:
    """Say whether bytes are UTF-8."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def whole_lines_of(stream: BinaryIO, size: int = READ_BYTES) -> Iterator[WholeLines]:
    """Yield a stream's whole lines, read into one buffer, so that memory stays flat and is touched once.

    They do not end inside a quoted cell, as far as the quotes show.
    """
    start = stream.tell()
    length = stream.seek(0, SEEK_END) - start
    stream.seek(start)
    if length < size:
        whole = stream.read()
        if whole:
            yield WholeLines(whole, len(whole), _count_quotes(whole, len(whole)))
        return
    buffer = bytearray(size)
    kept = 0
    while True:
        with memoryview(buffer) as view:
            filled = kept + _fill(stream, view[kept:])
        if filled < len(buffer):
            if filled:
                yield WholeLines(buffer, filled, _count_quotes(buffer, filled))
            return
        end, quotes = _row_end(buffer, filled)
        if end:
            yield WholeLines(buffer, end, quotes)
            buffer[: filled - end] = buffer[end:filled]
            kept = filled - end
        else:
            buffer = buffer + bytearray(len(buffer))
            kept = filled


def _fill(stream: BinaryIO, view: memoryview) -> int:
    """Read until the view is full or the stream ends."""
    count = 0
    while count < len(view):
        got: int = stream.readinto(view[count:])  # type: ignore[attr-defined]
        if not got:
            break
        count += got
    return count


def _count_quotes(buffer: bytes | bytearray, end: int) -> int:
    """Return the number of double quotes; most files have none, which is found out faster than how many there are."""
    return 0 if buffer.find(b'"', 0, end) < 0 else buffer.count(b'"', 0, end)


def _row_end(buffer: bytearray, filled: int) -> tuple[int, int]:
    """Return where the last whole row ends, 0 if the buffer holds none, and how many quotes there are before."""
    last = buffer.rfind(b"\n", 0, filled) + 1
    total = _count_quotes(buffer, last)
    end, quotes = last, total
    for _ in range(_LINES_BACK):
        if quotes % 2 == 0:
            return end, quotes
        before = buffer.rfind(b"\n", 0, end - 1) + 1
        if not before:
            break
        quotes -= buffer.count(b'"', before, end)
        end = before
    # a stray quote: the rows are looked at one by one anyway
    return last, total
