"""DEVELOPERS.md and GUIDE.md name only what is there."""

from __future__ import annotations

import ast
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


def rooms() -> dict[str, int]:
    """Return the rooms and files of the package by their place on the map, the ground files at 0."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = text[text.index("| room |") : text.index("The way of one log:")].splitlines()[2:]
    places: dict[str, int] = {}
    for place, row in enumerate(row for row in rows if row.startswith("|")):
        for name in re.findall(r"`([\w./]+)`", row.split("|")[1]):
            places[name.removeprefix("intervals/").removesuffix("/").removesuffix(".py")] = place
    return places


def test_every_room_of_the_package_is_on_the_map() -> None:
    """The table of the map has a row for each folder and each file on top, and for nothing else."""
    package = ROOT / "intervals"
    there = {path.parent.name for path in package.glob("*/__init__.py")} | {path.stem for path in package.glob("*.py")}
    assert set(rooms()) == there - {"__init__", "__main__"}


def test_no_import_goes_up() -> None:
    """A module imports from its own room and from rooms above it on the map, never from one below."""
    places = rooms()
    upward = []
    for path in sorted((ROOT / "intervals").rglob("*.py")):
        own = path.relative_to(ROOT / "intervals").with_suffix("").parts[0]
        if own in {"__init__", "__main__"}:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("intervals."):
                room = node.module.split(".")[1]
                if places[room] > places[own]:
                    upward.append(f"{path.relative_to(ROOT).as_posix()}:{node.lineno} imports {node.module}")
            assert not (isinstance(node, ast.ImportFrom) and node.module == "intervals"), f"{path}: import from the module itself"
    assert upward == []
