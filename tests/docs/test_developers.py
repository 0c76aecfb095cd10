"""DEVELOPERS.md and GUIDE.md name only what is there."""

from __future__ import annotations

import ast
import re
from graphlib import TopologicalSorter
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


def modules_named_in(source: str) -> list[tuple[int, str]]:
    """Return the modules of the package that a source imports, in whatever form, each with its line."""
    found: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom):
            assert not node.level, f"line {node.lineno}: a relative import"
            # a name that is imported may itself be a module: `from intervals.readings import spill_file`
            found += [(node.lineno, node.module or ""), *((node.lineno, f"{node.module}.{name.name}") for name in node.names)]
        elif isinstance(node, ast.Import):
            found += [(node.lineno, name.name) for name in node.names]
    return [(line, name.removeprefix("intervals.")) for line, name in found if name == "intervals" or name.startswith("intervals.")]


def test_an_import_is_seen_in_every_form() -> None:
    """Of both statements, the name behind `from` included; a module of another package is none."""
    source = "import intervals.site.model as m\nfrom intervals.readings import rows\nimport numpy\n"
    assert modules_named_in(source) == [(1, "site.model"), (2, "readings"), (2, "readings.rows")]


def test_no_import_goes_up() -> None:
    """A module imports from its own room and from rooms above it on the map, never from one below."""
    places = rooms()
    upward = []
    for path in sorted((ROOT / "intervals").rglob("*.py")):
        own = path.relative_to(ROOT / "intervals").with_suffix("").parts[0]
        if own in {"__init__", "__main__"}:
            continue
        for line, module in modules_named_in(path.read_text(encoding="utf-8")):
            room = module.split(".")[0]
            assert room != "intervals", f"{path}:{line}: import from the package itself"
            if places[room] > places[own]:
                upward.append(f"{path.relative_to(ROOT).as_posix()}:{line} imports intervals.{module}")
    assert upward == []


def part_of(parts: tuple[str, ...]) -> str:
    """Return the part of a room that a module belongs to: its inner room, or for a module on top the module itself."""
    return f"{parts[1]}/" if len(parts) > 2 else parts[1]


@pytest.mark.parametrize("room", sorted(path.parent.name for path in (ROOT / "intervals").glob("*/__init__.py")))
def test_an_inner_room_is_used_one_way(room: str) -> None:
    """In a room no inner room and no module on top depends on itself by way of another one."""
    top = ROOT / "intervals" / room
    parts = {path.relative_to(top.parent).with_suffix("").parts for path in top.rglob("*.py") if path.stem != "__init__"}
    order: dict[str, set[str]] = {part_of(each): set() for each in parts}
    for path in top.rglob("*.py"):
        own = path.relative_to(top.parent).with_suffix("").parts
        if path.stem == "__init__":
            continue
        for _, module in modules_named_in(path.read_text(encoding="utf-8")):
            if tuple(module.split(".")) in parts:
                order[part_of(own)].add(part_of(tuple(module.split("."))))
    for part, used in order.items():
        used.discard(part)
    # raises CycleError, which names the circle
    TopologicalSorter(order).prepare()
