"""`intervals report`, and the files that `check` writes besides."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import pytest
from freezegun import freeze_time
from icalendar import Calendar
from openpyxl import load_workbook

from tests.cli.conftest import Run

SAMPLES = Path(__file__).parents[2] / "sample_logs"
NAMES = ["due.ics", "findings.csv", "findings.json", "findings.xlsx", "index.html"]
NOON = "2026-11-02T12:00:00+00:00"


def test_a_month_is_written_as_five_files(run: Run, tmp_path: Path) -> None:
    """Page, workbook, calendar, CSV and JSON; one line says the verdict, one what was written; exit 0 whatever was found."""
    with freeze_time(NOON):
        result = run("report", SAMPLES / "brackwater", "--month", "2026-10", "--out", tmp_path / "october")
    assert (result.exit_code, result.stderr) == (0, "")
    assert sorted(path.name for path in (tmp_path / "october").iterdir()) == NAMES
    assert result.stdout.startswith("Work is overdue: at the end of 31 October 2026, 2 of 52 tasks are overdue")
    assert "index.html, findings.xlsx, due.ics, findings.csv, findings.json" in result.stdout
    page = (tmp_path / "october/index.html").read_text("utf-8")
    assert "Made 2 November 2026, 13:00 (Europe/Amsterdam) by intervals" in page


def test_json_and_csv_are_those_of_check(run: Run, tmp_path: Path) -> None:
    """What check --month prints, byte for byte."""
    site = SAMPLES / "skerry-island"
    with freeze_time(NOON):
        assert run("report", site, "--month", "2026-10", "--out", tmp_path / "out").exit_code == 0
        for name in ("json", "csv"):
            run("check", site, "--month", "2026-10", "--format", name, "--output", tmp_path / name)
            assert (tmp_path / "out" / f"findings.{name}").read_bytes() == (tmp_path / name).read_bytes()


def test_the_same_moment_gives_the_same_bytes(run: Run, tmp_path: Path) -> None:
    """Two runs at one moment write the same five files, the second over the first."""
    written = []
    for _ in range(2):
        with freeze_time(NOON):
            run("report", SAMPLES / "harbour-clinic", "--month", "2026-10", "--out", tmp_path)
        written.append({path.name: path.read_bytes() for path in tmp_path.iterdir()})
    assert written[0] == written[1]


@pytest.mark.parametrize(
    ("words", "code"),
    [(("--month", "2026-13"), "CLI012"), (("--month", "2026-10", "--ruleset", "none-such"), "RUL001")],
)
def test_what_cannot_be_judged_writes_nothing(run: Run, tmp_path: Path, words: tuple[str, ...], code: str) -> None:
    """Exit 2, the problem on standard error, no folder."""
    result = run("report", SAMPLES / "brackwater", *words, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert code in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_a_folder_that_is_not_there_is_refused(run: Run, tmp_path: Path) -> None:
    """No folders are made on the way."""
    result = run("report", SAMPLES / "harbour-clinic", "--month", "2026-10", "--out", tmp_path / "a/b")
    assert result.exit_code == 2
    assert "CLI110" in result.stderr


def test_check_writes_page_workbook_and_calendar_besides(run: Run, tmp_path: Path) -> None:
    """The table and the exit code stay as they are; the page shows the month up to the date of judging."""
    site = SAMPLES / "brackwater"
    files = ("--html", tmp_path / "p.html", "--xlsx", tmp_path / "f.xlsx", "--ics", tmp_path / "d.ics")
    with freeze_time(NOON):
        plain = run("check", site, "--as-of", "2026-10-20")
        result = run("check", site, "--as-of", "2026-10-20", *files)
    assert (result.stdout, result.exit_code) == (plain.stdout, plain.exit_code)
    assert "at the end of 20 October 2026" in (tmp_path / "p.html").read_text("utf-8")
    assert load_workbook(BytesIO((tmp_path / "f.xlsx").read_bytes())).sheetnames[0] == "findings"
    with freeze_time(NOON):
        findings = json.loads(run("check", site, "--as-of", "2026-10-20", "--format", "json").stdout)["findings"]
    ahead = [finding for finding in findings if finding["due_on"] and finding["due_on"] <= "2027-10-20"]
    assert len(Calendar.from_ical((tmp_path / "d.ics").read_bytes()).walk("VEVENT")) == len(ahead)


def test_the_page_keeps_to_what_was_asked_for(run: Run, tmp_path: Path) -> None:
    """With one engine and one task the page has one finding."""
    words = ("--month", "2026-10", "--engine", "G1", "--task", "oil-change", "--html", tmp_path / "p.html", "--format", "json")
    result = run("check", SAMPLES / "brackwater", *words)
    assert [(each["engine"], each["task"]) for each in json.loads(result.stdout)["findings"]] == [("G1", "oil-change")]
    assert (tmp_path / "p.html").read_text("utf-8").count("<article ") == 1
