"""Several files written into one folder: all of them, or none."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals import writing
from intervals.problems import RequestProblemError
from intervals.writing import StagedFolder, write_together

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


def staged_in(folder: Path) -> StagedFolder:
    """Return a folder of two pages on its way into another one."""
    staged = StagedFolder(folder, "pages", ".html")
    staged.write("one.html", "new one")
    staged.write("two.html", "new two")
    return staged


def everything(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_new_folder_appears_with_a_folder_in_it(tmp_path: Path) -> None:
    """Files and pages in one step; before that nothing under the name."""
    staged = staged_in(tmp_path / "out")
    assert not (tmp_path / "out").exists()
    write_together(tmp_path / "out", FILES, staged)
    staged.drop()
    assert set(everything(tmp_path / "out")) == {*FILES, "pages/one.html", "pages/two.html"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_of_pages_replaces_the_one_before(tmp_path: Path) -> None:
    """Old pages go, other files stay, nothing is left over."""
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages/old.html").write_text("old")
    (tmp_path / "a.txt").write_text("old a")
    (tmp_path / "mine.txt").write_text("mine")
    staged = staged_in(tmp_path)
    write_together(tmp_path, FILES, staged)
    staged.drop()
    assert set(everything(tmp_path)) == {*FILES, "mine.txt", "pages/one.html", "pages/two.html"}


def test_pages_that_are_not_wanted_any_more_leave_nothing(tmp_path: Path) -> None:
    """Dropped before they were put in their place, in a new folder or one that is there."""
    (tmp_path / "there").mkdir()
    for name in ("new", "there"):
        staged_in(tmp_path / name).drop()
    assert everything(tmp_path) == {}
    assert [path.name for path in tmp_path.iterdir()] == ["there"]


def test_where_a_file_fails_the_pages_are_the_old_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The last file, which leads to the pages, cannot take its place: all is as it was."""
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages/old.html").write_text("old")
    (tmp_path / "a.txt").write_text("old a")
    before = everything(tmp_path)
    real = Path.replace

    def stuck(self: Path, target: Path) -> Path:
        if target.name == "a.txt" and self.name.endswith(".part"):
            raise OSError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", stuck)
    staged = staged_in(tmp_path)
    with pytest.raises(RequestProblemError, match="Permission denied"):
        write_together(tmp_path, FILES, staged)
    staged.drop()
    assert everything(tmp_path) == before


def test_whoever_is_killed_between_leaves_no_way_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At every exchange of a name the first file is away, or old pages go with the old one and new ones with the new one."""
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages/old.html").write_text("old")
    (tmp_path / "a.txt").write_text("old a")
    real = Path.replace
    seen = []

    def watched(self: Path, target: Path) -> Path:
        found = everything(tmp_path)
        seen.append((found.get("a.txt"), "pages/old.html" in found, "pages/one.html" in found))
        return real(self, target)

    monkeypatch.setattr(Path, "replace", watched)
    staged = staged_in(tmp_path)
    write_together(tmp_path, FILES, staged)
    assert {way_in for way_in, _, _ in seen} == {b"old a", None}
    assert all(is_old and not is_new for way_in, is_old, is_new in seen if way_in == b"old a")


@pytest.mark.parametrize(("name", "words"), [("mine.txt", "holds what is not a page: mine.txt"), ("", "is not a folder")])
def test_what_is_no_folder_of_pages_is_not_replaced(tmp_path: Path, name: str, words: str) -> None:
    """A folder that holds anything else, and a file or link in its place."""
    if name:
        (tmp_path / "pages").mkdir()
        (tmp_path / "pages" / name).write_text("mine")
    else:
        (tmp_path / "pages").symlink_to(tmp_path)
    with pytest.raises(RequestProblemError, match=words):
        StagedFolder(tmp_path, "pages", ".html")
