"""Entries in the user's cache folder: what was worked out before and can be had again from the same files.

In: a kind and a key, bytes. Out: the same bytes, or nothing. Refuses nothing and says nothing: a folder that cannot be used, an entry
that is not whole, a disk that is full all mean that the work is done again.

An entry is one file: blocks of bytes, then an index and a head of plain JSON with the digest of both. It is written under another name
and takes its own in one step, so that two runs at once do not see half of one another's. The folder is the user's alone.
"""

from __future__ import annotations

import hashlib
import json
import mmap
import os
import secrets
import stat
import struct
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import cached_property
from pathlib import Path
from typing import IO, Any

from intervals.file_contents import FileContent, contents_of

MOST_BYTES = 2_000_000_000
"""All entries together take no more than this; those that were used longest ago go first."""
MOST_DAYS = 90
"""An entry that was not used for so long goes."""
FEWEST_BYTES = 2_000_000
"""Of a log of fewer bytes (some 50,000 rows of text) nothing is kept: it is read and judged sooner than entries are looked for."""
MOST_BYTES_IN_HAND = 4_000_000
"""Larger entries are looked at where they lie: each takes a place among the files that a process may have open."""

_MAGIC = b"intervals-cache1"
_END = struct.Struct("<QQQ32s")
_ALIGNED_BYTES = 64
_DAY_S = 86_400
_PART = ".part"
Buffer = bytes | memoryview


def pays_for(log_bytes: int) -> bool:
    """Tell whether a log of so many bytes is large enough for something to be kept of it."""
    return log_bytes >= FEWEST_BYTES


class Entry:
    """An entry whose index and head are whole; its blocks are not looked at before they are asked for.

    Attributes:
        head: plain data.
        index: bytes of what the head describes.
    """

    def __init__(self, stream: IO[bytes], head: dict[str, Any], index: bytes, blocks_end: int) -> None:
        self.head = head
        self.index = index
        self._end = blocks_end
        if blocks_end > MOST_BYTES_IN_HAND:
            self._blocks = memoryview(mmap.mmap(stream.fileno(), blocks_end, access=mmap.ACCESS_READ))
        else:
            stream.seek(0)
            self._blocks = memoryview(stream.read(blocks_end))

    def block(self, start: int, size: int) -> memoryview:
        """Return a block of bytes, which nobody has looked at yet; ValueError where the entry has no such block."""
        if start < 0 or size < 0 or start + size > self._end:
            message = "beyond the entry"
            raise ValueError(message)
        return self._blocks[start : start + size]


class EntryWriter:
    """Writes one entry; whatever keeps it from being written leaves nothing behind.

    Args:
        path: the file of the entry.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._part = path.with_name(f"{path.name}.{secrets.token_hex(8)}{_PART}")
        self._stream: IO[bytes] | None = None
        self.bytes = 0
        with suppress(OSError):
            descriptor = os.open(self._part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
            self._stream = os.fdopen(descriptor, "wb")
        self._write(_MAGIC)

    def add(self, block: Buffer) -> int:
        """Write a block, and return where it begins."""
        self._write(bytes(-self.bytes % _ALIGNED_BYTES))
        start = self.bytes
        self._write(block)
        return start

    def finish(self, head: dict[str, Any], index: bytes = b"") -> bool:
        """Write index and head, and give the entry its name; return whether it is there."""
        blocks_end = self.bytes
        last = index + json.dumps(head).encode()
        size = len(last) - len(index)
        self._write(last)
        self._write(_END.pack(blocks_end, len(index), size, _digest(blocks_end, last)))
        if self._stream is None:
            return False
        try:
            self._stream.close()
            self._part.replace(self._path)
        except OSError:
            self.abandon()
            return False
        return True

    def abandon(self) -> None:
        """Leave nothing behind."""
        if self._stream is not None:
            with suppress(OSError):
                self._stream.close()
            self._stream = None
        with suppress(OSError):
            self._part.unlink(missing_ok=True)

    def _write(self, data: Buffer) -> None:
        """Write bytes behind those before."""
        self.bytes += len(data)
        if self._stream is None:
            return
        try:
            self._stream.write(data)
        except OSError:
            self.abandon()


class UserCache:
    """The entries of one folder.

    Args:
        folder: the folder; only the user may look into it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._is_written = False
        self._contents: dict[Path, FileContent] = {}

    def contents_of(self, paths: Iterable[Path]) -> dict[Path, FileContent]:
        """Return the content of files, each looked at once in a run, as long as it does not change; OSError where nothing can be kept."""
        return contents_of(paths, self._now_ns(), self._contents)

    def _now_ns(self) -> int:
        """Return the time by the clock that files are dated by, nanoseconds; OSError where nothing can be written."""
        os.utime(self.folder)
        return self.folder.stat().st_mtime_ns

    def find(self, kind: str, key: str) -> Entry | None:
        """Return an entry whose index and head are whole, or None."""
        path = self.folder / f"{kind}-{key}"
        try:
            descriptor = os.open(
                path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
            )
            with os.fdopen(descriptor, "rb") as stream:
                status = os.fstat(descriptor)
                if not stat.S_ISREG(status.st_mode) or not _is_own(status):
                    return None
                entry = _entry_of(stream, status.st_size)
            if entry is not None:
                # what was used last goes last
                os.utime(path)
        except (OSError, ValueError):
            # JSON that cannot be read is a ValueError
            return None
        return entry

    def writer(self, kind: str, key: str) -> EntryWriter:
        """Return what writes an entry, in place of one that is there."""
        self._is_written = True
        return EntryWriter(self.folder / f"{kind}-{key}")

    def drop(self, kind: str, key: str) -> None:
        """Remove an entry of which a block turned out not to be as it was written."""
        with suppress(OSError):
            (self.folder / f"{kind}-{key}").unlink(missing_ok=True)

    def trim(self) -> None:
        """Remove what was not used for long, and, where more is left than is allowed, what was used longest ago; after a run that wrote."""
        if not self._is_written:
            return
        self._is_written = False
        kept: list[tuple[float, int, str]] = []
        with suppress(OSError), os.scandir(self.folder) as entries:
            now_s = self._now_ns() / 1e9
            for entry in entries:
                with suppress(OSError):
                    status = entry.stat(follow_symlinks=False)
                    days = 1 if entry.name.endswith(_PART) else MOST_DAYS
                    if not stat.S_ISREG(status.st_mode):
                        continue
                    if now_s - status.st_mtime > days * _DAY_S:
                        Path(entry.path).unlink(missing_ok=True)
                    else:
                        kept.append((status.st_mtime, status.st_size, entry.path))
        left = sum(size for _, size, _ in kept)
        for _, size, path in sorted(kept):
            if left <= MOST_BYTES:
                break
            with suppress(OSError):
                Path(path).unlink(missing_ok=True)
                left -= size


