"""Several files written into one folder: all of them, or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals import writing
from intervals.problems import RequestProblemError
from intervals.writing import write_together

FILES: dict[str, str | bytes] = {"a.txt": "new a\n", "b.bin": b"new b", "c.txt": "new c\n"}


def content(folder: Path) -> dict[str, bytes]:
    """Return everything that lies in a folder."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def fail_at(monkeypatch: pytest.MonkeyPatch, count: int) -> None:
    """Let the disk be full at the count-th file."""
    real, calls = writing._write_new, [0]

    def full(part: Path, data: bytes) -> None:
        calls[0] += 1
        if calls[0] == count:
            raise OSError(28, "No space left on device")
        real(part, data)

    monkeypatch.setattr(writing, "_write_new", full)


def test_a_new_folder_appears_with_everything(tmp_path: Path) -> None:
    """All files, nothing besides."""
    write_together(tmp_path / "out", FILES)
    assert content(tmp_path / "out") == {"a.txt": b"new a\n", "b.bin": b"new b", "c.txt": b"new c\n"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_new_folder_does_not_appear_where_one_file_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the third file: nothing is left."""
    fail_at(monkeypatch, 3)
    with pytest.raises(RequestProblemError, match="CLI110"):
        write_together(tmp_path / "out", FILES)
    assert list(tmp_path.iterdir()) == []


def test_files_that_are_there_are_replaced_and_others_stay(tmp_path: Path) -> None:
    """Whatever else lies in the folder is not touched."""
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "mine.txt").write_text("mine")
    write_together(tmp_path, FILES)
    assert content(tmp_path) == {"a.txt": b"new a\n", "b.bin": b"new b", "c.txt": b"new c\n", "mine.txt": b"mine"}


def test_where_one_file_fails_the_old_ones_stay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full at the second file: the folder is as it was."""
    (tmp_path / "a.txt").write_text("old a")
    fail_at(monkeypatch, 2)
    with pytest.raises(RequestProblemError, match="CLI110"):
        write_together(tmp_path, FILES)
    assert content(tmp_path) == {"a.txt": b"old a"}


def test_where_one_file_cannot_take_its_place_the_others_give_it_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second file cannot be put in its place: the first, which was, is the old one again."""
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "b.bin").write_text("old b")
    real = Path.replace

    def stuck(self: Path, target: Path) -> Path:
        if target.name == "b.bin" and self.name.endswith(".part"):
            raise OSError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", stuck)
    with pytest.raises(RequestProblemError, match="Permission denied"):
        write_together(tmp_path, FILES)
    assert content(tmp_path) == {"a.txt": b"old a", "b.bin": b"old b"}


@pytest.mark.parametrize(("place", "words"), [("file.txt", "not a folder"), ("nowhere/out", "there is no folder")])
def test_what_is_no_place_is_refused(tmp_path: Path, place: str, words: str) -> None:
    """A file in the way, and a folder of which the parent is missing."""
    (tmp_path / "file.txt").write_text("x")
    with pytest.raises(RequestProblemError, match=words):
        write_together(tmp_path / place, FILES)


def test_a_folder_in_the_place_of_a_file_is_refused(tmp_path: Path) -> None:
    """Where a.txt is a folder nothing is written."""
    (tmp_path / "a.txt").mkdir()
    with pytest.raises(RequestProblemError, match="not a regular file"):
        write_together(tmp_path, FILES)
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
