"""Rows at the end of service records: whole or not at all, whatever dies meanwhile, whoever else writes, and never beside what is meant."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.record.append_records import PENDING, append_rows, finish_pending
from intervals.questions.record.records_lock import records_lock
from intervals.questions.record.services_dialect import RecordRow, dialect_of
from intervals.readings import read_records
from intervals.site.model import Site, load_site
from tests.filled_cards import filled, write_filled
from tests.recorded_sites import NOW, card_of, recorded, recorded_site, recording_of, services_of

ROOT = Path(__file__).parents[4]
STANDING = "2026-03-02T14:00"
MOST_CALLS = 60


def row(**changes: object) -> RecordRow:
    """Return a record of today."""
    return RecordRow(NOW, "G1", "oil", "done", ref="ref-9")._replace(**changes)  # type: ignore[arg-type]


def run_killed(site: Site, card: Path, number: int, how: str) -> int:
    """Record a card in a process that dies at the n-th call; return its exit code."""
    words = [sys.executable, "-m", "tests.unit.questions.record.killed_writer", str(site.folder), str(card), str(number), how]
    return subprocess.run(words, cwd=ROOT, check=False, capture_output=True).returncode


@pytest.mark.parametrize("how", ["before", "half"])
def test_a_writer_may_die_at_any_call(tmp_path: Path, how: str) -> None:
    """Every earlier byte stays; the row is there as a whole or not; handing in again ends with what one undisturbed run would have left."""
    site = recorded_site(tmp_path / "whole")
    handed = filled(card_of(site), STANDING)
    card = write_filled(handed, tmp_path)
    before = services_of(site)
    recorded(site, handed)
    whole, measures = services_of(site), (site.folder / "records" / "measures.csv").read_bytes()
    died = 0
    for number in range(1, MOST_CALLS):
        other = recorded_site(tmp_path / f"{how}-{number}")
        code = run_killed(other, card, number, how)
        left = services_of(other)
        assert left.startswith(before)
        assert left in (before, whole) or (how == "half" and whole.startswith(left))
        if code == 0:
            break
        assert code == -signal.SIGKILL
        died += 1
        finish_pending_of(other)
        assert services_of(other) in (before, whole)
        assert len(read_records(other, now_us=None).faults) == 0
        if services_of(other) == before:
            recorded(other, handed)
        assert services_of(other) == whole
        assert (other.folder / "records" / "measures.csv").read_bytes() == measures
    else:
        pytest.fail("the writer never came to its end")
    assert died >= len(("write", "fsync", "replace"))


def finish_pending_of(site: Site) -> None:
    """Do what the next writer does first."""
    with records_lock(site.folder):
        finish_pending(site)


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    """Six processes record six cards of six days at once: six rows more, each whole, in some order."""
    site = recorded_site(tmp_path / "site")
    before = services_of(site)
    cards = []
    for day in range(3, 9):
        (tmp_path / f"{day}").mkdir()
        made = card_of(site, "plugs", on=NOW.date().replace(day=day))
        cards.append(write_filled(filled(made, f"2026-03-0{day}T15:00"), tmp_path / f"{day}"))
    words = [sys.executable, "-m", "intervals", "record", str(site.folder)]
    running = [
        subprocess.Popen([*words, str(card), "--yes"], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) for card in cards
    ]
    ends = [(process.communicate()[1], process.returncode) for process in running]
    lines = services_of(site).removeprefix(before).decode().splitlines()
    written = sum(code == 0 for _, code in ends)
    assert services_of(site).startswith(before)
    # one that comes after a later day's record is refused: what it was shown no longer holds
    assert len(lines) == written >= 1
    assert all(line.count(",") == 11 and ",G1,plugs," in line for line in lines)
    assert (site.folder / "records" / ".lock").stat().st_size == 0


def test_the_lock_of_a_dead_process_is_free(tmp_path: Path) -> None:
    """A process that held it and was killed holds it no longer; its file may stay."""
    site = recorded_site(tmp_path)
    script = (
        "import os, signal\nfrom pathlib import Path\nfrom intervals.questions.record.records_lock import records_lock\n"
        f"with records_lock(Path({str(tmp_path)!r})):\n    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", script], cwd=ROOT, check=False).returncode == -signal.SIGKILL
    assert (tmp_path / "records" / ".lock").exists()
    with records_lock(site.folder, waits_s=0):
        pass


def test_a_lock_that_somebody_holds_is_told(tmp_path: Path) -> None:
    """Who waits long enough is told to come again."""
    with records_lock(tmp_path), pytest.raises(RequestProblemError, match="somebody else is writing"), records_lock(tmp_path, waits_s=0):
        pass


def test_a_card_that_somebody_else_recorded_meanwhile_is_not_written_twice(tmp_path: Path) -> None:
    """Shown to two people, written by one: the other is told, and nothing is added."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    first, second = recording_of(site, handed), recording_of(site, handed)
    first.write()
    after = services_of(site)
    (told,) = second.write()
    assert not told.written
    assert {"handed-in-before", "records-changed"} <= {reason.rule for reason in told.tasks[0].reasons}
    assert services_of(site) == after


