"""Files by address: on an object store or on shared storage, found and opened like files of the site's folder.

In: an address such as `s3://bucket/plant/*.parquet`. Out: the files that it names, each with its state, and `Address`, which opens one.
Refuses (`AddressError`) what cannot be reached.

Who may read there is never said in an address: keys, region and endpoint come from the environment and from the configuration that the
store's own library knows. Nothing is loaded unless an address is named.
"""

from __future__ import annotations

import io
import os
import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

if TYPE_CHECKING:
    import pyarrow as pa
    from pyarrow import fs

KINDS = ("s3", "gs", "abfs", "file")
"""An object store of the S3 kind, Google's, Azure's, and files of this machine or of storage that it shares."""
_SIGN = "://"
_EXAMPLE = "write for example s3://bucket/plant/*.parquet"
_BUFFER_BYTES = 1 << 17
_CONNECTED_WITHIN_S = 10.0
_ANSWERED_WITHIN_S = 30.0
_WILD = re.compile(r"[*\[]")
_SECRET = re.compile(r"KEY|SECRET|TOKEN|CREDENTIAL|PASSWORD")
_FEWEST_OF_SECRET = 4


class AddressError(OSError):
    """A store that cannot be reached, or that does not have what it was asked for."""


class FileState(NamedTuple):
    """What shows that a file is still the same: its size, and when it was written last.

    Attributes:
        bytes: its size.
        changed_ns: when it was written last, nanoseconds since 1970; 0 where the store does not say.
    """

    bytes: int
    changed_ns: int


def is_address(text: str) -> bool:
    """Say whether a text is meant as an address.

    Example:
        >>> is_address("s3://plant/2026.parquet"), is_address("readings/*.csv")
        (True, False)
    """
    return _SIGN in text


def flaw_of_address(text: str) -> tuple[str, str] | None:
    """Return what is wrong with an address and what to write, or None.

    Example:
        >>> flaw_of_address("ftp://plant/a.csv")[0]
        'an address of the kind "ftp" is not read'
        >>> flaw_of_address("s3://plant/readings/*.csv") is None
        True
    """
    kind, _, rest = text.partition(_SIGN)
    root, _, path = rest.partition("/")
    return _flaw_of_root(kind, root, rest) or _flaw_of_path(path)


def _flaw_of_root(kind: str, root: str, rest: str) -> tuple[str, str] | None:
    """Return what is wrong with the kind of an address, with its bucket, or with what is hung onto it."""
    if kind not in KINDS:
        return f'an address of the kind "{kind}" is not read', f"use one of {', '.join(KINDS)}"
    if ":" in root or ("@" in root and kind != "abfs"):
        return "an address holds no name, password or port", "leave them out: keys and endpoint come from the environment"
    if "?" in rest or "#" in rest:
        return "an address holds no options and no question mark", "region and endpoint come from the environment; * stands for anything"
    if kind == "file" and root:
        return "an address of a file begins with three slashes", "write for example file:///srv/plant/*.csv"
    if (kind != "file" and not root) or _WILD.search(root):
        return "an address names one bucket or container", _EXAMPLE
    return None


def _flaw_of_path(path: str) -> tuple[str, str] | None:
    """Return what is wrong with the path of an address."""
    parts = path.split("/")
    if all(part not in ("", ".", "..") and ("**" not in part or part == "**") for part in parts) and parts[-1] != "**":
        return None
    return "an address names a file or a pattern of files", f"{_EXAMPLE}; ** stands for folders, alone between two slashes"


class Address:
    """One file by its address; it is opened as a `Path` is.

    Args:
        text: the address, without wildcards.
    """

    def __init__(self, text: str) -> None:
        self._text = text

    def __str__(self) -> str:
        """Return the address."""
        return self._text

    @property
    def suffix(self) -> str:
        """How the file's name ends, with its point."""
        return Path(self._text).suffix

    def open(self, mode: str = "rb") -> BinaryIO:
        """Return a stream of the file's bytes.

        Raises:
            AddressError: it cannot be read.
        """
        del mode
        return io.BufferedReader(_Stream(self.native(), self._text), _BUFFER_BYTES)

    def native(self) -> pa.NativeFile:
        """Return the file as Arrow's readers take it.

        Raises:
            AddressError: it cannot be read.
        """
        system, path = _place(self._text)
        try:
            return system.open_input_file(path)
        except Exception as error:
            raise _refused(self._text, error) from error


FilePlace = Path | Address
"""Where a file is: below the site's folder, or anywhere by its address."""


def place_of(folder: Path, name: str) -> FilePlace:
    """Return where a file is that is named by an address or by its path below a folder."""
    return Address(name) if is_address(name) else folder / name


class _Stream(io.RawIOBase):
    """Arrow's file as Python's own streams are."""

    def __init__(self, file: pa.NativeFile, name: str) -> None:
        self._file = file
        self._name = name

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def seekable(self) -> bool:
        """Say that any place of it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:  # noqa: ANN401 - whatever holds bytes
        """Fill a buffer; return how many bytes there were."""
        try:
            return int(self._file.readinto(buffer))
        except Exception as error:
            raise _refused(self._name, error) from error

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Go to a place."""
        return int(self._file.seek(offset, whence))

    def tell(self) -> int:
        """Return the place."""
        return int(self._file.tell())

    def close(self) -> None:
        """Let go of the file."""
        if not self.closed:
            self._file.close()
        super().close()


