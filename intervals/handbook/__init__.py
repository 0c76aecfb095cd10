"""The handbook: one page per subject, shipped with the package and readable without a network.

In: the name of a page. Out: its text (Markdown). Refuses (CLI106) a name that is no page, with the nearest one.
"""

from __future__ import annotations

from importlib.resources import files

from intervals.problems import Problem, RequestProblemError, nearest_of

PAGES = (
    "your-site",
    "records",
    "how-it-counts",
    "due-dates",
    "monthly-report",
    "planning",
    "cards",
    "heavy-duty",
    "rule-sets",
    "laws",
    "plant-network",
    "fleets",
    "speed",
    "python",
    "faults",
    "commands",
    "libraries",
)
"""The pages in the order in which a new user needs them."""


def page_text(name: str) -> str:
    """Return a page as Markdown.

    Args:
        name: one of `PAGES`.

    Raises:
        RequestProblemError: there is no such page (code CLI106).

    Example:
        >>> page_text("heavy-duty").splitlines()[0]
        '# Heavy duty'
    """
    if name not in PAGES:
        text = f'the handbook has no page "{name}"{nearest_of(name, PAGES)}'
        raise RequestProblemError([Problem("CLI106", "handbook", None, None, text, f"pages: {', '.join(PAGES)}")])
    return (files("intervals.handbook") / f"{name}.md").read_text("utf-8")


def page_summary(name: str) -> tuple[str, str]:
    """Return the title of a page and the sentence below it.

    Args:
        name: one of `PAGES`.
    """
    lines = page_text(name).splitlines()
    return lines[0].removeprefix("# "), lines[2]
