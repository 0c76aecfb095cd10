"""Which sites are meant by what was typed: folders of sites, or folders that hold some.

In: paths as they were typed. Out: the folder of each site, once, and whether several are asked for. Refuses nothing: a path that holds no
site stands for itself, and is refused where it is read.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

SITE_FILE = "site.yaml"


class SiteFolders(NamedTuple):
    """The sites that are meant.

    Attributes:
        folders: of each site, in the order typed; those below one path sorted by name.
        are_several: whether the answer is one of several sites: several paths were typed, or one that holds sites, be it one only.
    """

    folders: tuple[Path, ...]
    are_several: bool


def sites_meant(typed: Sequence[Path]) -> SiteFolders:
    """Return the sites that paths stand for.

    A folder with `site.yaml` is a site. Of a folder without it every site below it is meant, however deep; nothing is looked for inside a
    site, in hidden folders, or behind links.

    Args:
        typed: paths, at least one.
    """
    below = [(path, () if _is_site(path) else tuple(_sites_below(path))) for path in typed]
    folders = [folder for path, found in below for folder in (found or (path,))]
    distinct = {_real(folder): folder for folder in reversed(folders)}
    kept = tuple(folder for folder in dict.fromkeys(folders) if distinct[_real(folder)] is folder)
    return SiteFolders(kept, len(typed) > 1 or any(found for _, found in below))


def _is_site(path: Path) -> bool:
    """Tell whether a path is a site's folder, or its file."""
    return (path / SITE_FILE).is_file() or not path.is_dir()


def _sites_below(path: Path) -> Iterator[Path]:
    """Yield the folders of sites below one, sorted."""
    for place, inner, files in os.walk(path):
        if SITE_FILE in files:
            inner.clear()
            yield Path(place)
        inner[:] = sorted(name for name in inner if not name.startswith("."))


def _real(path: Path) -> str:
    """Return what distinguishes a site from others, however its path was typed."""
    real = os.path.realpath(path)
    return os.path.dirname(real) if os.path.basename(real) == SITE_FILE else real  # noqa: PTH119, PTH120 - text of `realpath`
