"""Files named by address among those of the folder: what is read, and what is refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest

from intervals.problems import ProblemsError, ReadingsProblemError
from intervals.readings import named_files, read_readings
from intervals.site.sources import ReadingSource, addressed_files
from tests.unit.readings.conftest import MakeSite, us
from tests.unit.readings.read_sites import HEADER, block, problems_of, read, rows_of

ROWS = HEADER + "2026-01-05 06:00,G1,10,100\n2026-01-05 07:00,G1,11,200\n"


def shared(tmp_path: Path, name: str, content: str = ROWS) -> str:
    """Write a file outside the site's folder; return its address."""
    path = tmp_path.parent / f"{tmp_path.name}-shared" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(content, encoding="utf-8")
    return f"file://{path}"


def test_both_kinds_in_one_block(make_site: MakeSite, tmp_path: Path) -> None:
    """A file of the folder and one of shared storage; each row and fault names its file, by path or by address."""
    address = shared(tmp_path, "b.csv", ROWS.replace("-05 ", "-06 ") + "noon,G1,12,1\n")
    site = make_site({"readings/a.csv": ROWS}, block(files=["readings/*.csv", address]))
    readings = read(site)
    assert readings.files == (address, "readings/a.csv")
    assert [(at, line) for _, at, line, _ in rows_of(readings, site)] == [
        (us(f"2026-01-0{day}T0{hour - 1}:00"), hour - 4) for day in (5, 6) for hour in (6, 7)
    ]
    assert [(fault.file, fault.line) for fault in readings.faults] == [(address, 4)]


def test_no_file_is_there(make_site: MakeSite, tmp_path: Path) -> None:
    """The pattern is named as it is for files of the folder."""
    assert problems_of(make_site({}, block(files=[shared(tmp_path, "a.csv").replace("a.csv", "b*.csv")]))) == ["REA001"]


def test_a_file_that_changes_while_it_is_read(make_site: MakeSite, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is judged on half of it; the file is named."""
    address = shared(tmp_path, "a.csv")
    site = make_site({}, block(files=[address]))
    looked: list[int] = []

    def changing(source: ReadingSource) -> Any:  # noqa: ANN401 - what the real one returns
        looked.append(1)
        if len(looked) == 2:
            shared(tmp_path, "a.csv", ROWS + "2026-01-05 08:00,G1,12,200\n")
        return addressed_files(source)

    monkeypatch.setattr(named_files, "addressed_files", changing)
    with pytest.raises(ReadingsProblemError, match=rf"REA017 {address}\n.*changed while it was read"):
        read_readings(site, now_us=None)


@pytest.mark.parametrize("place", ["services", "lab"])
def test_records_are_not_read_by_address(make_site: MakeSite, place: str) -> None:
    """What people write down lies in the site's folder."""
    with pytest.raises(ProblemsError, match="only the files of readings are read by address"):
        make_site({"readings/a.csv": ROWS}, **{place: {"file": "s3://bucket/services.csv"}})


def test_a_workbook_that_reaches_too_far(make_site: MakeSite, tmp_path: Path) -> None:
    """It is refused by address as it is below the folder, before it is opened."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Time", "Unit", "Hours", "P"])
    address = shared(tmp_path, "far.xlsx")
    sheet["XFD1048576"] = 1
    book.save(address.removeprefix("file://"))
    with pytest.raises(ReadingsProblemError, match=r"reaches to row 1,048,576 and column 16,384"):
        read_readings(make_site({}, block(files=[address])), now_us=None)
