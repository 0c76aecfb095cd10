"""The files of a site as a kept page is held against them: each kind of file counts, and nothing else does."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.serve.site_files import FilesState, SiteFiles
from tests.site_maker import done, steady, task, write_site

WRITTEN = [
    "site.yaml", "rules.yaml", "base.yaml", "services.csv", "lab.csv", "plan.yaml", "stock.csv", "holidays.ics", "demand.csv",
    "records/measures.csv",
]  # fmt: skip


def plant(folder: Path) -> SiteFiles:
    """Write a site with a calendar file and a file of demand, its rule set based on another one."""
    write_site(
        folder,
        [task("oil", every={"calendar": "P90D"})],
        steady("2026-01-01", "2026-03-01", 10),
        services=[done("oil", "2026-01-01")],
        engine={"in_service": "2026-01-01"},
        blackouts=[{"file": "holidays.ics"}],
        prefer={"file": "demand.csv", "column": "kw"},
    )
    text = (folder / "rules.yaml").read_text("utf-8")
    (folder / "base.yaml").write_text(text, "utf-8")
    (folder / "rules.yaml").write_text("based_on: ./base.yaml\nruleset: own\nversion: '1'\ntitle: Own\n", "utf-8")
    return SiteFiles(folder)


def changed(folder: Path, name: str) -> None:
    """Add a line to a file, which is made where it is not there."""
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text((path.read_text("utf-8") if path.is_file() else "") + "# more\n", "utf-8")


@pytest.mark.parametrize("name", WRITTEN)
def test_what_people_write_counts(tmp_path: Path, name: str) -> None:
    """A file that comes, one that is written to, one that goes."""
    files = plant(tmp_path)
    first = files.state()
    assert files.state() == first
    changed(tmp_path, name)
    second = files.state()
    assert second.written != first.written
    assert second.log == first.log
    (tmp_path / name).unlink()
    assert files.state().written != second.written


def test_the_log_counts_apart(tmp_path: Path) -> None:
    """A further file of the log, and one that grows; a card counts for nothing."""
    files = plant(tmp_path)
    first = files.state()
    assert first.log
    path = Path(first.log[0][0])
    path.write_text(path.read_text("utf-8") + "2026-03-02T00:00,G1,600\n", "utf-8")
    second = files.state()
    assert (second.written, second.log == first.log) == (first.written, False)
    path.with_name("later.csv").write_text("at,engine,hour_meter_h\n", "utf-8")
    assert len(files.state().log) == len(first.log) + 1
    changed(tmp_path, "records/card.json")
    assert files.state().written == first.written


def test_files_that_the_site_names_later_count(tmp_path: Path) -> None:
    """A site file that names other records is read again."""
    files = plant(tmp_path)
    files.state()
    text = (tmp_path / "site.yaml").read_text("utf-8")
    (tmp_path / "site.yaml").write_text(f"{text}lab: {{file: oil.csv}}\n", "utf-8")
    first = files.state()
    changed(tmp_path, "oil.csv")
    assert files.state().written != first.written


def test_a_site_that_cannot_be_read_is_compared_by_its_own_file(tmp_path: Path) -> None:
    """Whoever makes the page is told why; once it can be read its other files count again."""
    files = plant(tmp_path)
    good = files.state()
    text = (tmp_path / "site.yaml").read_text("utf-8")
    (tmp_path / "site.yaml").write_text("site: [", "utf-8")
    bad = files.state()
    assert isinstance(bad, FilesState)
    assert len(bad.written) == 1
    (tmp_path / "site.yaml").write_text(text, "utf-8")
    assert len(files.state().written) == len(good.written)
