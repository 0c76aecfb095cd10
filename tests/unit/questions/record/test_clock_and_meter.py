"""What a telephone's clock and an hour meter may say: a clock a little ahead counts, a reading is held against the log."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from intervals.readings import read_records
from tests.filled_cards import filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site, rules_of, verdict_of

ENDS = "2026-03-10T12:00"
"""The card is filled in 27 minutes, up to this moment."""


@pytest.mark.parametrize(("ahead_s", "rules"), [(40, set()), (300, set()), (301, {"time-in-future"})])
def test_five_minutes_are_allowed(tmp_path: Path, ahead_s: int, rules: set[str]) -> None:
    """Five minutes to the second; the log ends days before, so nothing else speaks against it."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), "2026-03-10T11:30")
    last = datetime.fromisoformat(ENDS) + timedelta(seconds=ahead_s)
    handed = handed.model_copy(update={"ended_at": last.isoformat()})
    assert rules_of(verdict_of(site, handed)) == rules
    if not rules:
        recorded(site, handed)
        record = read_records(site, now_us=None).records[-1]
        assert (record.outcome, record.at_us) == ("done", int(NOW.timestamp() * 1e6))


def test_a_reading_after_the_log_s_end_is_held_against_its_last_one(tmp_path: Path) -> None:
    """The log ends with 2 March at 610.3 h; on 5 March a reading below that cannot be, and the words say how old the log is."""
    site = recorded_site(tmp_path)
    found = verdict_of(site, filled(card_of(site), "2026-03-05T14:00", hour_meter_h=500))
    (text,) = (reason.text for reason in found.reasons if reason.rule == "meter-contradicts")
    assert "the log ended on 2026-03-02 with 610 h" in text
    then = verdict_of(site, filled(card_of(site), "2026-03-02T14:00", hour_meter_h=500))
    assert "the log has 610 h then" in next(reason.text for reason in then.reasons if reason.rule == "meter-contradicts")
