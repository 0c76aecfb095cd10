"""Jobs in parts: each part counts once, in its order of time, as it was handed in."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.record.card_verdict import CardRecord
from intervals.questions.record.handed_in import HandedIn
from intervals.questions.record.undo import Undoing, undo
from intervals.site.model import Site
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site, rules_of, services_of, verdict_of

FIRST, SECOND, THIRD = "2026-03-02T14:00", "2026-03-04T09:00", "2026-03-06T09:00"


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return the small site."""
    return recorded_site(tmp_path)


def first_part(site: Site) -> CardRecord:
    """Record a card whose filter was left out."""
    return recorded(site, filled(card_of(site), FIRST, steps={"filter": None}))


def rest_of(site: Site, code: str, started_at: str, *, day: int = 10) -> HandedIn:
    """Return a card that tells of the filter alone, and completes another."""
    card = card_of(site, completes=code, on=NOW.date().replace(day=day))
    return filled(card, started_at, steps={step.id: None for step in card.steps if not step.id.endswith(".filter")})


def test_a_part_is_completed_once(site: Site) -> None:
    """A second card that completes the same part would start the interval again without any work."""
    code = first_part(site).handed.code
    assert recorded(site, rest_of(site, code, SECOND)).verdicts == (("oil", "credited"),)
    found = verdict_of(site, rest_of(site, code, THIRD, day=11))
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})


def test_a_whole_job_is_not_completed(site: Site) -> None:
    """It lacks nothing: the interval would start again without any work."""
    whole = recorded(site, filled(card_of(site), FIRST))
    found = verdict_of(site, rest_of(site, whole.handed.code, SECOND))
    assert (found.verdict, rules_of(found)) == ("refused", {"completed-before"})


def test_a_part_that_counts_is_not_taken_back(site: Site) -> None:
    """The card that completes it is taken back first; then the part can be."""
    code = first_part(site).handed.code
    later = recorded(site, rest_of(site, code, SECOND)).handed.code
    before = services_of(site)
    with pytest.raises(RequestProblemError, match=later):
        undo(site, Undoing(code, "wrong", "CD", NOW))
    assert services_of(site) == before
    undo(site, Undoing(later, "wrong", "CD", NOW))
    undo(site, Undoing(code, "wrong", "CD", NOW))


def test_a_part_does_not_come_before_the_one_that_it_completes(site: Site) -> None:
    """The rest of a job is done after its beginning."""
    code = first_part(site).handed.code
    found = verdict_of(site, rest_of(site, code, "2026-03-01T14:00"))
    assert {"ends-before-part"} <= rules_of(found)
    assert found.verdict == "refused"


def test_a_part_that_was_edited_is_refused(site: Site) -> None:
    """Its file is held against the digest that was kept when it was handed in."""
    code = first_part(site).handed.code
    path = site.folder / "records" / f"{code}.card.json"
    path.write_bytes(path.read_bytes() + b" ")
    found = verdict_of(site, rest_of(site, code, SECOND))
    assert (found.verdict, rules_of(found)) == ("refused", {"part-altered"})


def test_evidence_that_was_kept_is_not_written_over(site: Site) -> None:
    """Taken back and handed in again with something else: both files are there, and the digest is that of the later one."""
    first = filled(card_of(site), FIRST, steps={"filter": None})
    recorded(site, first)
    kept = (site.folder / "records" / f"{first.code}.card.json").read_bytes()
    undo(site, Undoing(first.code, "wrong", "CD", NOW))
    recorded(site, filled(first.card, FIRST, remarks="again", steps={"filter": None}))
    assert (site.folder / "records" / f"{first.code}.1.card.json").read_bytes() == kept
    assert b"again" in (site.folder / "records" / f"{first.code}.card.json").read_bytes()
    assert recorded(site, rest_of(site, first.code, SECOND)).verdicts == (("oil", "credited"),)
