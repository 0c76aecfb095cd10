"""The handbook's page of libraries, made from what is installed: `python -m intervals.cli.pages.library_page`.

In: `pyproject.toml` of the clone and the metadata of the libraries. Out: `intervals/handbook/libraries.md`, each library with its licence.
Refuses nothing; a library that is not installed is left out.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, metadata
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
FOR_USERS = ("cluster", "plan", "serve")
"""The extras of people who use the program."""
_LONGEST = 60
_HEAD = """# Libraries

What the program is built on, each with its licence.

The licence is given as the library states it; none of them is copied into the program. Those of an extra are installed only where it is
asked for. The libraries bring others of their own, which `pip show NAME` lists.

| library | licence | asked for by |
|---|---|---|
"""


class Library(NamedTuple):
    """A library: its name, its licence, and the extra that asks for it (None: always)."""

    name: str
    licence: str
    extra: str | None


def libraries() -> Iterator[Library]:
    """Yield the libraries that the package asks for, without those of its developers, by extra and name."""
    project = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text("utf-8"))["project"]
    asked: dict[str | None, list[str]] = {None: project["dependencies"]}
    asked |= {extra: project["optional-dependencies"][extra] for extra in FOR_USERS}
    for extra, listed in asked.items():
        for name in sorted({match[0] for each in listed if (match := _NAME.match(each)) is not None}):
            try:
                yield Library(name, _licence_of(name), extra)
            except PackageNotFoundError:
                continue


def _licence_of(name: str) -> str:
    """Return the licence of a library, in the fewest words that it states it by."""
    said = metadata(name)
    trove = [each.rpartition(" :: ")[2] for each in said.get_all("Classifier") or () if each.startswith("License :: ")]
    stated = (said.get_all("License") or [""])[0].strip().split("\n")[0]
    lines = [*(said.get_all("License-Expression") or ()), *trove, stated]
    return next((line for line in lines if line and len(line) <= _LONGEST), "see its own documents")


def page() -> str:
    """Return the page."""
    rows = (f"| `{each.name}` | {each.licence} | {'the program' if each.extra is None else f'`[{each.extra}]`'} |" for each in libraries())
    return _HEAD + "\n".join(rows) + "\n"


def main() -> None:
    """Write the page into the handbook."""
    Path(str(files("intervals.handbook") / "libraries.md")).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
