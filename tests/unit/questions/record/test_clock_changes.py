"""Work while the clock is set forward and back: minutes are counted in instants, and a time that is none, or two, is told.

At Halifax the clock goes from 02:00 to 03:00 on 8 March 2026, from -04:00 to -03:00, and back on 1 November.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from intervals.questions.record.stated_values import instant_of, is_on_clock, offsets_of
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded_site, recording_of, rules_of, verdict_of

HALIFAX = ZoneInfo("America/Halifax")
LATER = datetime(2026, 11, 2, 12, tzinfo=UTC)


def test_a_wait_over_the_spring_hour_is_as_short_as_it_was(tmp_path: Path) -> None:
    """01:48 to 03:03 by the clock is a quarter of an hour; twenty minutes are asked for."""
    site = recorded_site(tmp_path, time_zone="America/Halifax")
    pump = {"started_at": "2026-03-08T01:48:00-04:00", "ended_at": "2026-03-08T03:03:00-03:00"}
    found = verdict_of(site, filled(card_of(site), "2026-03-08T01:45-04:00", steps={"pump": pump}))
    assert rules_of(found) == {"wait-short"}
    assert found.verdict == "partial"


def test_a_wait_over_the_autumn_hour_is_as_long_as_it_was(tmp_path: Path) -> None:
    """01:40 to 01:01 by the clock is 21 minutes: nothing ends before it begins, and nothing lies outside of the work."""
    site = recorded_site(tmp_path, time_zone="America/Halifax")
    pump = {"started_at": "2026-11-01T01:40:00-03:00", "ended_at": "2026-11-01T01:01:00-04:00"}
    handed = filled(card_of(site), "2026-11-01T01:39-03:00", steps={"pump": pump})
    found = verdict_of(site, handed, now=LATER)
    assert (found.verdict, rules_of(found)) == ("credited", set())
    assert "outside-job" not in {reason.rule for reason in found.reasons}


def test_what_is_shown_is_the_site_s_own_time(tmp_path: Path) -> None:
    """The end of the work stands with the site's offset, and its row by the site's clock."""
    site = recorded_site(tmp_path, time_zone="America/Halifax")
    recording = recording_of(site, filled(card_of(site), "2026-03-09T14:00", ended_at="2026-03-09T17:30:00+00:00"))
    document = recording.judge()[0]
    assert document.at == "2026-03-09T14:30:00-03:00"
    assert document.rows[0].startswith("2026-03-09T14:30,")


@pytest.mark.parametrize(
    ("started_at", "now", "rule"),
    [("2026-03-08T02:10", NOW, "time-not-on-clock"), ("2026-11-01T01:10", LATER, "time-comes-twice")],
)
def test_a_time_that_is_none_or_two_is_told(tmp_path: Path, started_at: str, now: datetime, rule: str) -> None:
    """A card without offsets: what is taken for it is said, and the work is credited."""
    site = recorded_site(tmp_path, time_zone="America/Halifax")
    found = verdict_of(site, filled(card_of(site), started_at), now=now)
    assert rule in {reason.rule for reason in found.reasons}
    assert found.verdict == "credited"


def test_times_of_one_zone_are_instants() -> None:
    """Two times of one zone, an hour apart, are compared in UTC; a time with its offset is always on the clock."""
    summer, winter = (instant_of(f"2026-11-01T01:30{offset}", HALIFAX) for offset in offsets_of(datetime(2026, 11, 1, 1, 30), HALIFAX))  # noqa: DTZ001 - a local time
    assert (winter - summer).total_seconds() == 3600
    assert [is_on_clock(f"2026-11-01T01:30{offset}", HALIFAX) for offset in ("", "-04:00")] == [None, True]
    assert is_on_clock("2026-03-08T02:30", HALIFAX) is False
