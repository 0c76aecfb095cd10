"""What was read of log files before, by their content: rows, faults and counts, so that next month only the new file is read.

In: a site's files and blocks, the user's cache. Out: `KeptFile` values of files that were read before; entries of those that are read now.
Refuses nothing: what is not there, or not whole, is read again.

An entry is of the content of one file and of all that decides what becomes of its rows: the block, the engines, the program. Of a file with
rows later than the clock nothing is kept. One whose rows the other files of its block helped to read (which of day and month comes first,
which of many unknown engines must be meant) counts only together with them: each of them the same, and each of them kept.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from intervals.faults import Fault, faults_of_plain, plain_faults
from intervals.file_contents import FileContent, is_unchanged
from intervals.program_digest import program_digest, zone_digest
from intervals.readings.block_files import BlockFile
from intervals.readings.block_parts import Part
from intervals.readings.kept_part import KeptPart, read_parts, row_digests, write_part
from intervals.readings.merge import PartTimes
from intervals.readings.plan import BlockPlan
from intervals.user_cache import MOST_BYTES, EntryWriter, UserCache

KIND = "rows"
_MOST_FAULTS = 100_000
_FUTURE = "row_in_future"


@dataclass
class KeptFile:
    """What was read of one file of a block.

    Attributes:
        name: path of the file below the site folder.
        parts: its accepted rows.
        all_faults: what was set aside or blanked.
        rows_read: number of its rows.
        is_wide: whether it has columns of several engines.
        asks_others: whether the other files of the block helped to read it.
        key: of its entry, None where it has none.
    """

    name: str
    parts: Sequence[KeptPart] = ()
    all_faults: list[Fault] = field(default_factory=list)
    rows_read: int = 0
    is_wide: bool = False
    asks_others: bool = False
    key: str | None = None


class KeptBlock:
    """What is kept of the files of one block, and keeps more.

    Args:
        cache: the user's cache.
        plan: the block's plan.
        folder: the site's folder.
        names: its files, in order.
        contents: what they hold.
    """

    def __init__(self, cache: UserCache, plan: BlockPlan, folder: Path, names: Sequence[str], contents: Mapping[str, FileContent]) -> None:
        self.names = names
        self._cache = cache
        self._plan = plan
        self._folder = folder
        self._contents = contents
        self._now_us = plan.now_us
        of_plan = _plan_digest(plan)
        self._keys = {name: _key_of(of_plan, name, contents[name].digest) for name in names if name in contents}
        self._block = _key_of(*(part for name in names for part in (name, contents[name].digest if name in contents else "")))
        self._room = MOST_BYTES // 2
        self._writer: EntryWriter | None = None
        self._begun = ""
        self._heads: list[dict[str, Any]] = []
        self._index: list[bytes] = []
        self._parts: list[KeptPart] = []
        self.files = self._found(names)
        self._read: dict[str, Sequence[KeptPart]] = {}

    @property
    def parts(self) -> Iterator[tuple[str, KeptPart]]:
        """The parts of each file, with its name, once all are read."""
        for name in self.names:
            kept = self.files.get(name)
            yield from ((name, part) for part in (self._read.get(name, ()) if kept is None else kept.parts))

    def _found(self, names: Sequence[str]) -> dict[str, KeptFile]:
        """Return the files of which what was read is kept."""
        found = {name: kept for name in names if (kept := self._find(name)) is not None}
        if len(found) == len(names):
            return found
        return {name: kept for name, kept in found.items() if not kept.asks_others}

    def _find(self, name: str) -> KeptFile | None:
        """Return what is kept of a file, or None."""
        key = self._keys.get(name)
        entry = None if key is None else self._cache.find(KIND, key)
        if entry is None:
            return None
        try:
            head = entry.head
            if head["block"] not in (None, self._block) or not self._is_past(head["now_us"]):
                return None
            parts = read_parts(entry, head["parts"])
            self._room -= sum(part.part.columns[name].nbytes for part in parts for name in part.part.columns)
            return KeptFile(
                name,
                parts,
                faults_of_plain(head["words"], head["faults"]),
                head["rows_read"],
                head["is_wide"],
                head["block"] is not None,
                key,
            )
        except (KeyError, TypeError, ValueError):
            return None

    def _is_past(self, kept_us: int) -> bool:
        """Tell whether the clock has not gone back behind the one that an entry was made by: no row is later than either then."""
        return kept_us <= self._now_us

    def looked_up_again(self) -> KeptBlock:
        """Return what is kept now."""
        return KeptBlock(self._cache, self._plan, self._folder, self.names, self._contents)

    def _begin(self, name: str) -> None:
        """Begin to keep what is read of a file."""
        self._begun, self._parts, self._heads, self._index = name, [], [], []
        self._writer = self._cache.writer(KIND, self._keys[name]) if name in self._keys and self._room > 0 else None

    def add(self, name: str, part: Part, times: PartTimes) -> None:
        """Keep a part of a file's rows."""
        if self._begun != name:
            self._begin(name)
        kept = KeptPart(part, times, tuple(row_digests(part)))
        # its rows lie with those of the block
        self._parts.append(kept._replace(part=part._replace(columns={}, same={})))
        if self._writer is None:
            return
        head, index = write_part(kept, self._writer)
        self._heads.append(head)
        self._index.append(index)
        if self._writer.bytes > self._room:
            self.abandon()

    def finish(self, each: BlockFile, *, asks_others: bool) -> None:
        """Keep what was read of the file, unless it was refused, changed meanwhile, or holds rows later than the clock."""
        if self._begun != each.name:
            self._begin(each.name)
        self._read[each.name] = self._parts
        writer, self._writer = self._writer, None
        if writer is None:
            return
        faults = each.all_faults
        is_odd = each.all_problems or len(faults) > _MOST_FAULTS or any(fault.kind == _FUTURE for fault in faults)
        if is_odd or not is_unchanged(self._folder / each.name, self._contents[each.name]):
            writer.abandon()
            return
        words, listed = plain_faults(faults)
        head = {
            "block": self._block if asks_others else None,
            "now_us": int(self._now_us),
            "rows_read": each.rows_read,
            "is_wide": each.is_wide,
            "parts": self._heads,
            "words": words,
            "faults": listed,
        }
        self._room -= writer.bytes
        writer.finish(head, b"".join(self._index))

    def abandon(self) -> None:
        """Keep nothing of the file that was begun."""
        if self._writer is not None:
            self._writer.abandon()
            self._writer = None

    def are_rows_whole(self, engines: Collection[int] | None) -> bool:
        """Tell whether the kept rows of some engines are as they were written; None: of all. Entries that are not whole are removed."""
        broken = [kept for kept in self.files.values() if not all(part.is_whole(engines) for part in kept.parts)]
        for kept in broken:
            if kept.key is not None:
                self._cache.drop(KIND, kept.key)
        return not broken


def _key_of(*said: str) -> str:
    """Return the digest of some texts."""
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def _plan_digest(plan: BlockPlan) -> str:
    """Return the digest of all that decides what becomes of the rows of a block's files."""
    site, source = plan.site, plan.source
    engines = [[engine.id, repr(engine.rated_kw), repr(engine.in_service), repr(engine.out_of_service)] for engine in site.engines]
    zones = [zone_digest(name) for name in (site.time_zone, plan.zone.key)]
    quantities = [repr(site.quantities[name]) for name in source.quantities]
    # what is stated, and what it means
    said = [plan.place, repr(source), source.model_dump_json(exclude_unset=True), site.time_zone, plan.zone.key]
    return _key_of(program_digest(), *said, *zones, *quantities, json.dumps(engines))