def files_at(pattern: str) -> dict[str, FileState]:
    """Return the files that an address names, in order, each with its state.

    Args:
        pattern: an address without flaws; `*` stands for anything within a name, `**` for folders.

    Raises:
        AddressError: there is no such bucket, or it cannot be reached or looked into.
    """
    from pyarrow import fs  # noqa: PLC0415 - loaded only where an address is named

    kind, _, rest = pattern.partition(_SIGN)
    system, path = _place(pattern)
    inner = path.split("/")
    plain = next((number for number, part in enumerate(inner) if _WILD.search(part)), None)
    try:
        if plain is None:
            found = system.get_file_info([path])
        else:
            is_deep = len(inner) - plain > 1
            found = system.get_file_info(fs.FileSelector("/".join(inner[:plain]) or "/", allow_not_found=True, recursive=is_deep))
        has_bucket = kind == "file" or any(info.is_file for info in found) or _is_there(system, inner[0])
    except Exception as error:
        raise _refused(pattern, error) from error
    if not has_bucket:
        raise _refused(pattern, FileNotFoundError(f"there is no {inner[0]}"))
    named = re.compile(_expression_of(path))
    start = f"{kind}{_SIGN}{rest.partition('/')[0]}/"
    cut = 1 if kind == "file" else len(inner[0]) + 1
    files = {start + info.path[cut:]: _state_of(info) for info in found if info.is_file and named.fullmatch(info.path)}
    return dict(sorted(files.items()))


def _is_there(system: fs.FileSystem, bucket: str) -> bool:
    """Say whether a store has a bucket."""
    return bool(system.get_file_info(bucket).type.value)


def _state_of(info: fs.FileInfo) -> FileState:
    """Return what a store says of a file."""
    return FileState(int(info.size or 0), int(info.mtime_ns or 0))


def _expression_of(path: str) -> str:
    """Return the regular expression of the paths that a pattern names; two stars are any folders, or none."""
    *folders, last = path.split("/")
    return "".join("(?:[^/]+/)*" if part == "**" else _within_name(part) + "/" for part in folders) + _within_name(last)


def _within_name(part: str) -> str:
    """Return the regular expression of one name of a path; a bracket without its end stands for itself."""
    pieces = re.split(r"(\*+|\[!?[^\]]+\])", part)
    return "".join(_piece(piece) for piece in pieces)


def _piece(piece: str) -> str:
    """Return the regular expression of a piece of a name."""
    if piece.startswith("*"):
        return "[^/]*"
    if piece.startswith("[") and piece.endswith("]") and len(piece) > len("[]"):
        inner = piece[1:-1].replace("\\", r"\\").replace("[", r"\[").replace("^", r"\^")
        return f"[^{inner[1:]}]" if inner.startswith("!") else f"[{inner}]"
    return re.escape(piece)


def _place(text: str) -> tuple[fs.FileSystem, str]:
    """Return the file system of an address, and the path there."""
    kind, _, rest = text.partition(_SIGN)
    if kind == "file":
        return _system(kind, ""), rest
    root, _, path = rest.partition("/")
    container, _, account = root.partition("@")
    try:
        return _system(kind, account if kind == "abfs" else root), f"{container}/{path}"
    except Exception as error:
        raise _refused(text, error) from error


def _system(kind: str, root: str) -> fs.FileSystem:
    """Return the file system of a kind of address; what it must know besides is the environment's."""
    known = os.environ
    if kind == "abfs":
        return _made_system(kind, root.partition(".")[0] or known.get("AZURE_STORAGE_ACCOUNT"), known.get("AZURE_STORAGE_KEY"))
    if kind == "s3":
        endpoint = known.get("AWS_ENDPOINT_URL_S3") or known.get("AWS_ENDPOINT_URL")
        region = known.get("AWS_REGION") or known.get("AWS_DEFAULT_REGION")
        # without an endpoint of its own the store is the one that knows where a bucket is
        return _made_system(kind, region or (None if endpoint else _region_of(root)), endpoint)
    return _made_system(kind, None, None)


@cache
def _made_system(kind: str, which: str | None, how: str | None) -> fs.FileSystem:
    """Return the file system of an account and its key, or of a region and its endpoint."""
    from pyarrow import fs  # noqa: PLC0415 - loaded only where an address is named

    if kind == "s3":
        limits = {"connect_timeout": _CONNECTED_WITHIN_S, "request_timeout": _ANSWERED_WITHIN_S}
        return fs.S3FileSystem(region=which, endpoint_override=how, **limits)
    if kind == "abfs":
        if which is None:
            message = "the account is not known: write abfs://CONTAINER@ACCOUNT/.., or set AZURE_STORAGE_ACCOUNT"
            raise AddressError(message)
        return fs.AzureFileSystem(which, account_key=how)
    return fs.GcsFileSystem() if kind == "gs" else fs.LocalFileSystem()


@cache
def _region_of(bucket: str) -> str:
    """Return the region of a bucket, which the store itself says."""
    from pyarrow import fs  # noqa: PLC0415 - likewise

    return str(fs.resolve_s3_region(bucket))


def _refused(text: str, error: Exception) -> AddressError:
    """Return the refusal of an address, in one line, without anything secret that the environment holds."""
    if isinstance(error, AddressError):
        return error
    said = str(error).strip().split("\n")[0] or type(error).__name__
    for name, value in os.environ.items():
        if _SECRET.search(name) and len(value) >= _FEWEST_OF_SECRET:
            said = said.replace(value, f"({name})")
    return AddressError(f"{text} cannot be read: {said}")
