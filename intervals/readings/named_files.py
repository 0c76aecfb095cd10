"""The files that the blocks of a site name, below its folder and by address, found once before any is read.

In: the blocks' plans. Out: `NamedFiles`: names by block, and the state of those that are read by address. Refuses an address that cannot
be read (REA016), and a file there that changed while it was read (REA017).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from intervals.addresses import AddressError, FileState, is_address
from intervals.problems import Problem
from intervals.readings.files.open_log import unreachable
from intervals.readings.plan import BlockPlan
from intervals.site.sources import addressed_files, log_files


class NamedFiles(NamedTuple):
    """What the blocks of a site name.

    Attributes:
        by_block: of each block the names of its files, in order: paths below the site folder, and addresses.
        states: of each file that is read by address, what it looked like.
        problems: why addresses could not be read; such a block has no files.
    """

    by_block: tuple[tuple[str, ...], ...]
    states: dict[str, FileState]
    problems: tuple[Problem, ...]

    @property
    def all_names(self) -> tuple[str, ...]:
        """Every file, in order of name."""
        return tuple(sorted({name for names in self.by_block for name in names}))

    def changed(self, plans: Sequence[BlockPlan]) -> list[Problem]:
        """Return a problem for each file by address that is not as it was found."""
        if not self.states:
            return []
        now = find_named_files(plans)
        return [*now.problems, *(changed_file(name) for name, state in self.states.items() if now.states.get(name, state) != state)]


def find_named_files(plans: Sequence[BlockPlan]) -> NamedFiles:
    """Return the files that the blocks name.

    Args:
        plans: of all blocks.
    """
    by_block: list[tuple[str, ...]] = []
    states: dict[str, FileState] = {}
    problems: list[Problem] = []
    for plan in plans:
        names = log_files(plan.site.folder, plan.source)
        if any(map(is_address, plan.source.files)):
            try:
                found = addressed_files(plan.source)
            except AddressError as error:
                problems += unreachable(plan.site.file, error, f"{plan.place}.files").problems
                found, names = {}, []
            states.update(found)
            names = sorted([*names, *found])
        by_block.append(tuple(names))
    return NamedFiles(tuple(by_block), states, tuple(problems))


def changed_file(name: str) -> Problem:
    """Return the problem of a file that changed while it was read."""
    text = "the file changed while it was read: its size or its time is another one now"
    return Problem("REA017", name, None, None, text, "let what writes there finish, and ask again")
