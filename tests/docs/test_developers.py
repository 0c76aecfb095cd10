"""DEVELOPERS.md and GUIDE.md name only what is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = ["DEVELOPERS.md", "rulesets/GUIDE.md"]
_MODULE = re.compile(r"`((?:[\w-]+/)*[\w.-]+\.(?:py|md|yaml)|(?:intervals|tests|rulesets|sample_logs)/[\w/]*)`")
_COMMAND = re.compile(r"python -m ([\w.]+)")


@pytest.mark.parametrize("page", PAGES)
def test_every_file_that_is_named_is_there(page: str) -> None:
    """Modules may be named from the top, from the package or from its folder; files of a site are the reader's own."""
    own = {"site.yaml", "pond-lane.yaml", "mill-race.yaml"}
    known = {
        path.relative_to(ROOT).as_posix() for top in ("intervals", "tests", "rulesets", "sample_logs") for path in (ROOT / top).rglob("*")
    }
    known |= {"README.md", "DEVELOPERS.md"}
    for name in _MODULE.findall((ROOT / page).read_text(encoding="utf-8")):
        wanted = name.rstrip("/")
        assert wanted in own or (ROOT / wanted).exists() or any(each.endswith(f"/{wanted}") for each in known), name


def test_every_module_that_is_run_is_there() -> None:
    """`python -m` names a module of the project."""
    for name in _COMMAND.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")):
        assert (ROOT / f"{name.replace('.', '/')}.py").is_file(), name


def test_every_folder_of_the_package_is_on_the_map() -> None:
    """The table of the map has a row for each folder, in the order of the data."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    folders = [path.parent.name for path in (ROOT / "intervals").glob("*/__init__.py")]
    places = {name: text.index(f"| `intervals/{name}/` |") for name in folders}
    assert sorted(places, key=lambda name: places[name]) == [
        "language", "handbook", "site", "rules", "readings", "usage", "judge", "questions", "reports", "cli",
    ]  # fmt: skip
