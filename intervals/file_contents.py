"""What files hold, as digests, and whether they still hold it after they were read.

In: paths. Out: `FileContent` values. Refuses nothing: a file that cannot be read has none.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

SETTLED_NS = 2_000_000_000
"""A file that was changed so shortly before may be changed again without its time showing it."""
_DIGESTS_AT_ONCE = 2


class FileContent(NamedTuple):
    """The content of a file, and when it was last changed.

    Attributes:
        digest: of its bytes.
        changed: size, number and times of the file before they were read.
    """

    digest: str
    changed: tuple[int, ...]


def contents_of(paths: Iterable[Path], now_ns: int, known: dict[Path, FileContent]) -> dict[Path, FileContent]:
    """Return the content of files, without those that cannot be read, or were changed just now.

    Args:
        paths: the files.
        now_ns: the time by the clock that files are dated by.
        known: what this run has found before, to which what is found is added.
    """
    listed = list(paths)
    with ThreadPoolExecutor(_DIGESTS_AT_ONCE) as pool:
        found = pool.map(lambda path: _content_of(path, now_ns, known.get(path)), listed)
        contents = {path: content for path, content in zip(listed, found, strict=True) if content is not None}
    known.update(contents)
    return contents


def is_unchanged(path: Path, content: FileContent) -> bool:
    """Tell whether a file is still the one whose content was looked at."""
    try:
        return _changed_of(path) == content.changed
    except OSError:
        return False


def _content_of(path: Path, now_ns: int, known: FileContent | None) -> FileContent | None:
    """Return the content of one file."""
    try:
        changed = _changed_of(path)
        if now_ns - max(changed[2:]) < SETTLED_NS:
            return None
        if known is not None and known.changed == changed:
            return known
        with path.open("rb") as stream:
            return FileContent(hashlib.file_digest(stream, "sha256").hexdigest(), changed)
    except OSError:
        return None


def _changed_of(path: Path) -> tuple[int, ...]:
    """Return what changes with a file: its size, its number, the times of its content and of its entry."""
    status = path.stat()
    return status.st_size, status.st_ino, status.st_mtime_ns, status.st_ctime_ns
