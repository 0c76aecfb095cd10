"""Work that ended in the hour that comes twice, as the clock is set back on 26 October 2025 at 03:00 summer time."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from intervals.questions.record.append_records import append_rows
from intervals.questions.record.date_form import DateForm
from intervals.questions.record.records_lock import records_lock
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.readings import read_records
from tests.recorded_sites import NOW, recorded_site

ZONE = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(("utc_hour", "written"), [(0, "2025-10-26T02:30+02:00"), (1, "2025-10-26T02:30+01:00"), (2, "2025-10-26T03:30")])
def test_each_of_the_two_is_written_as_what_it_was(tmp_path: Path, utc_hour: int, written: str) -> None:
    """00:30 UTC and 01:30 UTC are both half past two; in a file without offsets the row has its own, and reads back as that instant."""
    site = recorded_site(tmp_path, time_zone="Europe/Berlin")
    at = datetime(2025, 10, 26, utc_hour, 30, tzinfo=UTC)
    with records_lock(site.folder):
        append_rows(dialect_of(site), [RecordRow(at, "G1", "plugs", "done", ref="x")], files={}, now=NOW)
    assert (tmp_path / "services.csv").read_text("utf-8").splitlines()[-1].startswith(f"{written},")
    assert read_records(site, now_us=None).records[-1].at_us == int(at.timestamp() * 1e6)


def test_a_file_with_offsets_of_its_own_keeps_their_form() -> None:
    """Four digits stay four digits."""
    at = datetime(2025, 10, 26, 1, 30, tzinfo=UTC)
    assert DateForm("%Y-%m-%d %H:%M", "%Y-%m-%d", "+0100").write_time(at, ZONE, NOW) == "2025-10-26 02:30+0100"
