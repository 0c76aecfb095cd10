"""How the findings of a month differ from what was stated of it.

In: findings as two documents have them. Out: one line for each difference. Comparisons are of equality only.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from intervals.questions.month.month_wording import STANDING_WORDS
from intervals.questions.statement.stated import Entry, Stated, StatedFindings
from intervals.questions.statement.statement_keys import differing_keys
from intervals.shown_numbers import amount


def finding_changes(stated: Stated, now: Stated) -> Iterator[str]:
    """Yield each finding that differs, and whether what was skipped or met differs.

    Args:
        stated: as it was written.
        now: the same month now. Keys that the version of the statement did not have are not compared; one that was taken out of a
            statement shows in the digest of its content.
    """
    for key in ("site", "as_of"):
        if getattr(stated, key) != getattr(now, key):
            yield f"{key}: stated {getattr(stated, key)}, now {getattr(now, key)}"
    was, found = stated.findings, _as_far_as_stated(stated.findings, now.findings)
    entries = [*_of_tasks(was.findings, found.findings), *_skipped_changes(was.skipped, found.skipped)]
    yield from entries
    if was.totals != found.totals and not entries:
        yield f"totals: {differing_keys(was.totals, found.totals)}"
    if _figure(was.compliance) != _figure(found.compliance):
        yield f"compliance: stated {_figure(was.compliance)}, now {_figure(found.compliance)}"
    elif was.compliance is not None and found.compliance is not None and was.compliance != found.compliance:
        yield f"compliance: {differing_keys(was.compliance, found.compliance)}"


def _as_far_as_stated(was: StatedFindings, now: StatedFindings) -> StatedFindings:
    """Return findings without the keys that the version of the statement did not have."""
    known = {(entry["engine"], entry["task"]): entry for entry in was.findings}
    keys = {key for entry in was.skipped for key in entry}
    return now.model_copy(
        update={
            "findings": tuple(_common(known.get((entry["engine"], entry["task"]), entry), entry) for entry in now.findings),
            "skipped": tuple({key: value for key, value in entry.items() if key in keys} for entry in now.skipped) if keys else now.skipped,
            "totals": _common(was.totals, now.totals),
            "compliance": None if now.compliance is None else _common(was.compliance or now.compliance, now.compliance),
        }
    )


def _common(was: Any, now: Any) -> Any:  # noqa: ANN401 - walks whatever a document holds
    """Return a value with no more keys than the stated one has."""
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        return {key: _common(was[key], value) for key, value in now.items() if key in was}
    if isinstance(was, list) and isinstance(now, list) and len(was) == len(now):
        return [_common(old, new) for old, new in zip(was, now, strict=True)]
    return now


def _of_tasks(was: Sequence[Entry], now: Sequence[Entry]) -> Iterator[str]:
    """Yield each finding that differs; it is the same one where engine and task are the same."""
    before = {(entry["engine"], entry["task"]): entry for entry in was}
    after = {(entry["engine"], entry["task"]): entry for entry in now}
    if before == after and list(was) != list(now):
        yield "findings: the same in another order, or one of them twice"
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if _standing_text(old) != _standing_text(new):
            yield f"{key[0]} {key[1]}: stated {_standing_text(old)}, now {_standing_text(new)}"
        elif old is not None and new is not None and old != new:
            yield f"{key[0]} {key[1]}: {differing_keys(old, new)}"


def _skipped_changes(was: Sequence[Entry], now: Sequence[Entry]) -> Iterator[str]:
    """Yield each skipped occurrence that differs; it is the same one where engine, task, kind and time are the same."""
    before, after = _by_occurrence(was), _by_occurrence(now)
    if before == after and list(was) != list(now):
        yield "skipped: the same in another order"
    for key in dict.fromkeys([*before, *after]):
        old, new = before.get(key), after.get(key)
        if new is None:
            yield f"no longer skipped: {key[0]} {key[1]}, {before[key]['text']}"
        elif old is None:
            yield f"newly skipped: {key[0]} {key[1]}, {new['text']}"
        elif old != new:
            yield f"skipped: {key[0]} {key[1]} at {key[3]}: {differing_keys(old, new)}"


def _by_occurrence(skipped: Sequence[Entry]) -> dict[tuple[str, str, str, str, int], Entry]:
    """Return skipped occurrences by engine, task, kind, time and how many such came before."""
    seen: Counter[tuple[str, str, str, str]] = Counter()
    found: dict[tuple[str, str, str, str, int], Entry] = {}
    for entry in skipped:
        key = (entry["engine"], entry["task"], entry["kind"], entry["at"])
        found[*key, seen[key]] = entry
        seen[key] += 1
    return found


def _standing_text(finding: Entry | None) -> str:
    """Return a finding in a few words."""
    if finding is None:
        return "not there"
    legs: Sequence[Entry] = finding.get("legs", ())
    leg = next((each for each in legs if each["leg"] == finding["governing"]), None)
    used = "" if leg is None else f", {amount(leg['used'], leg['unit'])} of {amount(leg['allowed'], leg['unit'])}"
    return f"{STANDING_WORDS.get(finding['standing'], finding['standing'])}{used}"


def _figure(met: Entry | None) -> str:
    """Return a month's counts in a few words; versions count by other words."""
    counts = {} if met is None else {key.replace("_", " "): value for key, value in met.items() if type(value) is int}
    return ", ".join(f"{value} {word}" for word, value in counts.items()) or "none"
