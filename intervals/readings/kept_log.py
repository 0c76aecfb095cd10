"""What is kept of a whole log: block by block, and one digest of each engine's rows.

In: a site, its files. Out: `KeptLog`, where this run may use the user's cache and the log is large enough to gain by it. Refuses nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence

from intervals.readings.kept_files import FileContent, KeptBlock, contents_of
from intervals.readings.log_size import log_bytes
from intervals.readings.plan import BlockPlan
from intervals.site.model import Site
from intervals.user_cache import FEWEST_BYTES, UserCache, cache_of_run


class KeptLog:
    """What is kept of a log.

    Args:
        cache: the user's cache.
        site: the site.
        contents: what its files hold.
    """

    def __init__(self, cache: UserCache, site: Site, contents: Mapping[str, FileContent]) -> None:
        self._cache = cache
        self._site = site
        self._contents = contents
        self._blocks: list[KeptBlock] = []

    @classmethod
    def of(cls, site: Site, files: Sequence[str]) -> KeptLog | None:
        """Return what is kept of a site's log; None where this run goes without, or the log is small."""
        if log_bytes(site).of_rows < FEWEST_BYTES:
            return None
        cache = cache_of_run()
        try:
            return None if cache is None else cls(cache, site, contents_of(site.folder, files, cache.now_ns()))
        except OSError:
            return None

    def block(self, plan: BlockPlan, names: Sequence[str]) -> KeptBlock:
        """Return what is kept of the files of the next block."""
        kept = KeptBlock(self._cache, plan, self._site.folder, names, self._contents)
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
