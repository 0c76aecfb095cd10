"""What is kept of a whole log: block by block, and one digest of each engine's rows.

In: a site, its files. Out: `KeptLog`, where this run may use the user's cache and the log is large enough to gain by it. Refuses nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from intervals.file_contents import FileContent
from intervals.readings.kept_files import KeptBlock
from intervals.readings.log_size import log_bytes
from intervals.readings.plan import BlockPlan
from intervals.site.model import Site
from intervals.user_cache import UserCache, cache_of_run, pays_for


class KeptLog:
    """What is kept of a log.

    Args:
        cache: the user's cache.
        site: the site.
        contents: what its files hold.
    """

    def __init__(self, cache: UserCache, site: Site, contents: Mapping[Path, FileContent]) -> None:
        self._cache = cache
        self._site = site
        self._contents = contents
        self._blocks: list[KeptBlock] = []

    @classmethod
    def of(cls, site: Site, files: Sequence[str]) -> KeptLog | None:
        """Return what is kept of a site's log; None where this run goes without, some of it is read by address, or it is small."""
        if site.names_addresses or not pays_for(log_bytes(site).of_rows):
            return None
        cache = cache_of_run()
        try:
            return None if cache is None else cls(cache, site, cache.contents_of(site.folder / name for name in files))
        except OSError:
            return None

    def block(self, plan: BlockPlan, names: Sequence[str]) -> KeptBlock:
        """Return what is kept of the files of the next block."""
        folder = self._site.folder
        contents = {name: self._contents[folder / name] for name in names if folder / name in self._contents}
        kept = KeptBlock(self._cache, plan, folder, names, contents)
        self._blocks.append(kept)
        return kept

    def end(self) -> None:
        """Keep the folder within its bounds, once all files are read."""
        self._cache.trim()

    def engine_digests(self) -> tuple[bytes, ...]:
        """Return the digest of each engine's rows: of those of every part of every block, with the names of their files."""
        found = [hashlib.sha256() for _ in self._site.engines]
        for number, block in enumerate(self._blocks):
            for name, kept in block.parts:
                of_part = repr((number, name)).encode()
                for engine, digest in zip(kept.part.engine.tolist(), kept.digests, strict=True):
                    found[engine].update(of_part + digest)
        return tuple(digest.digest() for digest in found)

    def are_rows_whole(self, engines: Collection[int] | None) -> bool:
        """Tell whether the kept rows of some engines are as they were written; None: of all."""
        # each block is looked at: what is not whole is removed
        return all([block.are_rows_whole(engines) for block in self._blocks])
