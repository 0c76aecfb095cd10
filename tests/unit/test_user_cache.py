"""Entries of the cache: whole or not there, the user's alone, within bounds; whatever stands in their way is passed over."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from intervals import user_cache
from intervals.user_cache import UserCache, cache_of_run, using_cache

NOT_ROOT = pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")


@pytest.fixture(name="cache")
def _cache(tmp_path: Path) -> UserCache:
    """Return a cache in a folder of its own."""
    return UserCache(tmp_path)


def _write(cache: UserCache, key: str, blocks: list[bytes], index: bytes = b"index") -> Path:
    """Write an entry, and return its file."""
    writer = cache.writer("rows", key)
    starts = [writer.add(block) for block in blocks]
    assert writer.finish({"starts": starts}, index)
    return cache.folder / f"rows-{key}"


@pytest.mark.parametrize("most_bytes_in_hand", [0, 1_000_000])
def test_an_entry_gives_back_what_was_written(cache: UserCache, monkeypatch: pytest.MonkeyPatch, most_bytes_in_hand: int) -> None:
    """Blocks, index and head come back, whether the entry is read into memory or looked at where it lies; no other name has them."""
    monkeypatch.setattr(user_cache, "MOST_BYTES_IN_HAND", most_bytes_in_hand)
    _write(cache, "a", [b"first", b"second"])
    entry = cache.find("rows", "a")
    assert entry is not None
    first, second = entry.head["starts"]
    assert (bytes(entry.block(first, 5)), bytes(entry.block(second, 6)), entry.index) == (b"first", b"second", b"index")
    assert second % 64 == 0
    with pytest.raises(ValueError, match="beyond"):
        entry.block(second, 1000)
    assert cache.find("rows", "b") is None
    assert cache.find("answers", "a") is None


def test_an_entry_is_for_nobody_else_to_read(cache: UserCache) -> None:
    """Only the user may read or write an entry; one that others may write to is not used."""
    path = _write(cache, "a", [b"first"])
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o666)
    assert cache.find("rows", "a") is None


def test_an_entry_that_is_cut_or_harmed_at_its_end_is_not_there(cache: UserCache) -> None:
    """However much of an entry is missing, and whichever byte of its index, head or end is another one, it is passed over."""
    path = _write(cache, "a", [b"x" * 100])
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])
        assert cache.find("rows", "a") is None, size
    blocks_end = whole.index(b"index")
    for at in [*range(16), *range(blocks_end, len(whole))]:
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert cache.find("rows", "a") is None, at
    path.write_bytes(whole)
    assert cache.find("rows", "a") is not None


def test_what_is_no_regular_file_of_ones_own_is_not_an_entry(cache: UserCache, tmp_path: Path) -> None:
    """A link, a folder and a pipe under the name of an entry are passed over."""
    path = _write(cache, "a", [b"first"])
    path.rename(tmp_path / "elsewhere")
    path.symlink_to(tmp_path / "elsewhere")
    assert cache.find("rows", "a") is None
    path.unlink()
    path.mkdir()
    assert cache.find("rows", "a") is None
    path.rmdir()
    os.mkfifo(path)
    assert cache.find("rows", "a") is None


def test_an_entry_that_is_given_up_leaves_nothing(cache: UserCache) -> None:
    """A writer that gives up, and one whose entry cannot take its name, leave no file behind."""
    writer = cache.writer("rows", "a")
    writer.add(b"first")
    writer.abandon()
    (cache.folder / "rows-b").mkdir()
    (cache.folder / "rows-b" / "inside").touch()
    writer = cache.writer("rows", "b")
    assert not writer.finish({})
    assert [path.name for path in cache.folder.iterdir()] == ["rows-b"]


def test_a_disk_that_is_full_is_no_fault(cache: UserCache) -> None:
    """Where a block cannot be written, the entry is not there, and nobody hears of it."""

    class _Full:
        def write(self, data: bytes) -> int:
            del data
            raise OSError(28, "No space left on device")

        def close(self) -> None:
            pass

    writer = cache.writer("rows", "a")
    if writer._stream is not None:
        writer._stream.close()
    writer._stream = _Full()  # type: ignore[assignment]  # a stream as far as it is used
    writer.add(b"first")
    assert not writer.finish({})
    assert list(cache.folder.iterdir()) == []


def test_two_writers_of_one_entry_do_not_meet(cache: UserCache) -> None:
    """Of two runs that write the same entry at once the later one's stands, whole; who reads the earlier one goes on doing so."""
    one, other = cache.writer("rows", "a"), cache.writer("rows", "a")
    one.add(b"one")
    other.add(b"other")
    assert one.finish({"of": "one"})
    earlier = cache.find("rows", "a")
    assert other.finish({"of": "other"})
    later = cache.find("rows", "a")
    assert earlier is not None
    assert later is not None
    assert (earlier.head["of"], bytes(earlier.block(64, 3))) == ("one", b"one")
    assert (later.head["of"], bytes(later.block(64, 5))) == ("other", b"other")


