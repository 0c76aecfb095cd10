"""What besides its input decides what the program finds: its own code, the libraries that read and count, the clock's rules.

In: a time zone. Out: digests. Refuses nothing.
"""

from __future__ import annotations

import hashlib
import os
import sys
from functools import cache
from importlib import resources
from pathlib import Path
from zoneinfo import TZPATH

from intervals.version import __version__


@cache
def program_digest() -> str:
    """Return the digest of the program as it is installed: version, size and time of each of its files, and versions of its libraries."""
    import numpy as np  # noqa: PLC0415 - not needed for --help
    import pyarrow as pa  # noqa: PLC0415 - likewise
    import pydantic  # noqa: PLC0415 - likewise

    said = [__version__, sys.version, np.__version__, pa.__version__, pydantic.VERSION, *_files_of(Path(__file__).parent)]
    return hashlib.sha256("\n".join(said).encode()).hexdigest()


def _files_of(folder: Path) -> list[str]:
    """Return name, size and time of every file of code below a folder."""
    found: list[str] = []
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda entry: entry.name):
            if entry.is_dir():
                found += [] if entry.name == "__pycache__" else _files_of(Path(entry.path))
            elif entry.name.endswith((".py", ".yaml")):
                status = entry.stat()
                found.append(f"{entry.name} {status.st_size} {status.st_mtime_ns}")
    return found


@cache
def zone_digest(name: str) -> str:
    """Return the digest of what is known of a time zone's clock, wherever zoneinfo finds it.

    Args:
        name: IANA name.
    """
    found = next((path for folder in TZPATH if (path := Path(folder) / name).is_file()), None)
    try:
        data = (resources.files("tzdata") / "zoneinfo" / name).read_bytes() if found is None else found.read_bytes()
    except (OSError, ModuleNotFoundError):
        data = b""
    return hashlib.sha256(data).hexdigest()
