"""Jobs in parts: the cards that a card completes, whether they are as they were handed in, and who completed them before.

In: a card, the cards that a site keeps, its service records. Out: parts, their joined evidence, what became of each task in them, facts for
the rules about cards. Refuses (CLI160) a card that is completed and cannot be read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from hashlib import sha256
from typing import NamedTuple

from intervals.history.placed_records import place_of
from intervals.problems import RequestProblemError
from intervals.questions.card.card_steps import CardStep
from intervals.questions.record.evidence import StepEvidence, completed_by
from intervals.questions.record.handed_in import CARD_SUFFIX, HandedIn, read_bytes, read_handed_in
from intervals.questions.record.recorded_cards import card_name, kept_digests, recorded_file, standing_tasks
from intervals.questions.record.records_lock import RECORDS
from intervals.questions.record.what_completes import steps_after, steps_of_safety, steps_that_lack
from intervals.readings import ServiceRecord
from intervals.rulebook.inference import FactValue
from intervals.rules.procedures import Procedure
from intervals.site.model import Site

_MINUTE = timedelta(minutes=1)
_MOST_PARTS = 20


def earlier_parts(site: Site, handed: HandedIn) -> list[HandedIn]:
    """Return the cards that a card completes, the earliest first; none where it completes none, or the one that it names is not kept.

    Raises:
        RequestProblemError: a kept card cannot be read (CLI160).
    """
    parts: list[HandedIn] = []
    code = handed.card.stop.completes
    while code and len(parts) < _MOST_PARTS:
        path = recorded_file(site, code)
        if path is None:
            break
        parts.append(read_handed_in(path))
        code = parts[-1].card.stop.completes
    return parts[::-1]


def joined_evidence(
    parts: Sequence[Mapping[str, StepEvidence]], procedure: Procedure | None, steps: Sequence[CardStep]
) -> dict[str, StepEvidence]:
    """Return the evidence of a job in parts, later parts in the place of earlier ones.

    A later part secures the engine again, and looks at it again: steps before that are not out of order by it.

    Args:
        parts: the evidence of each card by step, the earliest first.
        procedure: how the task is done; None where that is not known.
        steps: the steps of the task.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    evidence: dict[str, StepEvidence] = {}
    safety = steps_of_safety(steps)
    for number, own in enumerate(parts):
        lacking = steps_that_lack(procedure, steps, evidence) if number else frozenset()
        evidence = completed_by(evidence, own, again=safety - lacking - steps_after(steps, lacking), part=number)
    return evidence


def cards_that_complete(site: Site, records: Sequence[ServiceRecord], code: str, *, but: str = "") -> tuple[str, ...]:
    """Return the codes of cards that complete a card and have a record which is not taken back.

    Of a kept card that cannot be read its records tell: one that completes another is noted there.

    Args:
        site: the site.
        records: service records.
        code: the card that is completed.
        but: the code of a card that is passed over.
    """
    found = []
    for path in sorted((site.folder / RECORDS).glob(f"*{CARD_SUFFIX}")):
        other = path.name.removesuffix(CARD_SUFFIX)
        # a file whose name is not a code of a record is an earlier one that was set aside
        if other in (code, but) or not standing_tasks(records, other):
            continue
        try:
            completes = read_handed_in(path).card.stop.completes == code
        except RequestProblemError:
            completes = any(record.ref == other and completing_note(code) in record.note for record in records)
        if completes:
            found.append(other)
    return tuple(found)


def completing_note(code: str) -> str:
    """Return what the record of a job says of the card that it completes."""
    return f"completes {code}"


class EarlierPart(NamedTuple):
    """What became of a task in the cards that a card completes.

    Attributes:
        is_open: whether it was left in part, and no other card completed it.
        ended_at: when that part ended; None where it is not known.
        credited_in: where its record stands, of a task that was credited; else nothing.
        completed_by: the codes of other cards that completed it; else nothing.
    """

    is_open: bool
    ended_at: datetime | None
    credited_in: str
    completed_by: str


def earlier_part(
    site: Site,
    handed: HandedIn,
    parts: Sequence[HandedIn],
    own: Sequence[ServiceRecord],
    completing: Callable[[str], Sequence[str]],
) -> EarlierPart | None:
    """Return what became of a task in the cards that a card completes, the latest that has a record of it; None where none has.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it.
        own: the service records of the task on its engine.
        completing: yields the codes of other cards that complete a card, as `cards_that_complete` does.
    """
    codes = _codes_completed(handed, parts)
    for code, part in zip(codes, [*reversed(parts), None], strict=False):
        standing = None
        for record in own:
            if record.ref == code:
                standing = None if record.outcome == "void" else record
        if standing is None:
            continue
        ended_at = None if part is None else part.ends_at(site.zone)
        if standing.outcome != "partial":
            return EarlierPart(False, ended_at, place_of(standing), "")
        others = [other for other in completing(code) if other not in codes and standing_tasks(own, other)]
        return EarlierPart(not others, ended_at, "", ", ".join(others))
    return None


def _codes_completed(handed: HandedIn, parts: Sequence[HandedIn]) -> list[str]:
    """Return the codes of the cards that a card completes, the latest first; the last of them need not be kept."""
    named = (each.card.stop.completes for each in (handed, *reversed(parts)))
    return [code for code in named if code]


def altered_parts(site: Site, handed: HandedIn, parts: Sequence[HandedIn]) -> tuple[str, ...]:
    """Return the codes of the cards that a card completes whose files are not as they were handed in.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it. One whose digest is not kept is not among them: see `unproved_parts`.
    """
    digests, altered = dict(kept_digests(site)), []
    for code, part in zip(_codes_completed(handed, parts), reversed(parts), strict=False):
        digest = sha256(read_bytes(site.folder / RECORDS / card_name(code), follows_links=False)).hexdigest()
        if part.code != code or digests.get(code, digest) != digest:
            altered.append(code)
    return tuple(altered)


def unproved_parts(site: Site, handed: HandedIn, parts: Sequence[HandedIn]) -> tuple[str, ...]:
    """Return the codes of the cards that a card completes of which no digest is kept: whether they were edited since is not known.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it.
    """
    digests = dict(kept_digests(site))
    return tuple(code for code in _codes_completed(handed, parts)[: len(parts)] if code not in digests)


def lost_part(site: Site, handed: HandedIn, parts: Sequence[HandedIn]) -> str:
    """Return the code of a card that is completed and whose file is not in `records/`; nothing where all are there.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it.
    """
    beyond = _codes_completed(handed, parts)[len(parts) :]
    return next((code for code in beyond if not (site.folder / RECORDS / card_name(code)).is_file()), "")


def facts_of_parts(site: Site, handed: HandedIn, parts: Sequence[HandedIn]) -> dict[str, FactValue]:
    """Return the facts about the cards that a card completes; unknown where it completes none, or none that is kept.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it.
    """
    at = handed.ends_at(site.zone)
    last = max((ended for part in parts if (ended := part.ends_at(site.zone)) is not None), default=None)
    return {
        "is_part_kept": not lost_part(site, handed, parts),
        "is_part_as_kept": not altered_parts(site, handed, parts) if parts else None,
        "is_part_proved": not unproved_parts(site, handed, parts) if parts else None,
        "before_part_min": None if last is None or at is None else (last - at) / _MINUTE,
    }
