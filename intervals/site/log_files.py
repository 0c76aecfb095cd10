"""The files of the operating log, as a site's patterns name them.

In: a site's folder and one of its blocks of readings. Out: files that are there.
"""

from __future__ import annotations

from pathlib import Path

from intervals.site.model import STATEMENTS_FOLDER
from intervals.site.sources import ReadingSource

TEMPORARY = ("~$", ".")
"""How the names begin of what an office program leaves beside a file that is open, and of hidden files."""


def log_files(folder: Path, source: ReadingSource) -> list[str]:
    """Return the files of a block as paths below the site's folder, in order; without temporary ones and the statements of past months.

    Args:
        folder: the site's folder.
        source: the block.
    """
    found = {path for pattern in source.files for path in folder.glob(pattern)}
    names = (path.relative_to(folder) for path in found if path.is_file() and not path.name.startswith(TEMPORARY))
    return sorted(name.as_posix() for name in names if name.parts[0] != STATEMENTS_FOLDER)
