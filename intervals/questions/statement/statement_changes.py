"""What differs between a statement and the same month stated again: records, rows of the log, rules, files.

In: two statements, one as it was written and one as the files are now. Out: `Changes`, as an amendment keeps them. Comparisons are of
equality only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import date, timedelta
from typing import Literal

from intervals.documents import Frozen
from intervals.findings import RuleSetUsed
from intervals.questions.input_digests import InputFile
from intervals.questions.statement.statements import RecordLine

ChangeWord = Literal["added", "changed", "removed"]
PlaceOfDay = Callable[[str, date], str]

_MOST_DAYS_APART = 1


class RecordChange(Frozen):
    """A service record or analysis that was added, changed or taken away: as it was stated, and as it is now."""

    change: ChangeWord
    was: RecordLine | None
    now: RecordLine | None

    @property
    def text(self) -> str:
        """The change in one line."""
        if self.was is None and self.now is not None:
            return f"added later, dated back into the month or before: {_record_text(self.now)}"
        record_text = "" if self.was is None else _record_text(self.was)
        return f"{self.change}: {record_text}" + (f" is now {_record_text(self.now)}" if self.now is not None else "")


class RowChange(Frozen):
    """Days of an engine's log that follow one another and whose rows were added, changed or taken away; `place` is file and lines now."""

    change: ChangeWord
    engine: str
    first_day: str
    last_day: str
    place: str

    @property
    def text(self) -> str:
        """The change in one line."""
        is_one_day = self.first_day == self.last_day
        shown = self.first_day if is_one_day else f"{self.first_day} to {self.last_day}"
        return f"rows {self.change}: {self.engine} {shown}" + (f" ({'' if is_one_day else 'from '}{self.place})" if self.place else "")

    def days(self) -> Iterator[tuple[str, date]]:
        """Yield engine and day of each day."""
        first, last = date.fromisoformat(self.first_day), date.fromisoformat(self.last_day)
        for number in range((last - first).days + 1):
            yield self.engine, first + timedelta(days=number)


class Changes(Frozen):
    """Everything that differs.

    Attributes:
        rules: rule sets that are not as they were.
        records: service records and analyses.
        rows: rows of the log.
        findings: what the month comes to now where that differs.
        files: files whose bytes are not as they were, rule sets aside.
        site: parts of the site file that counted.
    """

    rules: tuple[str, ...]
    records: tuple[RecordChange, ...]
    rows: tuple[RowChange, ...]
    findings: tuple[str, ...]
    files: tuple[str, ...]
    site: tuple[str, ...] = ()

    @property
    def are_none(self) -> bool:
        """Whether everything that counts is as it was stated; other bytes of a file alone do not count."""
        return not (self.rules or self.records or self.rows or self.site or self.findings)

    def are_within(self, others: Changes) -> bool:
        """Tell whether the records, rows and rules that changed are among those of another month: the same change touches both months."""
        stated = {change.was.digest for change in others.records if change.was is not None}
        came = {change.now.digest for change in others.records if change.now is not None}
        days = {day for change in others.rows for day in change.days()}
        return (
            all(_is_among(change, stated, came) for change in self.records)
            and all(day in days for change in self.rows for day in change.days())
            and set(self.rules) <= set(others.rules)
            and set(self.site) <= set(others.site)
        )


def _is_among(change: RecordChange, stated: Collection[str], came: Collection[str]) -> bool:
    """Tell whether a record changed from one of some records, or became one of others."""
    was = change.was is not None and change.was.digest in stated
    return was or (change.now is not None and change.now.digest in came)


def record_changes(was: Sequence[RecordLine], now: Sequence[RecordLine]) -> Iterator[RecordChange]:
    """Yield each record that was added, changed or taken away; its place in the file does not count."""
    gone = _without(was, now)
    come = _without(now, was)
    for record in gone:
        twin = next((entry for entry in come if _is_twin(record, entry)), None)
        if twin is None:
            yield RecordChange(change="removed", was=record, now=None)
        else:
            come.remove(twin)
            yield RecordChange(change="changed", was=record, now=twin)
    for record in come:
        yield RecordChange(change="added", was=None, now=record)


