"""Files written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.writing import open_regular, read_regular, write_regular, write_whole


def test_the_file_holds_exactly_what_was_given(tmp_path: Path) -> None:
    """Text is written as UTF-8 with its line ends as they are, bytes as they are; nothing is left beside the file."""
    write_whole(tmp_path / "a.txt", "50 \u00b0C\r\n")
    write_whole(tmp_path / "b.bin", b"\x00\xff")
    assert (tmp_path / "a.txt").read_bytes() == b"50 \xc2\xb0C\r\n"
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\xff"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "b.bin"]


@pytest.mark.parametrize("stage", ["write", "fsync", "replace"])
def test_a_write_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stage: str) -> None:
    """Whatever step fails, the old content stands, no temporary file stays, and it is said what went wrong."""
    target = tmp_path / "a.txt"
    target.write_text("old", encoding="utf-8")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    places = {"write": "intervals.writing._write_new", "fsync": "os.fsync", "replace": "pathlib.Path.replace"}
    monkeypatch.setattr(places[stage], fail)
    with pytest.raises(RequestProblemError, match=r"CLI110 .*\n.*No space left on device"):
        write_whole(target, "new")
    assert target.read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_permissions_of_a_replaced_file_are_kept(tmp_path: Path) -> None:
    """A file for the owner alone stays so; a new file gets the usual permissions."""
    target = tmp_path / "a.txt"
    target.touch(mode=0o600)
    target.chmod(0o600)
    write_whole(target, "new")
    assert target.stat().st_mode & 0o777 == 0o600
    plain = tmp_path / "plain.txt"
    plain.touch()
    write_whole(tmp_path / "new.txt", "new")
    assert (tmp_path / "new.txt").stat().st_mode == plain.stat().st_mode


def test_a_link_is_followed(tmp_path: Path) -> None:
    """The file that a link points to is replaced, the link stays."""
    (tmp_path / "real.txt").write_text("old", encoding="utf-8")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    write_whole(tmp_path / "link.txt", "new")
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text(encoding="utf-8") == "new"


def test_what_is_no_file_is_never_replaced(tmp_path: Path) -> None:
    """A folder, a pipe, a missing folder: refused, and left as they are."""
    os.mkfifo(tmp_path / "pipe")
    for place in (tmp_path, tmp_path / "pipe", tmp_path / "none" / "a.txt"):
        with pytest.raises(RequestProblemError, match="CLI110"):
            write_whole(place, "new")
    assert (tmp_path / "pipe").is_fifo()


def test_a_file_of_the_site_s_own_is_no_link(tmp_path: Path) -> None:
    """Neither read nor written through one, whether what it leads to is there or not; a file itself is."""
    (tmp_path / "real.txt").write_text("old", encoding="utf-8")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    (tmp_path / "dangling.txt").symlink_to(tmp_path / "none.txt")
    for name in ("link.txt", "dangling.txt"):
        with pytest.raises(OSError, match="is a link"):
            write_regular(tmp_path / name, "new")
        with pytest.raises(OSError, match="is a link"):
            read_regular(tmp_path / name)
        with pytest.raises(OSError, match="is a link"):
            open_regular(tmp_path / name, os.O_WRONLY | os.O_CREAT)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["dangling.txt", "link.txt", "real.txt"]
    assert read_regular(tmp_path / "real.txt") == b"old"
    write_regular(tmp_path / "real.txt", "new")
    write_regular(tmp_path / "fresh.txt", "new")
    assert read_regular(tmp_path / "link.txt", follows_links=True) == read_regular(tmp_path / "fresh.txt") == b"new"
    assert read_regular(tmp_path / "fresh.txt", most_bytes=2) == b"ne"


def test_a_pipe_is_neither_waited_for_nor_replaced(tmp_path: Path) -> None:
    """Nobody writes into it: reading does not hang."""
    os.mkfifo(tmp_path / "pipe")
    for call in (read_regular, lambda path: write_regular(path, "new"), lambda path: read_regular(path, follows_links=True)):
        for place in (tmp_path / "pipe", tmp_path):
            with pytest.raises(OSError, match="is not a regular file"):
                call(place)
    assert (tmp_path / "pipe").is_fifo()