def test_a_row_in_between_is_no_harm(tmp_path: Path) -> None:
    """Somebody typed a row of another task after the card was shown: it is judged again, and written after that row."""
    site = recorded_site(tmp_path)
    recording = recording_of(site, filled(card_of(site), STANDING))
    with (tmp_path / "services.csv").open("a", newline="") as file:
        file.write("2026-03-01T12:00,G1,plugs,,done,,,typed,,,,\r\n")
    (found,) = recording.write()
    assert found.lines == (4,)


def test_no_final_line_end_is_completed_first(tmp_path: Path) -> None:
    """A row typed without Enter stays a row of its own."""
    site = recorded_site(tmp_path)
    path = tmp_path / "services.csv"
    path.write_bytes(path.read_bytes().rstrip(b"\r\n"))
    append_rows(dialect_of(site), [row()], files={}, now=NOW)
    assert path.read_bytes().splitlines()[-2:] == [
        b"2026-02-01T12:00,G1,oil,320,done,,,old-1,,,,",
        b"2026-03-10T12:00,G1,oil,,done,,,ref-9,,,,",
    ]


def test_records_that_are_not_there_yet_get_a_header(tmp_path: Path) -> None:
    """The file is made with all columns, by the names that site.yaml has for them."""
    site = recorded_site(tmp_path, reads_records={"columns": {"done_by": "Who"}})
    (tmp_path / "services.csv").unlink()
    append_rows(dialect_of(site), [row(done_by="AB")], files={}, now=NOW)
    header, line = (tmp_path / "services.csv").read_text("utf-8").splitlines()
    assert header == "at,engine,task,hour_meter_h,outcome,Who,note,ref,until_h,until_date,approved_by,hours_h"
    assert line == "2026-03-10 12:00,G1,oil,,done,AB,,ref-9,,,,"


def test_a_remark_that_a_spreadsheet_would_run_is_harmless(tmp_path: Path) -> None:
    """It gets an apostrophe in front."""
    site = recorded_site(tmp_path)
    append_rows(dialect_of(site), [row(note='=HYPERLINK("x")\nand more')], files={}, now=NOW)
    assert b'"\'=HYPERLINK(""x"") and more"' in services_of(site)


@pytest.mark.parametrize(
    ("services", "data", "of", "said"),
    [
        ({}, "at,engine,task\n2026-01-02,G1,oil\n", {"outcome": "partial"}, "no column for outcome"),
        ({}, "at,engine,task,outcome\n2026-01-02,G1,oil,done\n", {"outcome": "void"}, "no column for ref"),
        ({"csv": {"encoding": "cp1252"}}, "at,engine,task,note,ref\n2026-01-02,G1,oil,x,\n", {"note": "Łódź"}, 'no character "Ł"'),
        ({}, "at,engine,task\n2026-01-02,G1,oil\n", {}, "no column for ref.* could not be taken back"),
        ({}, 'at,engine,task,outcome,ref,note\n2026-01-02,G1,oil,done,,"open\n', {}, "quotes are opened in it and not closed"),
        ({"file": "services.parquet"}, "", {}, "kind .parquet"),
        ({"file": "services.xlsx"}, "", {}, "kind .xlsx"),
        ({"task_names": {"oil": "plugs"}}, "at,engine,task,ref\n2026-01-02,G1,oil,\n", {}, "would not read back"),
    ],
)
def test_what_has_no_place_in_the_file_is_refused_and_nothing_is_written(
    tmp_path: Path, services: dict[str, object], data: str, of: dict[str, object], said: str
) -> None:
    """A column that is missing, a letter that the encoding does not have, a workbook, a word that means something else."""
    site = recorded_site(tmp_path, reads_records=services or None)
    path = tmp_path / str(services.get("file", "services.csv"))
    path.write_text(data, "utf-8")
    with pytest.raises(RequestProblemError, match=said):
        append_rows(dialect_of(site), [row(**of)], files={"kept.json": "{}"}, now=NOW)
    assert path.read_text("utf-8") == data
    assert not list((tmp_path / "records").glob("*")) if (tmp_path / "records").exists() else True