def test_what_was_used_longest_ago_goes_first(cache: UserCache, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the bound entries go in the order of their last use; a use puts an entry last; what is too old goes in any case."""
    paths = {key: _write(cache, key, [b"x" * 1000]) for key in "abcd"}
    now_s = paths["d"].stat().st_mtime
    for days, key in ((91, "a"), (3, "b"), (2, "c"), (1, "d")):
        os.utime(paths[key], (now_s - 86_400 * days,) * 2)
    part = cache.folder / "rows-e.0123.part"
    part.touch()
    os.utime(part, (now_s - 2 * 86_400,) * 2)
    cache.trim()
    assert sorted(path.name for path in cache.folder.iterdir()) == ["rows-b", "rows-c", "rows-d"]
    assert cache.find("rows", "b") is not None
    last = _write(cache, "f", [b"x"])
    monkeypatch.setattr(user_cache, "MOST_BYTES", paths["b"].stat().st_size + last.stat().st_size)
    cache.trim()
    assert sorted(path.name for path in cache.folder.iterdir()) == ["rows-b", "rows-f"]


def test_a_run_that_wrote_nothing_looks_for_nothing_to_remove(cache: UserCache, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bounds are held by runs that write."""
    _write(cache, "a", [b"x"])
    cache.trim()
    monkeypatch.setattr(user_cache, "MOST_BYTES", 0)
    UserCache(cache.folder).trim()
    assert len(list(cache.folder.iterdir())) == 1


def test_only_who_asks_for_it_has_a_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The folder is made, for the user alone, when a command asks for it; a program that uses the package gets none."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home" / "cache"))
    assert cache_of_run() is None
    assert list(tmp_path.iterdir()) == []
    with using_cache():
        cache = cache_of_run()
        assert cache is not None
        assert cache.folder == tmp_path / "home" / "cache" / "intervals"
        assert stat.S_IMODE(cache.folder.stat().st_mode) == 0o700
    assert cache_of_run() is None


def test_a_folder_that_is_not_the_users_alone_is_not_used(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither one that others may look into, nor a link to one, nor a file."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    folder = tmp_path / "intervals"
    folder.mkdir(mode=0o755)
    folder.chmod(0o755)
    assert user_cache.user_cache() is None
    folder.chmod(0o700)
    assert user_cache.user_cache() is not None
    folder.rename(tmp_path / "other")
    folder.symlink_to(tmp_path / "other")
    assert user_cache.user_cache() is None
    folder.unlink()
    folder.touch()
    assert user_cache.user_cache() is None


@pytest.mark.parametrize("home", ["/proc/none", "/dev/null/none"])
def test_no_place_for_a_folder_is_no_fault(monkeypatch: pytest.MonkeyPatch, home: str) -> None:
    """Where no folder can be made there is no cache."""
    monkeypatch.setenv("XDG_CACHE_HOME", home)
    assert user_cache.user_cache() is None


@NOT_ROOT
def test_a_folder_that_cannot_be_written_to_is_no_fault(tmp_path: Path) -> None:
    """An entry of it is read and not written."""
    cache = UserCache(tmp_path)
    tmp_path.chmod(0o500)
    assert not cache.writer("rows", "a").finish({})
    with pytest.raises(OSError, match="denied"):
        cache.contents_of([])
