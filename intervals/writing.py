"""Files written whole or not at all, and files of a site's own that are never opened through a link.

In: a path and its content. Out: the file, complete, or the file as it was before. Refuses what is not a regular file, and a folder
that does not exist, by `RequestProblemError`; `open_regular`, `read_regular` and `write_regular` by `OSError`, worded by who calls them.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
import stat
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from intervals.problems import Problem, RequestProblemError


def place_problem(path: Path) -> Problem | None:
    """Return what keeps a file from being written or replaced under its name, or None; what only writing it shows is not known yet."""
    target = path.resolve()
    if target.exists() and not target.is_file():
        return refused_target(path, "is not a regular file", "name a file that may be written or replaced")
    return None if target.parent.is_dir() else refused_target(path, f"there is no folder {path.parent}", "make the folder first")


def folder_problem(folder: Path) -> Problem | None:
    """Return what keeps a folder from taking files or being made, or None; the one above it must exist."""
    target = folder.resolve()
    if target.exists() and not target.is_dir():
        return refused_target(folder, "is not a folder", "name a folder that may be written to, or a new one")
    return None if target.parent.is_dir() else refused_target(folder, f"there is no folder {folder.parent}", "make the folder first")


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
    problem = place_problem(path)
    if problem is not None:
        raise RequestProblemError([problem])
    try:
        _exchange_one(path.resolve(), content)
    except OSError as error:
        raise _refused(path, f"cannot be written: {error.strerror or error}", None) from error


def write_regular(path: Path, content: str | bytes) -> None:
    """Write a file as `write_whole` does, but never through a link.

    Args:
        path: the file; under its name there is a regular file, or nothing.
        content: as for `write_whole`.

    Raises:
        OSError: a link or another thing has the name, or it cannot be written.
    """
    with suppress(FileNotFoundError):
        _check_regular(path, path.lstat().st_mode)
    _exchange_one(path, content)


def read_regular(path: Path, *, follows_links: bool = False, most_bytes: int | None = None) -> bytes:
    """Return the bytes of a regular file; a pipe or a device is never waited for.

    Args:
        path: the file.
        follows_links: whether it may be a link to such a file, as what a person names may be.
        most_bytes: no more than so many are read; None where all are.

    Raises:
        OSError: it is no such file, or it cannot be read.
    """
    with os.fdopen(open_regular(path, os.O_RDONLY, follows_links=follows_links), "rb") as stream:
        return stream.read(-1 if most_bytes is None else most_bytes)


def open_regular(path: Path, flags: int, mode: int = 0o666, *, follows_links: bool = False) -> int:
    """Return a descriptor of a regular file.

    Args:
        path: the file.
        flags: as `os.open` takes them.
        mode: permissions of a file that is made.
        follows_links: whether it may be a link to such a file.

    Raises:
        OSError: it is a link, a folder, a pipe or a device, or it cannot be opened.
    """
    if not follows_links and path.is_symlink():
        _check_regular(path, path.lstat().st_mode)
    flags |= 0 if follows_links else getattr(os, "O_NOFOLLOW", 0)
    # without O_NONBLOCK a pipe would be waited for before its kind is known
    flags |= getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    descriptor = os.open(path, flags, mode)
    try:
        _check_regular(path, os.fstat(descriptor).st_mode)
    except OSError:
        os.close(descriptor)
        raise
    return descriptor


def _check_regular(path: Path, mode: int) -> None:
    """Raise an OSError of what is no regular file, a link among it."""
    if not stat.S_ISREG(mode):
        kind = "is a link, which is not followed here" if stat.S_ISLNK(mode) else "is not a regular file"
        raise OSError(errno.EINVAL, kind, str(path))


def _exchange_one(target: Path, content: str | bytes) -> None:
    """Write a file beside its place and let it take the place in one step; OSError where it cannot."""
    data = content.encode("utf-8") if isinstance(content, str) else content
    # the name cannot be guessed and the file must be new, so that nothing can be put in its way; the usual mask of permissions holds
    part = target.parent / f".{target.name}.{secrets.token_hex(8)}.part"
    try:
        _write_new(part, data)
        if target.exists():
            part.chmod(target.stat().st_mode & 0o7777)
        part.replace(target)
        _force_folder(target.parent)
    finally:
        part.unlink(missing_ok=True)


class StagedFolder:
    """A folder inside another one, filled file by file under a name that nobody reads; `write_together` puts it in its place.

    Any process may write into it. Whoever makes one calls `drop` at the end: what was not put in its place is gone then.

    Args:
        folder: the folder that it will lie in; the one above that must exist.
        name: its name.
        suffix: of all its files. What is there already under its name is replaced, if all of it has this suffix.

    Raises:
        RequestProblemError: the place cannot be written to, or something else lies there (code CLI110).
    """

    def __init__(self, folder: Path, name: str, suffix: str) -> None:
        problem = folder_problem(folder)
        if problem is not None:
            raise RequestProblemError([problem])
        self._folder, self._target, self.name = folder, folder.resolve(), name
        self.place = self._target / name
        if self.place.is_symlink() or (self.place.exists() and not self.place.is_dir()):
            raise _refused(folder / name, "is not a folder", "name another folder")
        foreign = [path.name for path in self.place.iterdir() if path.suffix != suffix] if self.place.is_dir() else []
        if foreign:
            raise _refused(folder / name, f"holds what is not a page: {min(foreign)}", "name another folder")
        token = secrets.token_hex(8)
        self.whole = None if self._target.exists() else self._target.parent / f".{self._target.name}.{token}.part"
        self.part = self._target / f".{name}.{token}.part" if self.whole is None else self.whole / name
        try:
            self.part.mkdir(parents=self.whole is not None)
        except OSError as error:
            raise _refused(folder, f"cannot be written: {error.strerror or error}", None) from error

    def write(self, name: str, content: str) -> None:
        """Write one of its files.

        Args:
            name: a name that is new in it.
            content: as for `write_whole`.

        Raises:
            RequestProblemError: it cannot be written (code CLI110).
        """
        try:
            _write_new(self.part / name, content.encode("utf-8"))
        except OSError as error:
            raise _refused(self._folder / self.name / name, f"cannot be written: {error.strerror or error}", None) from error

    def drop(self) -> None:
        """Remove what was not put in its place."""
        shutil.rmtree(self.whole or self.part, ignore_errors=True)


def write_together(folder: Path, files: Mapping[str, str | bytes], staged: StagedFolder | None = None) -> None:
    """Write several files into one folder, and a folder that was filled before: all of them, or none.

    A folder that is not there yet appears with all its files in one step. In one that is there every file is first written beside
    its place; where one of them cannot take it, those that did give it back. Where a folder comes with them, the first file, which leads
    to its pages, is away until everything else is in its place: a process that is killed between leaves no set that looks whole.

    Args:
        folder: the folder; the one above it must exist.
        files: file name -> content, as for `write_whole`.
        staged: a folder to go into it.

    Raises:
        RequestProblemError: the place cannot be written to (code CLI110).
    """
    problem = folder_problem(folder)
    if problem is not None:
        raise RequestProblemError([problem])
    target = folder.resolve()
    taken = next((name for name in files if (target / name).exists() and not (target / name).is_file()), None)
    if taken is not None:
        raise _refused(folder / taken, "is not a regular file", "name another folder")
    data = {name: content.encode("utf-8") if isinstance(content, str) else content for name, content in files.items()}
    try:
        if target.exists():
            _exchange(target, data, staged)
        else:
            _appear(target, data, None if staged is None else staged.whole)
    except OSError as error:
        raise _refused(folder, f"cannot be written: {error.strerror or error}", None) from error


def _appear(target: Path, data: Mapping[str, bytes], part: Path | None = None) -> None:
    """Make a folder with all its files under another name, which may be begun already, and give it its own in one step."""
    if part is None:
        part = target.parent / f".{target.name}.{secrets.token_hex(8)}.part"
        part.mkdir()
    try:
        for name, content in data.items():
            _write_new(part / name, content)
        _force_folder(part)
        part.rename(target)
        _force_folder(target.parent)
    finally:
        _remove(part)


def _exchange(target: Path, data: Mapping[str, bytes], staged: StagedFolder | None = None) -> None:
    """Write all files beside their places, then let them take the places one after the other; on an error give all back."""
    token = secrets.token_hex(8)
    parts = {target / name: target / f".{name}.{token}.part" for name in data}
    order = parts if staged is None else {staged.place: staged.part, **dict(reversed(parts.items()))}
    kept: dict[Path, Path | None] = {}
    try:
        for (place, part), content in zip(parts.items(), data.values(), strict=True):
            _write_new(part, content)
            if place.exists():
                part.chmod(place.stat().st_mode & 0o7777)
        if staged is not None:
            _put_away(next(iter(parts)), token, kept)
        for place, part in order.items():
            _put_away(place, token, kept)
            part.replace(place)
        _force_folder(target)
    except OSError:
        for place, before in kept.items():
            _remove(place)
            if before is not None:
                before.replace(place)
        raise
    finally:
        for left in (*parts.values(), *(before for before in kept.values() if before is not None)):
            _remove(left)


def _put_away(place: Path, token: str, kept: dict[Path, Path | None]) -> None:
    """Give what has a place another name, once, and note it; None where nothing is there."""
    if place in kept:
        return
    old = place.with_name(f".{place.name}.{token}.old")
    if place.exists():
        place.replace(old)
    kept[place] = old if old.exists() else None


def _remove(path: Path) -> None:
    """Remove a file or a folder, if it is there."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


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


def refused_target(path: Path, found: str, fix: str | None) -> Problem:
    """Return the problem of a place that is not written to."""
    return Problem(code="CLI110", file=str(path), line=None, path=None, text=found, fix=fix)


def _refused(path: Path, found: str, fix: str | None) -> RequestProblemError:
    """Return the error for a place that cannot be written to."""
    return RequestProblemError([refused_target(path, found, fix)])