def test_no_room_for_the_whole_row_leaves_none_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a full disk took of a row is taken back."""
    site = recorded_site(tmp_path)
    before = services_of(site)
    real = os.write
    monkeypatch.setattr(os, "write", lambda descriptor, data: real(descriptor, data[:5]))
    with pytest.raises(RequestProblemError, match="no room"):
        append_rows(dialect_of(site), [row()], files={}, now=NOW)
    assert services_of(site) == before


def test_a_note_of_something_else_touches_nothing(tmp_path: Path) -> None:
    """Where other bytes follow than those that were meant, somebody else wrote them; an unreadable note is none of ours."""
    site = recorded_site(tmp_path)
    before = services_of(site)
    note = tmp_path / "records" / PENDING
    note.parent.mkdir()
    note.write_text(json.dumps({"file": "services.csv", "size": len(before) - 4, "added": b"something else".hex()}))
    finish_pending(load_site(tmp_path))
    assert services_of(site) == before
    assert not note.exists()
    note.write_text("{")
    finish_pending(site)
    assert services_of(site) == before


@pytest.mark.parametrize(("clock", "shown"), [(9, "10.03.2026 09:00"), (13, "10.03.2026")])
def test_a_file_of_days_alone_gets_a_time_where_its_day_would_count_too_late(tmp_path: Path, clock: int, shown: str) -> None:
    """A record of a day counts from noon: before noon the time stands behind the day, so that a check sees it at once."""
    site = recorded_site(tmp_path, reads_records={"timestamp_format": "%d.%m.%Y"})
    (tmp_path / "services.csv").write_text("at,engine,task,outcome,ref\n01.02.2026,G1,oil,done,old\n", "utf-8")
    now = NOW.replace(hour=clock)
    append_rows(dialect_of(site), [row(at=now)], files={}, now=now)
    assert services_of(site).decode().splitlines()[-1] == f"{shown},G1,oil,done,ref-9"


def test_a_refused_write_leaves_all_files_as_they_were(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The records cannot be written: the card, the measures and the note that were written before them are taken back."""
    site = recorded_site(tmp_path)
    recorded(site, filled(card_of(site, "plugs"), "2026-03-01T14:00"))
    before = {path.name: path.read_bytes() for path in (tmp_path / "records").iterdir()}
    recording = recording_of(site, filled(card_of(site), STANDING))
    real = os.open

    def refuses(path: str | Path, flags: int, mode: int = 0o777, *, dir_fd: int | None = None) -> int:
        if str(path).endswith("services.csv") and flags & os.O_WRONLY:
            raise PermissionError(13, "Permission denied")
        return real(path, flags, mode, dir_fd=dir_fd)

    monkeypatch.setattr(os, "open", refuses)
    with pytest.raises(RequestProblemError, match="Permission denied"):
        recording.write()
    assert {path.name: path.read_bytes() for path in (tmp_path / "records").iterdir()} == before


def test_what_a_dead_writer_left_is_swept(tmp_path: Path) -> None:
    """The file of its trial, and files that never got their names, go with the next writer."""
    site = recorded_site(tmp_path)
    folder = tmp_path / "records"
    folder.mkdir()
    for name in (".trial.csv", ".measures.csv.0123456789abcdef.part"):
        (folder / name).write_text("x")
    (folder / "notes.part").write_text("somebody's own")
    finish_pending_of(site)
    assert sorted(path.name for path in folder.iterdir()) == [".lock", "notes.part"]


def test_characters_that_steer_a_terminal_do_not_come_into_the_file(tmp_path: Path) -> None:
    """A name with an escape, a bell, a change of direction: they go, and a name is no longer than a remark."""
    site = recorded_site(tmp_path)
    name = f"A\x1b[31mB\x07\x00\u202eC\x9bD {'x' * 1900}"
    recorded(site, filled(card_of(site), STANDING, by=name, remarks="\u2028e\x1bf"))
    last = services_of(site).decode("utf-8").splitlines()[-1].split(",")
    assert last[5].startswith("A [31mB C D xxx")
    assert len(last[5]) == 200
    assert last[6] == "e f"


def test_a_file_of_a_byte_order_mark_alone_is_an_empty_one(tmp_path: Path) -> None:
    """An editor saved nothing in it: it gets its header, in the encoding of the mark, and the row."""
    site = recorded_site(tmp_path)
    for mark, codec in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le")):
        (tmp_path / "services.csv").write_bytes(mark)
        with records_lock(site.folder):
            append_rows(dialect_of(site), [row()], files={}, now=NOW)
        assert services_of(site).startswith(mark + "at,engine,".encode(codec))
        assert [record.task for record in read_records(site, now_us=None).records] == ["oil"]


def test_a_full_disk_says_that_nothing_is_recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the card's own file is what does not fit."""
    site = recorded_site(tmp_path)
    recording = recording_of(site, filled(card_of(site), STANDING))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("intervals.writing._write_new", full)
    with pytest.raises(RequestProblemError, match=r"No space left on device; nothing is recorded\n.*make room"):
        recording.write()
