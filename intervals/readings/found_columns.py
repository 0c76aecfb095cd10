"""The columns that a site names, found in a file's header.

In: a `readings` block and a header. Out: `Layout`, places of columns. Refuses a file in which a named column is missing or
stands twice; says which columns the file has, and the nearest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from intervals.language.scalars import shown_value
from intervals.problems import Problem, nearest_word
from intervals.readings.spelling import composed_name, folded_name
from intervals.site.sources import ENGINE_SLOT, ReadingSource

_MOST_NAMES_SHOWN = 40
_NEARLY_THE_SAME = 0.85
_WHOLE_NUMBER = re.compile(r"(-?\d+)\.0", re.ASCII)
_NAME_IT, _NAME_THEM = (f"name {word} under readings in site.yaml as the file has {word}" for word in ("it", "them"))


class Header:
    """Names of a file's columns, found exactly or else without regard to how letters are encoded, then to case and surrounding blanks."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names = tuple(names)
        self._exact = _places(names)

    @cached_property
    def _composed(self) -> dict[str, tuple[int, ...]]:
        """Places by name, its letters encoded in one way."""
        return _places(map(composed_name, self.names))

    @cached_property
    def _folded(self) -> dict[str, tuple[int, ...]]:
        """Places by name, without regard to case and surrounding blanks."""
        return _places(map(folded_name, self.names))

    def find(self, name: str) -> tuple[int, ...]:
        """Return the places of the columns of this name; several where it is not clear which."""
        found = self._exact.get(name) or self._composed.get(composed_name(name)) or self._folded.get(folded_name(name))
        if found is None and (whole := _WHOLE_NUMBER.fullmatch(name)):
            # a sheet's header may be the number 5, which a program that copies names from it may have written down as 5.0
            found = self._exact.get(whole[1])
        return found or ()

    def missing(self, names: Iterable[str], slips: Mapping[str, str] | None = None, where: str = "") -> str:
        """Return a sentence that says that columns are not there, what is, and what is nearest to each.

        Args:
            names: the columns.
            slips: further ones, each with the column that must have been meant by it.
            where: in which files, where it is more than this one.
        """
        nearest = {name: self._nearest(name) for name in names}
        shown = [shown_value(column) for column in self.names[:_MOST_NAMES_SHOWN]]
        more = f" and {len(self.names) - _MOST_NAMES_SHOWN} more" if len(self.names) > _MOST_NAMES_SHOWN else ""
        there = f"; {'the first of them' if where else 'the file'} has {', '.join(shown)}{more}" if nearest else ""
        return _said_missing({**nearest, **(slips or {})}, where + there)

    def _nearest(self, name: str) -> str | None:
        """Return the column that is nearest to a name."""
        close = nearest_word(folded_name(name), self._folded)
        return None if close is None else self.names[self._folded[close][0]]


def _said_missing(nearest: Mapping[str, str | None], there: str) -> str:
    """Return a sentence that says that columns are not there, and what may have been meant by each, where there is anything near."""
    near = {name: meant for name, meant in nearest.items() if meant is not None}
    if len(nearest) == 1:
        said = "".join(f'there is no column "{name}"' for name in nearest)
        hints = [shown_value(meant) for meant in near.values()]
    else:
        said = "there are no columns " + ", ".join(f'"{name}"' for name in nearest)
        hints = [f'{shown_value(meant)} for "{name}"' for name, meant in near.items()]
    return f"{said}{there}" + (f"; did you mean {', '.join(hints)}?" if hints else "")