def _without(records: Sequence[RecordLine], others: Sequence[RecordLine]) -> list[RecordLine]:
    """Return the records of which the others hold fewer, by what they say; what stands beside a digest must fit it too."""
    left = Counter(map(_said, others))
    found = []
    for entry in records:
        if left[_said(entry)] > 0:
            left[_said(entry)] -= 1
        else:
            found.append(entry)
    return found


def _said(record: RecordLine) -> tuple[str, str, str, str, str]:
    """Return what identifies a record, wherever it stands."""
    return record.digest, record.engine, record.task, record.at, record.outcome


def _is_twin(old: RecordLine, new: RecordLine) -> bool:
    """Tell whether two records are likely the same one, changed: of one engine and task, at one time or one place."""
    return (old.engine, old.task) == (new.engine, new.task) and (old.at == new.at or old.place == new.place)


def _record_text(record: RecordLine) -> str:
    """Return a record in a few words."""
    return f"{record.engine} {record.task} {record.outcome} {record.at} ({record.place})"


def row_changes(was: Mapping[str, Mapping[str, str]], now: Mapping[str, Mapping[str, str]], place_of: PlaceOfDay) -> Iterator[RowChange]:
    """Yield the days of each engine whose rows were added, changed or taken away, days that follow one another together."""
    for engine in dict.fromkeys([*was, *now]):
        before, after = was.get(engine, {}), now.get(engine, {})
        kinds: dict[ChangeWord, list[date]] = {"changed": [], "added": [], "removed": []}
        for day in sorted({*before, *after}):
            if before.get(day) == after.get(day):
                continue
            kind: ChangeWord = "added" if day not in before else "removed" if day not in after else "changed"
            kinds[kind].append(date.fromisoformat(day))
        for kind, days in kinds.items():
            for first, last in _spans(days):
                place = "" if kind == "removed" else place_of(engine, first)
                yield RowChange(change=kind, engine=engine, first_day=first.isoformat(), last_day=last.isoformat(), place=place)


def _spans(days: Sequence[date]) -> list[tuple[date, date]]:
    """Return days that follow one another as spans."""
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and (day - spans[-1][1]).days <= _MOST_DAYS_APART:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    return spans


def rule_changes(was: Sequence[RuleSetUsed], now: Sequence[RuleSetUsed]) -> Iterator[str]:
    """Yield the rule sets that are not as they were."""
    before = {entry.ruleset: entry for entry in was}
    after = {entry.ruleset: entry for entry in now}
    for name in dict.fromkeys([*before, *after]):
        old, new = before.get(name), after.get(name)
        if old is None or new is None:
            yield f"rule set {name}: {'did not judge then' if old is None else 'no longer judges'}"
        elif old.sha256 != new.sha256:
            version = f"version {old.version}" if old.version == new.version else f"version {old.version} then, {new.version} now"
            yield f"rule set {name} was changed ({version}; digest {old.sha256[:12]} then, {new.sha256[:12]} now)"


def file_changes(was: Sequence[InputFile], now: Sequence[InputFile], *, is_same: bool, is_site_same: bool) -> Iterator[str]:
    """Yield the files whose bytes are not as they were; rule sets are reported elsewhere.

    Args:
        was: the files as stated.
        now: the files as they are.
        is_same: whether no record and no row that counted was changed.
        is_site_same: whether no part of the site file that counted was changed, as far as parts were stated.
    """
    before = {entry.path: entry for entry in was if entry.kind != "rule set"}
    after = {entry.path: entry for entry in now if entry.kind != "rule set"}
    for path in dict.fromkeys([*before, *after]):
        old, new = before.get(path), after.get(path)
        if old is None:
            yield f"{path} was added later"
        elif new is None:
            yield f"{path} is gone"
        elif old.sha256 != new.sha256:
            same = ", but nothing in it that counted at the month's end" if (is_site_same if old.kind == "site" else is_same) else ""
            yield f"{path} was changed{same}"
