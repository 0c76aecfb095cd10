"""Jobs in parts: the cards that a card completes, whether they are as they were handed in, and who completed them before.

In: a card, the cards that a site keeps, its service records. Out: parts, their joined evidence, facts for the rules about cards. Refuses
(CLI160) a kept card that cannot be read.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from hashlib import sha256

from intervals.questions.record.evidence import StepEvidence, completed_by
from intervals.questions.record.handed_in import CARD_SUFFIX, HandedIn, read_handed_in
from intervals.questions.record.recorded_cards import card_name, kept_digests, recorded_file, standing_tasks
from intervals.questions.record.records_lock import RECORDS
from intervals.readings import ServiceRecord
from intervals.rulebook.inference import FactValue
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


def joined_evidence(site: Site, parts: Sequence[HandedIn]) -> dict[str, StepEvidence]:
    """Return the evidence of a job in parts, later parts in the place of earlier ones."""
    evidence: dict[str, StepEvidence] = {}
    for part in parts:
        evidence = completed_by(evidence, part.evidence(site.zone))
    return evidence


def cards_that_complete(site: Site, records: Sequence[ServiceRecord], code: str, *, but: str = "") -> tuple[str, ...]:
    """Return the codes of cards that complete a card and have a record which is not taken back.

    Args:
        site: the site.
        records: service records.
        code: the card that is completed.
        but: the code of a card that is passed over.

    Raises:
        RequestProblemError: a kept card cannot be read (CLI160).
    """
    found = []
    for path in sorted((site.folder / RECORDS).glob(f"*{CARD_SUFFIX}")):
        other = path.name.removesuffix(CARD_SUFFIX)
        # a file whose name is not a code of a record is an earlier one that was set aside
        if other in (code, but) or not standing_tasks(records, other):
            continue
        if read_handed_in(path).card.stop.completes == code:
            found.append(other)
    return tuple(found)


def altered_parts(site: Site, handed: HandedIn, parts: Sequence[HandedIn]) -> tuple[str, ...]:
    """Return the codes of the cards that a card completes whose files are not as they were handed in.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it. Of one whose digest is not kept nothing is known: it is not among them.
    """
    digests, code, altered = dict(kept_digests(site)), handed.card.stop.completes or "", []
    for part in reversed(parts):
        digest = sha256((site.folder / RECORDS / card_name(code)).read_bytes()).hexdigest()
        if part.code != code or digests.get(code, digest) != digest:
            altered.append(code)
        code = part.card.stop.completes or ""
    return tuple(altered)


def facts_of_parts(
    site: Site, handed: HandedIn, parts: Sequence[HandedIn], records: Sequence[ServiceRecord], completing: Sequence[str]
) -> dict[str, FactValue]:
    """Return the facts about the cards that a card completes; unknown where it completes none, or none that is kept.

    Args:
        site: the site.
        handed: the card.
        parts: what `earlier_parts` returns for it.
        records: the service records of its engine.
        completing: codes of other cards that complete the same one.
    """
    if not parts:
        return {"is_completed_before": None, "is_part_as_kept": None, "before_part_min": None}
    is_partial = any(record.ref == handed.card.stop.completes and record.outcome == "partial" for record in records)
    at = handed.ends_at(site.zone)
    last = max((ended for part in parts if (ended := part.ends_at(site.zone)) is not None), default=None)
    return {
        "is_completed_before": bool(completing) or not is_partial,
        "is_part_as_kept": not altered_parts(site, handed, parts),
        "before_part_min": None if last is None or at is None else (last - at) / _MINUTE,
    }
