"""What a command may write to: never a file that it reads, never one file twice, and only where a file can be.

In: a site, or files that are read, and the files a person names for output. Out: nothing. Refuses by `RequestProblemError`
(code CLI110), before anything is judged or written.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from intervals.problems import Problem, ProblemsError, RequestProblemError
from intervals.writing import folder_problem, place_problem, refused_target

if TYPE_CHECKING:
    from intervals.site.model import Site

SITE_NAMES = frozenset({"site.yaml", "site.schema.json", "services.csv", "lab.csv"})


def guard_targets(site: Site, ruleset: str | None, *targets: Path | None) -> None:
    """Refuse to write over what a site is judged by.

    Args:
        site: the site.
        ruleset: the rule set that was asked for instead of the site's.
        targets: files to write; None where there is none.

    Raises:
        RequestProblemError: a target is an input, or named twice.
    """
    named = [target for target in targets if target is not None]
    if named:
        over = list(_written_over(_inputs_of(site, ruleset), named))
        reported = {problem.file for problem in over}
        _refuse([*over, *(problem for problem in _read_next_time(site, named) if problem.file not in reported)])


def guard_places(*targets: Path | None) -> None:
    """Refuse to write where no file can be: it is reported before anything is judged, with whatever else is wrong.

    Args:
        targets: files to write; None where there is none.

    Raises:
        RequestProblemError: a target is a folder or the like, or its folder is not there.
    """
    found = (place_problem(target) for target in dict.fromkeys(targets) if target is not None)
    _refuse([problem for problem in found if problem is not None])


def guard_folder(folder: Path, names: Iterable[str]) -> None:
    """Refuse to write files into what cannot be their folder; one that is not there yet is made.

    Args:
        folder: the folder.
        names: of the files.

    Raises:
        RequestProblemError: it is no folder, the one above it is not there, or a file's name is taken by something else.
    """
    problem = folder_problem(folder)
    if problem is not None:
        _refuse([problem])
    elif folder.is_dir():
        guard_places(*(folder / name for name in names))


def _refuse(problems: Sequence[Problem]) -> None:
    """Refuse what there is to refuse."""
    if problems:
        raise RequestProblemError(problems)


def _read_next_time(site: Site, targets: Iterable[Path]) -> Iterator[Problem]:
    """Yield a problem for each target that the site would read as a part of its log the next time."""
    folder = site.folder.resolve()
    patterns = [pattern for source in site.readings for pattern in source.files]
    for target in targets:
        place = target.resolve()
        below = place.relative_to(folder).parts if place.is_relative_to(folder) else ()
        asked = [pattern for pattern in patterns if below and _matches(below, PurePosixPath(pattern).parts)]
        if asked:
            text = f'would be read as a part of the operating log: "{asked[0]}" in site.yaml matches it'
            yield refused_target(target, text, "write it elsewhere")


def _matches(parts: Sequence[str], pattern: Sequence[str]) -> bool:
    """Tell whether a pattern of files means a path, both part by part; `**` means any folders, or none."""
    if not pattern:
        return not parts
    if pattern[0] == "**":
        return any(_matches(parts[skipped:], pattern[1:]) for skipped in range(len(parts) + 1))
    return bool(parts) and fnmatchcase(parts[0], pattern[0]) and _matches(parts[1:], pattern[1:])


def guard_files(read: Iterable[Path], *targets: Path | None) -> None:
    """Refuse to write over files that are read, or to write one file twice.

    Args:
        read: files that the command reads.
        targets: files to write; None where there is none.

    Raises:
        RequestProblemError: a target is an input, or named twice.
    """
    _refuse(list(_written_over(read, [target for target in targets if target is not None])))


def _written_over(read: Iterable[Path], targets: Iterable[Path]) -> Iterator[Problem]:
    """Yield a problem for each target that is read, or is named twice."""
    inputs = {place for path in read for place in _places_of(path)}
    seen: set[Path | tuple[int, int]] = set()
    for target in targets:
        places = _places_of(target)
        if places & inputs:
            text = "is a file that this command reads; it is not overwritten"
            yield refused_target(target, text, "name another file")
        elif places & seen:
            yield refused_target(target, "is named for two outputs", "name a file for each")
        seen |= places


def guard_site_names(target: Path | None) -> None:
    """Refuse to write over the files of a site by a command that knows none.

    Raises:
        RequestProblemError: the target is a site's own file.
    """
    if target is None or not target.exists():
        return
    beside = {target.resolve().parent, target.resolve().parent.parent}
    is_site = any((folder / "site.yaml").is_file() for folder in beside)
    is_own = target.name in SITE_NAMES - {"site.schema.json"} or target.resolve().parent.name == "readings"
    if is_site and is_own:
        guard_files([target], target)


def guard_ruleset(path: Path, *targets: Path | None) -> None:
    """Refuse to write over a rule set or what it is based on.

    Args:
        path: the file of the rule set.
        targets: files to write; None where there is none.

    Raises:
        RequestProblemError: a target is an input, or named twice.
    """
    if any(target is not None for target in targets):
        from intervals.rules.based_on import files_of

        guard_files(files_of(path), *targets)


def guard_foreign(foreign: Iterable[Path]) -> None:
    """Refuse to write over files that the command did not make.

    Args:
        foreign: files that stand where it would write, and are not its own.

    Raises:
        RequestProblemError: there are any; each is named.
    """
    text, fix = "exists already and was not made by this command; nothing was written", "name another folder, or remove it"
    _refuse([refused_target(path, text, fix) for path in foreign])


def _places_of(path: Path) -> set[Path | tuple[int, int]]:
    """Return what distinguishes a file from others: its path without links, and where it is there, its place on the disk."""
    places: set[Path | tuple[int, int]] = {path.resolve()}
    if path.exists():
        status = path.stat()
        places.add((status.st_dev, status.st_ino))
    return places


def _inputs_of(site: Site, ruleset: str | None) -> set[Path]:
    """Return every file that a site is judged by, as far as it can be named."""
    from intervals.rules.based_on import files_of
    from intervals.rules.ruleset import find_ruleset
    from intervals.site.sources import log_files

    folder = site.folder
    paths = {folder / name for name in SITE_NAMES} | {Path(site.file), folder / site.services.file, folder / site.lab.file}
    for source in site.readings:
        paths.update(folder / name for name in log_files(folder, source))
    named = {(name, folder) for name in site.rulesets} | ({(ruleset, Path.cwd())} if ruleset else set())
    for name, beside in named:
        try:
            paths.update(files_of(find_ruleset(name, beside)))
        except ProblemsError:
            # it is reported where the rule set is read
            continue
    return paths
