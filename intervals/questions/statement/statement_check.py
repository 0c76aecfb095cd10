"""Whether a statement still holds: the month stated again from the files as they are now, and every difference named.

In: a statement as it was written, with its amendments, and the same month stated now. Out: a `StatementCheck`: what differs in the
findings, and which records, rows and rules are no longer as they were. Comparisons are of equality only.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from intervals.documents import Frozen
from intervals.questions.input_digests import InputFile
from intervals.questions.statement.site_parts import part_changes
from intervals.questions.statement.stated import Stated, StatedAmendment
from intervals.questions.statement.stated_findings import finding_changes
from intervals.questions.statement.statement_changes import Changes, PlaceOfDay, file_changes, record_changes, row_changes, rule_changes


class StatementCheck(Frozen):
    """What became of one statement.

    Attributes:
        month: `YYYY-MM`.
        chain: what is wrong with its files and their place in the row of statements.
        changes: what is no longer as it was stated, or amended last.
        notes: what changed without touching what the statement rests on, and what may be behind the rest.
        amendments: its amendments in order.
    """

    month: str
    chain: tuple[str, ...]
    changes: Changes
    notes: tuple[str, ...]
    amendments: tuple[StatedAmendment, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether everything is as it was stated, or amended last."""
        return not self.chain and self.changes.are_none

    @property
    def differs_in_findings_alone(self) -> bool:
        """Whether all that it rests on is as it was stated, and yet the month comes to something else."""
        others = (self.changes.rules, self.changes.records, self.changes.rows, self.changes.site)
        return bool(self.changes.findings) and not any(others)

    def with_later_readings(self) -> StatementCheck:
        """Return the check where the month comes to what was stated by what was known at its end: what came since does not touch it."""
        first, count = self.changes.findings[0], len(self.changes.findings)
        more = f"; and {count - 1} more" if count > 1 else ""
        note = f"readings after the month's end show more of its last hours: {first}{more}"
        return self.model_copy(update={"changes": self.changes.model_copy(update={"findings": ()}), "notes": (*self.changes.files, note)})

    def following(self, earlier: Sequence[StatedAmendment]) -> StatementCheck:
        """Return the check, with a note where everything that differs was taken in by an amendment of an earlier month."""
        first = next((each for each in earlier if self.changes.are_within(each.changes)), None)
        if first is None or not (self.changes.records or self.changes.rows or self.changes.rules or self.changes.site):
            return self
        note = f"it follows from amendment {first.number} of {first.month}: amend this month too"
        return self.model_copy(update={"notes": (note, *self.notes)})


def check_statement(
    stated: Stated, now: Stated, chain: Sequence[str], place_of: PlaceOfDay, amendments: Sequence[StatedAmendment] = ()
) -> StatementCheck:
    """Return what became of a statement.

    Args:
        stated: as it was written, or as it was amended last.
        now: the same month, stated from the files as they are now.
        chain: what is wrong with its files and their place in the row of statements.
        place_of: says in which file and lines the rows of an engine and day stand now.
        amendments: its amendments in order.
    """
    changes = changes_of(stated, now, place_of)
    notes = [*part_changes(stated.site_parts, now.site_parts).added, *changes.files]
    if changes.findings:
        notes += _causes(stated, now, is_same=not (changes.records or changes.rows or changes.rules or changes.site))
    return StatementCheck(month=stated.month, chain=tuple(chain), changes=changes, notes=tuple(notes), amendments=tuple(amendments))


def changes_of(stated: Stated, now: Stated, place_of: PlaceOfDay) -> Changes:
    """Return everything that differs between a statement and the same month stated now."""
    records = tuple(record_changes(stated.records, now.records))
    rows = tuple(row_changes(stated.rows, now.rows, place_of))
    parts = part_changes(stated.site_parts, now.site_parts)
    is_site_same = stated.site_parts is not None and not any(parts)
    return Changes(
        rules=tuple(rule_changes(stated.findings.rulesets, now.findings.rulesets)),
        records=records,
        rows=rows,
        findings=tuple(finding_changes(stated, now)),
        files=tuple(file_changes(stated.inputs, now.inputs, is_same=not (records or rows), is_site_same=is_site_same)),
        site=parts.counted,
    )


def not_judged(stated: Stated, why: str, chain: Sequence[str], amendments: Sequence[StatedAmendment] = ()) -> StatementCheck:
    """Return the check of a statement that cannot be made again: its rule set or its engines are gone."""
    changes = Changes(rules=(why,), records=(), rows=(), findings=(), files=())
    return StatementCheck(month=stated.month, chain=tuple(chain), changes=changes, notes=(), amendments=tuple(amendments))


def _causes(stated: Stated, now: Stated, *, is_same: bool) -> Iterator[str]:
    """Yield what may be behind findings that differ, where it is not reported already.

    Args:
        stated: as it was written.
        now: as it is now.
        is_same: whether everything that the statement rests on is as it was.
    """
    versions = f"version {stated.version} made it, version {now.version} reads it"
    if not is_same:
        if stated.version != now.version:
            yield f"another version of the program may be behind it too: {versions}"
        return
    unchanged = "no record, row or rule changed up to its end"
    kinds = _kinds_changed(stated.inputs, now.inputs)
    if not kinds:
        same = f"both call themselves {now.version}" if stated.version == now.version else versions
        yield f"{unchanged}, nor any file: it was made by another version of the program than the one that reads it now ({same})"
        return
    causes = ["site.yaml was changed"] if "site" in kinds else []
    causes += ["later readings or records show more of its last hours"] if kinds - {"site"} else []
    same = f"both would call themselves {now.version}" if stated.version == now.version else versions
    yield f"{unchanged}; what may be behind it: {', '.join(causes)}, or another version of the program ({same})"


def _kinds_changed(was: Sequence[InputFile], now: Sequence[InputFile]) -> set[str]:
    """Return the kinds of the files whose bytes are not as they were, rule sets aside."""
    before = {(entry.kind, entry.path, entry.sha256) for entry in was}
    after = {(entry.kind, entry.path, entry.sha256) for entry in now}
    return {str(kind) for kind, _, _ in before ^ after} - {"rule set"}
