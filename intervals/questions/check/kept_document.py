"""The document of a site's findings as it was written before: where no file is another one, nothing is read or judged again.

In: a site and what is asked, the user's cache. Out: `WrittenFindings`, where such a document is kept. Refuses nothing: what is not kept, or
not whole, is made again.

A document rests on the content of every file that is read for it. It is kept where all engines were asked for, for a moment that comes
again, and where nothing was later than the clock: then it stays the same however far the clock goes on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from intervals.file_contents import FileContent, is_unchanged
from intervals.findings import Totals
from intervals.problems import ProblemsError
from intervals.program_digest import program_digest, zone_digest
from intervals.questions.check.findings_document import WrittenFindings, findings_text
from intervals.readings.log_size import log_bytes
from intervals.readings.records.found_grades import MEASURES_FILE
from intervals.rules.based_on import files_of
from intervals.rules.shipped import find_ruleset
from intervals.site.sources import log_files
from intervals.user_cache import UserCache, cache_of_run, pays_for

if TYPE_CHECKING:
    from intervals.findings import Findings
    from intervals.site.model import Site

KIND = "document"


class KeptDocument:
    """The document of one question about a site.

    Args:
        cache: the user's cache.
        contents: what the files hold that it rests on.
        key: digest of these, and of the question.
        now_us: the clock, UTC microseconds.
    """

    def __init__(self, cache: UserCache, contents: dict[Path, FileContent], key: str, now_us: int) -> None:
        self._cache = cache
        self._contents = contents
        self._key = key
        self._now_us = now_us

    @classmethod
    def of(  # noqa: PLR0913 - every argument is one thing that the document depends on
        cls, site: Site, as_of: date | datetime, now_us: int, ruleset: str | None, tasks: Sequence[str], month: str | None
    ) -> KeptDocument | None:
        """Return what is kept of a question about all engines; None where nothing of it is to be, as of a log that is read by address.

        Args:
            site: the site.
            as_of: the moment of judging; a time is mostly this one, which does not come again.
            now_us: the clock, UTC microseconds.
            ruleset: the rule set asked for instead of the site's.
            tasks: ids to judge; none means all.
            month: the month asked for, or None.
        """
        if isinstance(as_of, datetime) or site.names_addresses or not pays_for(log_bytes(site).of_rows):
            return None
        cache = cache_of_run()
        try:
            files = _files_of(site, ruleset)
            there = {file for file in files if file.exists()}
            contents = {} if cache is None else cache.contents_of(there)
        except (OSError, ProblemsError):
            # whatever is wrong with the rules is for the judge to say
            return None
        if cache is None or len(contents) < len(there):
            return None
        listed = [[str(file), contents[file].digest if file in contents else None] for file in files]
        asked = [as_of.isoformat(), ruleset, list(tasks), month, str(Path.cwd())]
        said = [program_digest(), zone_digest(site.time_zone), str(site.folder), repr(site), asked, listed]
        return cls(cache, contents, hashlib.sha256(json.dumps(said).encode()).hexdigest(), now_us)

    def found(self, judge: Callable[[], Findings | WrittenFindings]) -> WrittenFindings:
        """Return the document as it was written before, or what the judge finds, written and kept.

        Args:
            judge: returns the findings.
        """
        return self._find() or self._keep(judge())

    def _find(self) -> WrittenFindings | None:
        """Return the document as it was written before, or None."""
        entry = self._cache.find(KIND, self._key)
        if entry is None:
            return None
        try:
            text = bytes(entry.block(entry.head["start"], entry.head["size"]))
            if entry.head["now_us"] > self._now_us or hashlib.sha256(text).hexdigest() != entry.head["sha256"]:
                return None
            # one with a fault that says more than that it is there is not kept
            return WrittenFindings(Totals.model_validate(entry.head["totals"]), (), text.decode())
        except (KeyError, TypeError, ValueError):
            return None

    def _keep(self, findings: Findings | WrittenFindings) -> WrittenFindings:
        """Return the document of some findings, and keep it.

        It is not kept where something was later than the clock or changed meanwhile, or where the inference engine failed.
        """
        made = WrittenFindings(findings.totals, findings.faults, findings_text(findings))
        is_of_all_time = not any(fault.kind.endswith("_in_future") or fault.kind == "inference_fault" for fault in findings.faults)
        if is_of_all_time and all(is_unchanged(path, content) for path, content in self._contents.items()):
            text = made.text.encode()
            writer = self._cache.writer(KIND, self._key)
            place = {"start": writer.add(text), "size": len(text), "sha256": hashlib.sha256(text).hexdigest()}
            writer.finish({"now_us": self._now_us, "totals": made.totals.model_dump(), **place})
            self._cache.trim()
        return made


def _files_of(site: Site, ruleset: str | None) -> list[Path]:
    """Return every file that the findings rest on, whether or not it is there."""
    files = [Path(site.file), *(site.folder / name for name in (site.services.file, site.lab.file, MEASURES_FILE))]
    for name in [ruleset] if ruleset else site.rulesets:
        files += files_of(find_ruleset(name, Path.cwd() if ruleset else site.folder))
    logs = (site.folder / name for source in site.readings for name in log_files(site.folder, source))
    return list(dict.fromkeys([*files, *logs]))
