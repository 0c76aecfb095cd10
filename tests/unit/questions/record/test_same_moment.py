"""Two records of one task at one moment, as finely as the file writes it: one alone would count, so the second one is refused."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.record.deferral import DeferralAsked, judge_deferral, write_deferral
from intervals.questions.record.record_site import Given, Recording
from intervals.questions.record.typed_job import TypedJob, handed_in_as
from intervals.questions.record.undo import Undoing, undo
from intervals.readings import read_records
from intervals.site.model import Site
from tests.filled_cards import filled
from tests.recorded_sites import NOW, TODAY, card_of, recorded, recorded_site, rules_of, services_of, verdict_of
from tests.site_maker import task

STANDING = "2026-03-02T14:00"


def with_row(site: Site, row: str) -> None:
    """Put a row that a person typed at the end of the service records."""
    path = site.folder / "services.csv"
    path.write_bytes(services_of(site) + f"{row}\r\n".encode())


def test_seconds_do_not_part_two_records_of_a_file_of_minutes(tmp_path: Path) -> None:
    """A record at 14:27; a card that ended 40 s later would stand in the same minute, and not count."""
    site = recorded_site(tmp_path)
    with_row(site, "2026-03-02T14:27,G1,oil,,done,,,by-hand,,,,")
    found = verdict_of(site, filled(card_of(site), STANDING, ended_at="2026-03-02T14:27:40"))
    assert (found.verdict, rules_of(found)) == ("refused", {"later-record"})


def test_a_file_with_seconds_gets_seconds(tmp_path: Path) -> None:
    """There the two are two records; that they are near is told."""
    site = recorded_site(tmp_path)
    path = site.folder / "services.csv"
    path.write_bytes(services_of(site).replace(b"2026-02-01T12:00,", b"2026-02-01T12:00:00,"))
    with_row(site, "2026-03-02T14:27:00,G1,oil,,done,,,by-hand,,,,")
    done = recorded(site, filled(card_of(site), STANDING, ended_at="2026-03-02T14:27:40"))
    assert done.verdicts == (("oil", "credited"),)
    assert services_of(site).decode().splitlines()[-1].startswith("2026-03-02T14:27:40,")
    (near,) = (reason.text for reason in done.tasks[0].reasons if reason.rule == "record-near")
    assert "services.csv:3" in near


def test_one_job_on_two_cards_is_told(tmp_path: Path) -> None:
    """Two cards of one job, ended two minutes apart: the second one says that there is a record just before."""
    site = recorded_site(tmp_path)
    recorded(site, filled(card_of(site), STANDING))
    found = verdict_of(site, filled(card_of(site, on=date(2026, 3, 9)), "2026-03-02T14:02"))
    (near,) = (reason.text for reason in found.reasons if reason.rule == "record-near")
    assert "2 min before, services.csv:3" in near


def test_a_second_job_in_part_at_one_moment_is_refused(tmp_path: Path) -> None:
    """It would count for nothing; at another minute it counts."""
    site = recorded_site(tmp_path)
    recorded(site, filled(card_of(site), STANDING, steps={"filter": None}))
    later = card_of(site, on=date(2026, 3, 9))
    found = verdict_of(site, filled(later, STANDING, steps={"filter": None}))
    assert (found.verdict, rules_of(found) & {"moment-taken"}) == ("refused", {"moment-taken"})
    assert verdict_of(site, filled(later, "2026-03-02T14:05", steps={"filter": None})).verdict == "partial"


def test_a_deferral_in_the_minute_of_another_is_refused(tmp_path: Path) -> None:
    """A slip set right at once: the second one would be ignored. A minute later, or when the first one is taken back, it counts."""
    keys = {"deferral": {"at_most_pct": 20, "times": 2}}
    site = recorded_site(tmp_path, tasks=[task("oil", every={"calendar": "P100D"}, **keys)], procedures=[])
    asked = DeferralAsked("G1", "oil", date(2026, 5, 15), None, "AB", "no oil", NOW)
    first = write_deferral(site, asked)
    again = asked._replace(until_date=date(2026, 5, 20), at=NOW + timedelta(seconds=40))
    after = services_of(site)
    refused = write_deferral(site, again)
    assert refused.is_refused
    (reason,) = (reason for reason in refused.reasons if reason.outcome == "refuses")
    assert (reason.rule, "services.csv:3" in reason.text, "in a minute" in reason.text) == ("deferral-moment-taken", True, True)
    assert services_of(site) == after
    assert not judge_deferral(site, again._replace(at=NOW + timedelta(minutes=1))).is_refused
    undo(site, Undoing(first.ref, "slip", "CD", NOW))
    assert write_deferral(site, again).written is not None


def test_deferrals_are_counted_each(tmp_path: Path) -> None:
    """Two are allowed: the third one is refused, and the sentence counts in words of the trade."""
    keys = {"deferral": {"at_most_pct": 20, "times": 2}}
    site = recorded_site(tmp_path, tasks=[task("oil", every={"calendar": "P100D"}, **keys)], procedures=[])
    asked = DeferralAsked("G1", "oil", date(2026, 5, 15), None, "AB", "no oil", NOW)
    assert write_deferral(site, asked).reasons == ()
    (told,) = write_deferral(site, asked._replace(at=NOW + timedelta(minutes=1))).reasons
    assert told.text.endswith("since it was last done: once")
    third = judge_deferral(site, asked._replace(at=NOW + timedelta(minutes=2)))
    assert [reason.text for reason in third.reasons if reason.outcome == "refuses"] == [
        "it was deferred 2 times since it was last done; the rule set allows 2"
    ]


def test_a_deferral_on_the_day_of_a_record_in_a_file_of_days_is_refused(tmp_path: Path) -> None:
    """Both stand at noon of that day, and done is what counts."""
    site = recorded_site(tmp_path, tasks=[task("oil", every={"calendar": "P100D"})], procedures=[])
    path = site.folder / "services.csv"
    path.write_bytes(services_of(site).replace(b"2026-02-01T12:00,", b"2026-02-01,"))
    with_row(site, "2026-03-10,G1,oil,,done,,,by-hand,,,,")
    found = judge_deferral(site, DeferralAsked("G1", "oil", date(2026, 9, 1), None, "AB", "no oil", NOW + timedelta(hours=3)))
    (reason,) = (reason for reason in found.reasons if reason.rule == "deferral-moment-taken")
    assert "tomorrow" in reason.text


def test_a_deferral_needs_a_column_for_its_reference(tmp_path: Path) -> None:
    """Without one it could never be taken back: refused like every other record."""
    site = recorded_site(tmp_path)
    (site.folder / "services.csv").write_text(
        "at,engine,task,outcome,until_date,approved_by,note\n2026-02-01T12:00,G1,oil,done,,,\n", "utf-8"
    )
    with pytest.raises(RequestProblemError, match="no column for ref, without which a record that is deferred could not be taken back"):
        write_deferral(site, DeferralAsked("G1", "oil", date(2026, 9, 1), None, "AB", "no oil", NOW))


def test_what_has_no_column_is_told(tmp_path: Path) -> None:
    """The reading, who did it and the remark do not come into a file without their columns."""
    site = recorded_site(tmp_path)
    (site.folder / "services.csv").write_text("at,engine,task,outcome,ref\n2026-02-01T12:00,G1,oil,done,old-1\n", "utf-8")
    done = recorded(site, filled(card_of(site), STANDING, hour_meter_h=610.3, remarks="worn"))
    assert done.verdicts == (("oil", "credited"),)
    (told,) = (reason for reason in done.tasks[0].reasons if reason.rule == "column-missing")
    assert "hour_meter_h, done_by, note" in told.text
    assert len(read_records(site, now_us=None).records) == 2


def test_a_job_without_its_card_at_the_moment_of_a_deferral_is_refused(tmp_path: Path) -> None:
    """It would be in part, and beside the deferral it would count for nothing."""
    site = recorded_site(tmp_path)
    with_row(site, "2026-03-02T14:27,G1,oil,,deferred,,,D-1,,2026-09-01,AB,")
    job = TypedJob("G1", ["oil"], datetime(2026, 3, 2, 14, 27, tzinfo=UTC), TODAY, None, "AB", "", None)
    recording = Recording(site, [Given(handed_in_as(site, job), is_typed=True)], NOW)
    (found,) = recording.judge()[0].tasks
    assert (found.verdict, rules_of(found)) == ("refused", {"card-missing", "moment-taken"})
