"""The cards that a site has on record: which were handed in, what each stated, and what was measured.

In: a site's folder and its service records. Out: cards by code, their digests, `MeasureLine` values. Refuses (CLI160) a kept
card that cannot be read.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from io import StringIO
from itertools import count
from pathlib import Path
from zoneinfo import ZoneInfo

from intervals.problems import Problem, RequestProblemError
from intervals.questions.record.handed_in import CANNOT_BE_READ, CARD_SUFFIX, HandedIn, instant_of
from intervals.questions.record.record_models import MeasureLine
from intervals.questions.record.records_lock import RECORDS
from intervals.readings import ServiceRecord
from intervals.readings.records.found_grades import AS_FOUND, MEASURE_COLUMNS, MEASURES_FILE
from intervals.site.model import Site

MEASURES = MEASURES_FILE.name
DIGESTS = "digests.csv"
"""What each card that was handed in looked like: its code and the SHA-256 of its file, the last line of a code for the file of now."""
_DIGEST_COLUMNS = ("card", "sha256")


def card_name(code: str) -> str:
    """Return the name of the file that a card is kept in, below `records/`."""
    return f"{code}{CARD_SUFFIX}"


def standing_tasks(records: Iterable[ServiceRecord], code: str) -> tuple[str, ...]:
    """Return the tasks of which a card has a record that is not taken back, as they are typed."""
    counts: Counter[str] = Counter()
    for record in records:
        if record.ref == code:
            counts[record.task] += -1 if record.outcome == "void" else 1
    return tuple(task for task, count in counts.items() if count > 0)


def standing_refs(records: Iterable[ServiceRecord]) -> frozenset[str]:
    """Return the references under which some record of some engine stands, not taken back."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for record in records:
        counts[record.engine, record.task, record.ref] += -1 if record.outcome == "void" else 1
    return frozenset(ref for (_, _, ref), count in counts.items() if ref and count > 0)


def kept_files(site: Site, code: str, content: bytes) -> dict[str, str | bytes]:
    """Return what is written below `records/` to keep a card, by file name; an earlier file of other bytes is kept beside it.

    Args:
        site: the site.
        code: the code of the card.
        content: its file.
    """
    folder = site.folder / RECORDS
    files: dict[str, str | bytes] = {}
    earlier = folder / card_name(code)
    if earlier.is_file() and (before := earlier.read_bytes()) != content:
        aside = sorted(folder.glob(f"{code}.*{CARD_SUFFIX}"))
        if all(path.read_bytes() != before for path in aside):
            names = {path.name for path in aside}
            number = next(number for number in count(1) if f"{code}.{number}{CARD_SUFFIX}" not in names)
            files[f"{code}.{number}{CARD_SUFFIX}"] = before
    digest = (code, sha256(content).hexdigest())
    rows = kept_digests(site)
    if digest not in rows or dict(rows)[code] != digest[1]:
        rows.append(digest)
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([_DIGEST_COLUMNS, *rows])
    files[card_name(code)] = content
    files[DIGESTS] = text.getvalue()
    return files


def kept_digests(site: Site) -> list[tuple[str, str]]:
    """Return the digests that are kept, in order of the file."""
    path = site.folder / RECORDS / DIGESTS
    if not path.is_file():
        return []
    try:
        return [(row["card"], row["sha256"]) for row in csv.DictReader(path.read_text("utf-8-sig").splitlines())]
    except (OSError, UnicodeError, csv.Error, KeyError) as error:
        fix = f"its columns are {', '.join(_DIGEST_COLUMNS)}; move the file away, and it is made anew"
        raise RequestProblemError([Problem(CANNOT_BE_READ, str(path), None, None, f"cannot be read: {error}", fix)]) from None


def measures_of(handed: HandedIn, at: datetime, zone: ZoneInfo) -> tuple[MeasureLine, ...]:
    """Return what was measured, and how parts were found, as lines that are kept.

    Args:
        handed: what was handed in.
        at: when the work counts as done, for values of which no time of their own is stated.
        zone: the site's zone.
    """
    lines = []
    for step in handed.card.steps:
        given = handed.steps.get(step.id)
        if step.kind != "measure" or given is None or given.value is None or step.value is None:
            continue
        stated = given.at or given.ended_at
        measure = step.value if step.place is None else f"{step.value}.{step.place}"
        task = step.tasks[0] if step.tasks else ""
        lines.append((instant_of(stated, zone) if stated else at, task, measure, f"{given.value:.15g}", step.unit or ""))
    lines += [(at, task, AS_FOUND, grade, "") for task, grade in handed.as_found.items()]
    return tuple(
        MeasureLine(
            at=when.astimezone(zone).isoformat(timespec="minutes"),
            engine=handed.card.engine,
            task=task,
            measure=measure,
            value=value,
            unit=unit,
            card=handed.code,
        )
        for when, task, measure, value, unit in lines
    )


def measures_with(site: Site, added: Sequence[MeasureLine], *, without: str = "") -> str:
    """Return the whole file of measures with more lines; those of a card that are there already give way to its new ones.

    Args:
        site: the site.
        added: the lines.
        without: the code of a card whose lines go.
    """
    gone = {line.card for line in added} | {without}
    kept = [line for line in read_measures(site) if line.card not in gone]
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(MEASURE_COLUMNS)
    writer.writerows([getattr(line, name) for name in MEASURE_COLUMNS] for line in (*kept, *added))
    return text.getvalue()


def read_measures(site: Site) -> tuple[MeasureLine, ...]:
    """Return the measures that are kept, in order of the file; none where there are none.

    Raises:
        RequestProblemError: the file is none of ours (CLI160).
    """
    path = site.folder / RECORDS / MEASURES
    if not path.is_file():
        return ()
    try:
        rows = list(csv.DictReader(path.read_text("utf-8-sig").splitlines()))
        return tuple(MeasureLine(**{name: row[name] or "" for name in MEASURE_COLUMNS}) for row in rows)
    except (OSError, UnicodeError, csv.Error, KeyError) as error:
        fix = f"its columns are {', '.join(MEASURE_COLUMNS)}; move the file away, and it is made anew"
        raise RequestProblemError([Problem(CANNOT_BE_READ, str(path), None, None, f"cannot be read: {error}", fix)]) from None


def standing_measures(site: Site, records: Mapping[str, Sequence[ServiceRecord]]) -> tuple[MeasureLine, ...]:
    """Return the measures of cards that have a record which is not taken back.

    Args:
        site: the site.
        records: engine id -> its service records.
    """
    lines = read_measures(site)
    standing = {(line.engine, line.card): bool(standing_tasks(records.get(line.engine, ()), line.card)) for line in lines}
    return tuple(line for line in lines if standing[line.engine, line.card])


def recorded_file(site: Site, code: str) -> Path | None:
    """Return the file of a card that was handed in, or None."""
    path = site.folder / RECORDS / card_name(code)
    return path if path.is_file() else None