def _entry_of(stream: IO[bytes], size: int) -> Entry | None:
    """Return the entry of an open file, or None where its end is not what was written."""
    if size < len(_MAGIC) + _END.size or stream.read(len(_MAGIC)) != _MAGIC:
        return None
    stream.seek(size - _END.size)
    blocks_end, index_size, head_size, digest = _END.unpack(stream.read(_END.size))
    if blocks_end + index_size + head_size + _END.size != size:
        return None
    stream.seek(blocks_end)
    last = stream.read(index_size + head_size)
    if len(last) != index_size + head_size or _digest(blocks_end, last) != digest:
        return None
    return Entry(stream, json.loads(last[index_size:]), last[:index_size], blocks_end)


def _digest(blocks_end: int, last: bytes) -> bytes:
    """Return the digest of index and head, and of where they begin."""
    return hashlib.sha256(_MAGIC + blocks_end.to_bytes(8, "little") + last).digest()


def _is_own(status: os.stat_result) -> bool:
    """Tell whether a file or folder is the user's, and nobody else may write to it; where there are no such rights, it is."""
    if not hasattr(os, "geteuid"):
        return True
    return status.st_uid == os.geteuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def user_cache() -> UserCache | None:
    """Return the cache of whoever runs the program, its folder made where it is not there; None where there can be none."""
    from platformdirs import user_cache_path  # noqa: PLC0415 - only large logs ask for it

    try:
        folder = user_cache_path("intervals", appauthor=False)
        if not folder.is_absolute():
            return None
        folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        with suppress(FileExistsError):
            folder.mkdir(mode=0o700)
        status = folder.lstat()
    except (OSError, RuntimeError):
        # no home at all is a RuntimeError
        return None
    is_private = not hasattr(os, "geteuid") or not status.st_mode & 0o077
    return UserCache(folder) if stat.S_ISDIR(status.st_mode) and _is_own(status) and is_private else None


class _Run:
    """One run of a command that may use the cache, which is looked for once."""

    @cached_property
    def cache(self) -> UserCache | None:
        """The user's cache."""
        return user_cache()


_RUN: ContextVar[_Run | None] = ContextVar("run", default=None)


@contextmanager
def using_cache() -> Iterator[None]:
    """Let what is read and judged in here use the user's cache; what uses this package as a library goes without."""
    token = _RUN.set(_Run())
    try:
        yield
    finally:
        _RUN.reset(token)


def cache_of_run() -> UserCache | None:
    """Return the cache that this run may use; None where it was not asked for, or there is none."""
    run = _RUN.get()
    return None if run is None else run.cache
