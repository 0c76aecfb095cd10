"""Where something stands, as people read it: the one form in which the place of a rule is shown.

In: the path of a file. Out: the path as it is shown. Refuses nothing.

A rule set that comes with the program is shown by its file's name, wherever the program is installed; a site's own file by its path
from the site's folder.
"""

from __future__ import annotations

from pathlib import Path


def shipped_folder() -> Path | None:
    """Return the folder of the shipped rule sets: inside the installed package, or beside it in a clone."""
    package = Path(__file__).parent
    return next((folder for folder in (package / "shipped_rulesets", package.parent / "rulesets") if folder.is_dir()), None)


def shown_file(file: str, folder: Path | None = None) -> str:
    """Return a file as it is shown.

    Args:
        file: path of the file, as it was given.
        folder: the site's folder, of whose files the path from there is shown; None: as it was given.

    Returns:
        The name alone of a rule set that comes with the program; else the path.
    """
    path, shipped = Path(file), shipped_folder()
    if shipped is not None and path.is_relative_to(shipped):
        return path.name
    if folder is not None and path.is_relative_to(folder):
        return path.relative_to(folder).as_posix()
    return file
