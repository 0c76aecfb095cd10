"""Files written whole or not at all.

In: a path and its content. Out: the file, complete, or the file as it was before. Refuses what is not a regular file, and a folder
that does not exist, by `RequestProblemError`.
"""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from intervals.problems import Problem, RequestProblemError


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file so that at no moment a part of it can be seen under its name.

    The content goes to a temporary file in the same folder, is forced to the disk and then takes the place of the old file in one
    step. A link is followed; the permissions of a file that is replaced are kept.

    Args:
        path: the file.
        content: bytes, or text that is written as UTF-8 with its line ends as they are.

    Raises:
        RequestProblemError: the place cannot be written to (code CLI110).
    """
    target = path.resolve()
    if target.exists() and not target.is_file():
        raise _refused(path, "is not a regular file", "name a file that may be written or replaced")
    if not target.parent.is_dir():
        raise _refused(path, f"there is no folder {path.parent}", "make the folder first")
    data = content.encode("utf-8") if isinstance(content, str) else content
    # the name cannot be guessed and the file must be new, so that nothing can be put in its way; the usual mask of permissions holds
    part = target.parent / f".{target.name}.{secrets.token_hex(8)}.part"
    try:
        _write_new(part, data)
        if target.exists():
            part.chmod(target.stat().st_mode & 0o7777)
        part.replace(target)
        _force_folder(target.parent)
    except OSError as error:
        raise _refused(path, f"cannot be written: {error.strerror or error}", None) from error
    finally:
        part.unlink(missing_ok=True)


def _write_new(part: Path, data: bytes) -> None:
    """Write a file that must not exist yet and force it to the disk."""
    with part.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _force_folder(folder: Path) -> None:
    """Force the folder's entry to the disk, where the system lets a folder be opened."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _refused(path: Path, found: str, fix: str | None) -> RequestProblemError:
    """Return the error for a place that cannot be written to."""
    return RequestProblemError([Problem(code="CLI110", file=str(path), line=None, path=None, text=found, fix=fix)])
