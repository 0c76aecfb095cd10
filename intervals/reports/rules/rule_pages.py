"""The folder of pages that goes with the rule sets: one page each, and one of all sources.

In: rule sets. Out: text by file name, and what of a folder is not as it should be. Writing it is left to the caller.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from intervals.reports.rules.rule_page import rule_set_markdown
from intervals.reports.rules.source_page import source_page
from intervals.rules.ruleset import RuleSet

SOURCES = "sources.md"
_MADE = "<!-- Made by `intervals rules pages`; change the rule set, not this page. -->\n\n"


def pages_of(rulesets: Sequence[RuleSet]) -> dict[str, str]:
    """Return the pages of rule sets by file name.

    Args:
        rulesets: the rule sets.

    Returns:
        `NAME.md` for each, and `sources.md`.
    """
    pages = {f"{ruleset.ruleset}.md": _MADE + rule_set_markdown(ruleset) for ruleset in rulesets}
    return {**pages, SOURCES: _MADE + source_page(rulesets)}


def stale_pages(pages: Mapping[str, str], folder: Path) -> list[tuple[str, Literal["missing", "not current", "left over"]]]:
    """Return what of a folder is not as the pages are.

    Args:
        pages: the pages by file name.
        folder: the folder, which need not exist.

    Returns:
        Names in order, each with what is wrong with it; pages that were made for rule sets that are gone are left over.
    """
    stale: list[tuple[str, Literal["missing", "not current", "left over"]]] = []
    for name, text in sorted(pages.items()):
        path = folder / name
        if not path.is_file():
            stale.append((name, "missing"))
        elif path.read_bytes() != text.encode("utf-8"):
            stale.append((name, "not current"))
    others = [path for path in sorted(folder.glob("*.md")) if path.name not in pages]
    return [*stale, *((path.name, "left over") for path in others if is_made(path))]


def foreign_pages(pages: Mapping[str, str], folder: Path) -> list[Path]:
    """Return what stands in a folder under the name of a page and was not made as one."""
    return [path for path in (folder / name for name in sorted(pages)) if path.exists() and not is_made(path)]


def is_made(path: Path) -> bool:
    """Return whether a file begins with the line that every page made here begins with."""
    if not path.is_file():
        return False
    mark = _MADE.strip().encode("utf-8")
    with path.open("rb") as file:
        return file.read(len(mark)) == mark