def _places(names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Return the places of each name."""
    places: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        places.setdefault(name, []).append(place)
    return {name: tuple(found) for name, found in places.items()}


class Group(NamedTuple):
    """The columns of one engine of a wide file, or of all engines of a long one.

    Attributes:
        engine: the engine's id, None in a long file.
        figures: place of the column of each quantity.
        own: places of the columns that are this engine's alone.
    """

    engine: str | None
    figures: dict[str, int]
    own: tuple[int, ...]


class Layout(NamedTuple):
    """Where a file has what the site names.

    Attributes:
        stamps: places of the time, or of date and time.
        engine: place of the column of engines, or None.
        groups: one for each engine of a wide file; a single one of a long file.
        strangers: columns of a wide file that are of an engine the site does not declare.
    """

    stamps: tuple[int, ...]
    engine: int | None
    groups: tuple[Group, ...]
    strangers: tuple[str, ...] = ()

    @property
    def figures(self) -> tuple[int, ...]:
        """Places of all columns of figures."""
        return tuple(sorted({place for group in self.groups for place in group.figures.values()}))


class ColumnFinder:
    """Finds what one `readings` block names in the headers of its files.

    Args:
        source: the block.
        spellings: how each engine may be written in a wide file's columns, by its id.
    """

    def __init__(self, source: ReadingSource, spellings: Mapping[str, Sequence[str]]) -> None:
        self._source = source
        self._spellings = spellings
        self._shared = {name: column.column for name, column in source.quantities.items() if ENGINE_SLOT not in column.column}
        self._templates = {name: column.column for name, column in source.quantities.items() if ENGINE_SLOT in column.column}
        self._single = [*source.timestamp.column]
        if source.engine is not None and source.engine.column is not None:
            self._single.append(source.engine.column)
        self._single.extend(self._shared.values())

    def score(self, names: Sequence[str]) -> float:
        """Return the share of what the block names that a row of names holds, from 0 to 1."""
        header = Header(names)
        found = sum(bool(header.find(name)) for name in self._single)
        found += sum(any(header.find(column) for column in self._columns(template)) for template in self._templates.values())
        return found / (len(self._single) + len(self._templates))

    def find(self, names: Sequence[str], file: str, line: int | None) -> tuple[Layout | None, list[Problem]]:
        """Return where a file has what the block names, or what stands against it.

        Args:
            names: the file's header.
            file: its path below the site folder.
            line: the header's line.

        Returns:
            The layout, or None and problems REA003 and REA004.
        """
        header = Header(names)
        found = {name: header.find(name) for name in self._single}
        places = {name: of_name[0] if of_name else 0 for name, of_name in found.items()}
        groups = self._groups_of(header)
        sought = [*self._single, *(column for template in self._templates.values() for column in self._columns(template))]
        problems = [_twice(name, header, file, line) for name in dict.fromkeys(sought) if len(header.find(name)) > 1]
        missing, slips = self._lacking(header, groups)
        if missing or slips:
            problems.append(_missing_problem(header, missing, slips, file, line))
        if problems:
            return None, problems
        engine = self._source.engine
        layout = Layout(
            stamps=tuple(places[name] for name in self._source.timestamp.column),
            engine=places[engine.column] if engine is not None and engine.column is not None else None,
            groups=groups,
            strangers=self._strangers(header, groups),
        )
        return layout, []

    def lacking(self, names: Sequence[str]) -> tuple[str, ...]:
        """Return the named columns that a header does not have."""
        header = Header(names)
        missing, slips = self._lacking(header, self._groups_of(header))
        return tuple(dict.fromkeys([*missing, *slips]))

    def missing_in(self, names: Sequence[str], file: str, line: int | None, where: str) -> Problem:
        """Return the one problem of columns that several files lack (REA003).

        Args:
            names: the header of the first of them.
            file: its path below the site folder.
            line: the header's line.
            where: in which files, as ` in any of 36 files`.
        """
        header = Header(names)
        missing, slips = self._lacking(header, self._groups_of(header))
        return _missing_problem(header, missing, slips, file, line, where)

    def _groups_of(self, header: Header) -> tuple[Group, ...]:
        """Return the columns of each engine in a header."""
        places = {name: (header.find(column) or (0,))[0] for name, column in self._shared.items()}
        return self._groups(header, places)

    def _lacking(self, header: Header, groups: Sequence[Group]) -> tuple[list[str], dict[str, str]]:
        """Return the named columns that a header does not have, and those of single engines that are nearly there."""
        missing = [*(name for name in self._single if not header.find(name)), *self._missing_of_all(groups)]
        return missing, self._slips(header, groups)

    def find_stamps(self, names: Sequence[str]) -> tuple[int, ...]:
        """Return the places of a file's times, or none where they are not there or it is not clear which columns they are."""
        header = Header(names)
        found = [header.find(name) for name in self._source.timestamp.column]
        return tuple(places[0] for places in found) if all(len(places) == 1 for places in found) else ()

    def _columns(self, template: str) -> list[str]:
        """Return the names that a column of a wide file may have."""
        return [name for engine in self._spellings for name in self._columns_of(template, engine)]

    def _columns_of(self, template: str, engine: str) -> list[str]:
        """Return the names that an engine's column may have."""
        return [template.replace(ENGINE_SLOT, spelling) for spelling in self._spellings[engine]]

    def _groups(self, header: Header, shared: dict[str, int]) -> tuple[Group, ...]:
        """Return the columns of each engine."""
        if not self._templates:
            return (Group(None, shared, ()),)
        groups = []
        for engine in self._spellings:
            found = {
                name: {place for column in self._columns_of(template, engine) for place in header.find(column)}
                for name, template in self._templates.items()
            }
            own = {name: min(places) for name, places in found.items() if places}
            if own:
                groups.append(Group(engine, shared | own, tuple(own.values())))
        return tuple(groups)

    def _missing_of_all(self, groups: Sequence[Group]) -> list[str]:
        """Return the columns that are named by engine and that no engine has, each as that of the first engine."""
        there = {name for group in groups for name in group.figures}
        return [self._columns(template)[0] for name, template in self._templates.items() if name not in there]

    def _slips(self, header: Header, groups: Sequence[Group]) -> dict[str, str]:
        """Return columns that an engine lacks, with what is nearly one: it may well lack an instrument, and that is a slip of the pen."""
        used = {place for group in groups for place in group.own}
        unused = [name for place, name in enumerate(header.names) if place not in used]
        there = {name for group in groups for name in group.figures}
        lacking = [
            self._columns_of(template, group.engine or "")[0]
            for name, template in self._templates.items()
            for group in groups
            if name in there and name not in group.figures
        ]
        near = {column: nearest_word(column, unused, _NEARLY_THE_SAME) for column in lacking}
        return {column: meant for column, meant in near.items() if meant is not None}

    def _strangers(self, header: Header, groups: Sequence[Group]) -> tuple[str, ...]:
        """Return the columns of a wide file that look like those of an engine and belong to none."""
        used = {place for group in groups for place in group.figures.values()}
        named = {place for name in self._single for place in header.find(name)}
        parts = [template.split(ENGINE_SLOT, 1) for template in self._templates.values()]
        return tuple(
            name
            for place, name in enumerate(header.names)
            if place not in used | named
            and any(
                (start or end) and name.startswith(start) and name.endswith(end) and len(name) > len(start) + len(end)
                for start, end in parts
            )
        )


def _missing_problem(  # noqa: PLR0913 - what is missing, and where
    header: Header, missing: Sequence[str], slips: Mapping[str, str], file: str, line: int | None, where: str = ""
) -> Problem:
    """Return the problem of columns that a file, or several, do not have."""
    fix = _NAME_IT if len({*missing, *slips}) == 1 else _NAME_THEM
    return Problem("REA003", file, line, None, header.missing(missing, slips, where), fix)


def _twice(name: str, header: Header, file: str, line: int | None) -> Problem:
    """Return the problem of a column that is in the file more than once."""
    shown = ", ".join(str(place + 1) for place in header.find(name))
    text = f'the column "{name}" is in the file more than once: columns {shown}'
    return Problem("REA004", file, line, None, text, "rename one of them")
