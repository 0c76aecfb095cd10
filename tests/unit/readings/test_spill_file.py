"""Columns in memory and in a temporary file."""

from __future__ import annotations

import errno
import pickle
import tempfile
from pathlib import Path

import numpy as np
import pytest

from intervals.readings import block_parts as parts_of_rows
from intervals.readings import spill_file as spill_files
from intervals.readings.block_parts import FILE, LINE, TIME, Column, Name, Part, PartedRows, put_together
from intervals.readings.spill_file import SpillFile


def columns(first: int, count: int = 5) -> dict[Name, Column]:
    """Return columns of several types, whose bytes do not fill whole blocks."""
    rows = np.arange(first, first + count)
    return {TIME: rows.astype(np.int64), LINE: rows.astype(np.int32), "load_kw": rows / 7, "flag": (rows % 2).astype(np.uint8)}


def test_what_fits_stays_as_it_is() -> None:
    """Up to the limit the very same columns are kept; what goes beyond it is put down, with the same cells and types."""
    one = columns(0)
    size = sum(column.nbytes for column in one.values())
    spill_file = SpillFile(most_bytes=2 * size)
    assert spill_file.keep(one) is one
    two, three = columns(5), columns(10)
    assert spill_file.keep(two) is two
    kept = spill_file.keep(three)
    assert kept is not three
    for name, column in three.items():
        assert kept[name].dtype == column.dtype
        assert kept[name].tolist() == column.tolist()
        assert not kept[name].flags.writeable


def test_several_puttings_down_do_not_disturb_one_another() -> None:
    """What was put down first reads the same after more was put down, after it may have been dropped, and when its spill file is gone."""
    spill_file = SpillFile(most_bytes=0)
    kept = [spill_file.keep(columns(first, count=3000)) for first in (0, 3000, 6000)]
    spill_file.let_go()
    del spill_file
    for first, each in zip((0, 3000, 6000), kept, strict=True):
        assert {name: column.tolist() for name, column in each.items()} == {
            name: column.tolist() for name, column in columns(first, 3000).items()
        }


@pytest.mark.parametrize("stretch_bytes", [1, 70_000, 10_000_000])
def test_many_small_pieces_take_few_of_the_files_that_may_be_open(monkeypatch: pytest.MonkeyPatch, stretch_bytes: int) -> None:
    """Pieces are looked at in stretches; each reads the same, however long these are, and one that is longer has its own."""
    monkeypatch.setattr(spill_files, "STRETCH_BYTES", stretch_bytes)
    spill_file = SpillFile(most_bytes=0)
    counts = [5, 2000, 1, 9000, 3, 3, 700]
    kept = [spill_file.keep(columns(first, count)) for first, count in enumerate(counts)]
    for first, (count, each) in enumerate(zip(counts, kept, strict=True)):
        expected = columns(first, count)
        assert {name: column.tolist() for name, column in each.items()} == {name: column.tolist() for name, column in expected.items()}
    if stretch_bytes > 1_000_000 and Path("/proc/self/fd").exists():
        before = len(list(Path("/proc/self/fd").iterdir()))
        more = [spill_file.keep(columns(first)) for first in range(500)]
        assert len(list(Path("/proc/self/fd").iterdir())) == before
        assert len(more) == 500


def test_no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the file cannot be written to, columns stay in memory, and no further try is made."""
    spill_file = SpillFile(most_bytes=0)
    first = spill_file.keep(columns(0))
    tries: list[int] = []

    def full(_spill_file: SpillFile, _data: memoryview, at: int) -> None:
        tries.append(at)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(SpillFile, "_write", full)
    two, three = columns(5), columns(10)
    assert spill_file.keep(two) is two
    assert spill_file.keep(three) is three
    assert len(tries) == 1
    assert first["load_kw"].tolist() == columns(0)["load_kw"].tolist()


def test_no_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no temporary file can be made, columns stay in memory."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    one = columns(0)
    assert SpillFile(most_bytes=0).keep(one) is one


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file has no name that could outlive the program, on systems that allow it."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    kept = SpillFile(most_bytes=0).keep(columns(0))
    assert len(kept[TIME]) == 5
    assert list(tmp_path.iterdir()) == []


def test_rows_travel_wherever_they_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows that lie in a file reach another process, and are the same however often they are asked for."""
    monkeypatch.setattr(parts_of_rows, "_ASKED_AT_A_TIME", 2)
    spill_file = SpillFile(most_bytes=0)
    engine = np.array([0, 0, 1, 1, 1], dtype=np.int32)
    rows = PartedRows([Part.of(spill_file.keep(columns(first)), {FILE: 0}, engine) for first in (0, 10)], spill_file)
    for there in (rows, pickle.loads(pickle.dumps(rows, pickle.HIGHEST_PROTOCOL))):
        for _ in range(3):
            assert put_together(TIME, there.of_engine(1)).tolist() == [2, 3, 4, 12, 13, 14]
