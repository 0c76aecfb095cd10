"""Whether the files that a page is made from are as they were when it was made: by their times and sizes, since they may be large.

In: the site's folder. Out: what can be compared. Nothing is refused: where the site cannot be read, that is all that is compared, and
whoever makes the page is told why.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from intervals.problems import ProblemsError
from intervals.questions.card.stops import PLAN_FILE
from intervals.questions.plan.stock import STOCK_FILE
from intervals.readings.records.found_grades import MEASURES_FILE
from intervals.rules.based_on import files_of
from intervals.rules.ruleset import find_ruleset
from intervals.site.model import SITE_FILE, Site, load_site
from intervals.site.sources import log_files

Stamp = tuple[str, int, int, int]
"""A file with the time at which it was last written, its size and its number on the disk; zeros where it is not there."""


class FilesState(NamedTuple):
    """How the files of a site are.

    Attributes:
        written: those that people write: site, rule sets, records, analyses, plan, stock, files that the plan asks.
        log: those of the operating log, which a plant may write all the time.
    """

    written: tuple[Stamp, ...] = ()
    log: tuple[Stamp, ...] = ()


class SiteFiles:
    """The files of a site; which they are is read from the site file and its rule sets, again when one of these changes.

    Args:
        folder: the site's folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._read: tuple[tuple[Stamp, ...], Site | None, tuple[Path, ...]] = ((), None, ())

    def state(self) -> FilesState:
        """Return how the files are now."""
        seen, site, rules = self._read
        if not seen or _stamps((self._folder / SITE_FILE, *rules)) != seen:
            site, rules = self._named()
            self._read = (_stamps((self._folder / SITE_FILE, *rules)), site, rules)
        log = [] if site is None else [self._folder / name for source in site.readings for name in log_files(self._folder, source)]
        beside = [] if site is None else _beside(site)
        return FilesState(_stamps((self._folder / SITE_FILE, *rules, *(self._folder / name for name in beside))), _stamps(log))

    def _named(self) -> tuple[Site | None, tuple[Path, ...]]:
        """Return the site as its file has it, and the files of its rule sets; None where it cannot be read."""
        try:
            site = load_site(self._folder)
        except ProblemsError:
            return None, ()
        found: list[Path] = []
        for name in site.rulesets:
            with suppress(ProblemsError):
                found += files_of(find_ruleset(name, site.folder))
        return site, tuple(dict.fromkeys(found))


def _beside(site: Site) -> list[str]:
    """Return the files beside the log, as the site names them."""
    named = [*(each.file for each in site.blackouts), None if site.prefer is None else site.prefer.file]
    own = [site.services.file, site.lab.file, MEASURES_FILE.as_posix(), PLAN_FILE, STOCK_FILE]
    return [*own, *(name for name in named if name is not None)]


def _stamps(paths: list[Path] | tuple[Path, ...]) -> tuple[Stamp, ...]:
    """Return the stamps of files, in their order."""
    return tuple(map(_stamp, paths))


def _stamp(path: Path) -> Stamp:
    """Return the stamp of one file."""
    try:
        found = path.stat()
    except OSError:
        return str(path), 0, 0, 0
    return str(path), found.st_mtime_ns, found.st_size, found.st_ino
