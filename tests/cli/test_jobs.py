"""`intervals check --jobs`: any number of processes gives the same bytes, and the same refusals."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from intervals.cli.common import background_read
from intervals.cli.main import app
from intervals.readings import block_parts, spill_file
from intervals.readings.log_size import log_bytes
from tests.site_maker import done, meter, steady, task, write_site

SAMPLE = "sample_logs/brackwater"
pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are forked on Linux only")


def _checked(*options: str) -> tuple[int, str, str]:
    """Return exit code, output and errors of a check."""
    result = CliRunner().invoke(app, ["check", *options])
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize("month", [(), ("--month", "2026-09")])
def test_any_number_of_jobs_gives_the_same_bytes(month: tuple[str, ...]) -> None:
    """One process and two judge the sample site alike, skipped work, faults and the month's occurrences included."""
    asked = (SAMPLE, *(month or ("--as-of", "2026-10-31")), "--format", "json")
    assert _checked(*asked, "--jobs", "2") == _checked(*asked, "--jobs", "1")


@pytest.fixture
def _reads_in_a_copy(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let logs of any size be read by a copy of the process, as on a machine with two processors."""
    monkeypatch.setattr(background_read, "FEWEST_BYTES", 0)
    monkeypatch.setattr(background_read, "processors", lambda: 2)


@pytest.mark.usefixtures("_reads_in_a_copy")
def test_a_log_that_a_copy_of_the_process_read_gives_the_same_bytes() -> None:
    """The sample site's log is read by a copy of the process, or by a thread of the one that judges."""
    asked = (SAMPLE, "--as-of", "2026-10-31", "--format", "json")
    assert _checked(*asked) == _checked(*asked, "--jobs", "1")


@pytest.mark.usefixtures("_reads_in_a_copy")
@pytest.mark.parametrize("jobs", [(), ("--jobs", "1"), ("--jobs", "2")])
def test_a_log_that_does_not_fit_into_memory_gives_the_same_bytes(monkeypatch: pytest.MonkeyPatch, jobs: tuple[str, ...]) -> None:
    """The sample site's log is put down in a temporary file, and judged by whoever reads it there."""
    asked = (SAMPLE, "--as-of", "2026-10-31", "--format", "json")
    in_memory = _checked(*asked, *jobs)
    monkeypatch.setattr(spill_file, "MOST_BYTES_HELD", 0)
    monkeypatch.setattr(block_parts, "_ASKED_AT_A_TIME", 1)
    assert _checked(*asked, *jobs) == in_memory


def test_a_parquet_file_counts_for_more_than_its_bytes(tmp_path: Path) -> None:
    """What is read by a copy comes to lie in the memory of two: of packed files that is eight times their size."""
    site = write_site(tmp_path, [task(every={"running_hours": 100})], steady("2024-01-01", "2024-01-09", 5))
    (text,) = (tmp_path / "readings").iterdir()
    size = text.stat().st_size
    assert log_bytes(site) == (size, size)
    text.rename(text.with_suffix(".parquet"))
    packed = site.model_copy(update={"readings": tuple(source.model_copy(update={"files": ("readings/*",)}) for source in site.readings)})
    assert log_bytes(packed) == (size, 8 * size)


def _write_broken_records(folder: Path, rows: list[dict[str, object]]) -> None:
    """Write a site whose service records lack their column of tasks."""
    write_site(folder, [task(every={"running_hours": 100})], rows, services=[done("oil", "2024-01-01")])
    records = folder / "services.csv"
    records.write_text(records.read_text(encoding="utf-8").replace("task", "other", 1), encoding="utf-8")


@pytest.mark.usefixtures("_reads_in_a_copy")
def test_what_is_wrong_with_the_log_is_told_before_what_is_wrong_with_the_records(tmp_path: Path) -> None:
    """Both are broken, the log by having no row with a time: both are told, in the same order, read ahead or not."""
    _write_broken_records(tmp_path, [meter("not a time", 1)])
    asked = (str(tmp_path), "--as-of", "2024-02-01")
    ahead_of_all = _checked(*asked)
    assert ahead_of_all[0] == 2
    assert [line.split()[0] for line in ahead_of_all[2].splitlines() if not line.startswith(" ")] == ["REA014", "SVC003", "2"]
    assert ahead_of_all == _checked(*asked, "--jobs", "1")


@pytest.mark.usefixtures("_reads_in_a_copy")
def test_broken_records_are_refused_when_the_log_was_read_ahead(tmp_path: Path) -> None:
    """The records lack their column of tasks (SVC003)."""
    _write_broken_records(tmp_path, steady("2024-01-01", "2024-01-05", 10))
    code, _, errors = _checked(str(tmp_path), "--as-of", "2024-02-01")
    assert code == 2
    assert "SVC003" in errors
