"""Whether a statement still holds: the month stated again from the files as they are now, and every difference named.

In: a statement as it was written, and the same month stated now. Out: a `StatementCheck`: what differs in the findings, and which
records, rows and rules are no longer as they were. Comparisons are of equality only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date

from intervals.figures import amount
from intervals.findings import Finding, Findings, Frozen, Skipped
from intervals.judge.month_models import InputFile
from intervals.judge.month_wording import STANDING_WORDS
from intervals.judge.statement_keys import differing_keys
from intervals.judge.statements import RecordLine, Statement

MOST_DAYS_APART = 1


class StatementCheck(Frozen):
    """What became of one statement.

    Attributes:
        month: `YYYY-MM`.
        chain: what is wrong with its place in the row of statements.
        findings: what the month comes to now where that differs.
        records: service records that were added, changed or taken away.
        rows: rows of the log that were added, changed or taken away.
        rules: rule sets that are not as they were.
        notes: what changed without touching what the statement rests on.
    """

    month: str
    chain: tuple[str, ...]
    findings: tuple[str, ...]
    records: tuple[str, ...]
    rows: tuple[str, ...]
    rules: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def holds(self) -> bool:
        """Whether everything is as it was stated."""
        return not (self.chain or self.findings or self.records or self.rows or self.rules)


PlaceOfDay = Callable[[str, date], str]


def check_statement(stated: Statement, now: Statement, chain: Sequence[str], place_of: PlaceOfDay) -> StatementCheck:
    """Return what became of a statement.

    Args:
        stated: as it was written.
        now: the same month, stated from the files as they are now.
        chain: what is wrong with its place in the row of statements.
        place_of: says in which file and lines the rows of an engine and day stand now.
    """
    findings = tuple(_finding_changes(stated.findings, _as_stated(stated.findings, now.findings)))
    records = tuple(_record_changes(stated.records, now.records))
    rows = tuple(_row_changes(stated.rows, now.rows, place_of))
    rules = tuple(_rule_changes(stated.findings, now.findings))
    notes = list(_file_changes(stated.inputs, now.inputs, is_same=not (records or rows)))
    if findings:
        notes += _causes(stated, now, is_same=not (records or rows or rules))
    return StatementCheck(
        month=stated.month, chain=tuple(chain), findings=findings, records=records, rows=rows, rules=rules, notes=tuple(notes)
    )


def _as_stated(was: Findings, now: Findings) -> Findings:
    """Return findings without their rule sets, where those were stated before an engine could have several."""
    if any(entry.ruleset for entry in was.findings) or any(entry.ruleset for entry in was.skipped):
        return now
    bare = {"ruleset": ""}
    met = now.compliance
    if met is not None:
        met = met.model_copy(update={"occurrences": tuple(entry.model_copy(update=bare) for entry in met.occurrences)})
    return now.model_copy(
        update={
            "findings": tuple(entry.model_copy(update=bare) for entry in now.findings),
            "skipped": tuple(entry.model_copy(update=bare) for entry in now.skipped),
            "compliance": met,
        }
    )


def _finding_changes(was: Findings, now: Findings) -> Iterator[str]:
    """Yield each finding that differs, and whether what was skipped or met differs."""
    before = {(entry.engine, was.name_of(entry), entry.ruleset): entry for entry in was.findings}
    after = {(entry.engine, now.name_of(entry), entry.ruleset): entry for entry in now.findings}
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if _told(old) != _told(new):
            yield f"{key[0]} {key[1]}: stated {_told(old)}, now {_told(new)}"
        elif old is not None and new is not None and old != new:
            yield f"{key[0]} {key[1]}: {differing_keys(old, new)}"
    yield from _skipped_changes(was.skipped, now.skipped)
    if _figure(was) != _figure(now):
        yield f"compliance: stated {_figure(was)}, now {_figure(now)}"
    elif was.compliance is not None and now.compliance is not None and was.compliance != now.compliance:
        yield f"compliance: {differing_keys(was.compliance, now.compliance)}"


def _skipped_changes(was: Sequence[Skipped], now: Sequence[Skipped]) -> Iterator[str]:
    """Yield each skipped occurrence that differs; it is the same one where engine, task, kind and time are the same."""
    before, after = _by_occurrence(was), _by_occurrence(now)
    if before == after and was != now:
        yield "skipped: the same in another order"
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if new is None:
            yield f"no longer skipped: {key[0]} {key[1]}, {before[key].text}"
        elif old is None:
            yield f"skipped besides: {key[0]} {key[1]}, {new.text}"
        elif old != new:
            yield f"skipped: {key[0]} {key[1]} at {key[3]}: {differing_keys(old, new)}"


def _by_occurrence(skipped: Sequence[Skipped]) -> dict[tuple[str, str, str, str, int], Skipped]:
    """Return skipped occurrences by engine, task, kind, time and how many such came before."""
    seen: Counter[tuple[str, str, str, str]] = Counter()
    found: dict[tuple[str, str, str, str, int], Skipped] = {}
    for entry in skipped:
        key = (entry.engine, entry.task, entry.kind, entry.at)
        found[*key, seen[key]] = entry
        seen[key] += 1
    return found


def _told(finding: Finding | None) -> str:
    """Return a finding in a few words."""
    if finding is None:
        return "not there"
    leg = finding.governing_leg
    used = "" if leg is None else f", {amount(leg.used, leg.unit)} of {amount(leg.allowed, leg.unit)}"
    return STANDING_WORDS[finding.standing] + used


def _figure(findings: Findings) -> str:
    """Return a month's counts in a few words."""
    met = findings.compliance
    if met is None:
        return "none"
    late = f"{met.late} late ({met.missed} missed, {met.open} open)"
    return f"{met.on_time} on time, {late}, {met.pending} pending, {met.deferred} deferred, {met.early} early"


