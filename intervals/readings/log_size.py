"""How large a log is, before it is opened.

In: a site. Out: bytes of its files, and about how many their figures take. Refuses nothing: a file that has just gone is for the reader to
report.
"""

from __future__ import annotations

from contextlib import suppress
from typing import NamedTuple

from intervals.readings.files.open_log import PARQUET_SUFFIXES
from intervals.site.model import Site
from intervals.site.sources import log_files

PACKED_TIMES = 8
"""A row of a text file takes about as many bytes as its figures, one of a Parquet file an eighth."""


class LogBytes(NamedTuple):
    """How large a log is.

    Attributes:
        of_files: bytes of its files.
        of_rows: about the bytes of its figures.
    """

    of_files: int
    of_rows: int


def log_bytes(site: Site) -> LogBytes:
    """Return how large the files of the log are together, and about how large their figures."""
    of_files = of_rows = 0
    for name in {name for source in site.readings for name in log_files(site.folder, source)}:
        with suppress(OSError):
            path = site.folder / name
            size = path.stat().st_size
            of_files += size
            of_rows += size * (PACKED_TIMES if path.suffix.lower() in PARQUET_SUFFIXES else 1)
    return LogBytes(of_files, of_rows)