def _record_changes(was: Sequence[RecordLine], now: Sequence[RecordLine]) -> Iterator[str]:
    """Yield each record that was added, changed or taken away; its place in the file does not count."""
    gone = _without(was, now)
    come = _without(now, was)
    for record in gone:
        twin = next((entry for entry in come if _is_twin(record, entry)), None)
        if twin is None:
            yield f"taken away: {_record_told(record)}"
        else:
            come.remove(twin)
            yield f"changed: {_record_told(record)} is now {_record_told(twin)}"
    for record in come:
        yield f"added since, dated back into the month or before: {_record_told(record)}"


def _without(records: Sequence[RecordLine], others: Sequence[RecordLine]) -> list[RecordLine]:
    """Return the records of which the others hold fewer, by what they say."""
    left = Counter(entry.digest for entry in others)
    found = []
    for entry in records:
        if left[entry.digest] > 0:
            left[entry.digest] -= 1
        else:
            found.append(entry)
    return found


def _is_twin(old: RecordLine, new: RecordLine) -> bool:
    """Tell whether two records are likely the same one, changed: of one engine and task, at one time or one place."""
    return (old.engine, old.task) == (new.engine, new.task) and (old.at == new.at or old.place == new.place)


def _record_told(record: RecordLine) -> str:
    """Return a record in a few words."""
    return f"{record.engine} {record.task} {record.outcome} {record.at} ({record.place})"


def _row_changes(was: Mapping[str, Mapping[str, str]], now: Mapping[str, Mapping[str, str]], place_of: PlaceOfDay) -> Iterator[str]:
    """Yield the days of each engine whose rows were added, changed or taken away, days that follow one another together."""
    for engine in dict.fromkeys([*was, *now]):
        before, after = was.get(engine, {}), now.get(engine, {})
        kinds: dict[str, list[date]] = {"changed": [], "added": [], "taken away": []}
        for day in sorted({*before, *after}):
            if before.get(day) == after.get(day):
                continue
            kind = "added" if day not in before else "taken away" if day not in after else "changed"
            kinds[kind].append(date.fromisoformat(day))
        for kind, days in kinds.items():
            for first, last in _spans(days):
                shown = first.isoformat() if first == last else f"{first.isoformat()} to {last.isoformat()}"
                place = "" if kind == "taken away" else place_of(engine, first)
                yield f"rows {kind}: {engine} {shown}" + (f" ({'from ' if first != last else ''}{place})" if place else "")


def _spans(days: Sequence[date]) -> list[tuple[date, date]]:
    """Return days that follow one another as spans."""
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and (day - spans[-1][1]).days <= MOST_DAYS_APART:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    return spans


def _rule_changes(was: Findings, now: Findings) -> Iterator[str]:
    """Yield the rule sets that are not as they were."""
    before = {entry.ruleset: entry for entry in was.rulesets}
    after = {entry.ruleset: entry for entry in now.rulesets}
    for name in dict.fromkeys([*before, *after]):
        old, new = before.get(name), after.get(name)
        if old is None or new is None:
            yield f"rule set {name}: {'did not judge then' if old is None else 'no longer judges'}"
        elif old.sha256 != new.sha256:
            version = f"version {old.version}" if old.version == new.version else f"version {old.version} then, {new.version} now"
            yield f"rule set {name} was changed ({version}; digest {old.sha256[:12]} then, {new.sha256[:12]} now)"


def _causes(stated: Statement, now: Statement, *, is_same: bool) -> Iterator[str]:
    """Yield what may be behind findings that differ, where it is not told already.

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
        yield f"{unchanged}, nor any file: the program that made it is another version than the one that reads it ({same})"
        return
    causes = ["site.yaml was changed"] if "site" in kinds else []
    causes += ["later readings or records tell more of its last hours"] if kinds - {"site"} else []
    same = f"both would call themselves {now.version}" if stated.version == now.version else versions
    yield f"{unchanged}; what may be behind it: {', '.join(causes)}, or another version of the program ({same})"


def _kinds_changed(was: Sequence[InputFile], now: Sequence[InputFile]) -> set[str]:
    """Return the kinds of the files whose bytes are not as they were, rule sets aside."""
    before = {(entry.kind, entry.path, entry.sha256) for entry in was}
    after = {(entry.kind, entry.path, entry.sha256) for entry in now}
    return {str(kind) for kind, _, _ in before ^ after} - {"rule set"}


def _file_changes(was: Sequence[InputFile], now: Sequence[InputFile], *, is_same: bool) -> Iterator[str]:
    """Yield the files whose bytes are not as they were; rule sets are told of elsewhere."""
    before = {entry.path: entry for entry in was if entry.kind != "rule set"}
    after = {entry.path: entry for entry in now if entry.kind != "rule set"}
    for path in dict.fromkeys([*before, *after]):
        old, new = before.get(path), after.get(path)
        if old is None:
            yield f"{path} came since"
        elif new is None:
            yield f"{path} is gone"
        elif old.sha256 != new.sha256:
            same = ", but nothing in it that counted at the month's end" if is_same and old.kind != "site" else ""
            yield f"{path} was changed{same}"
