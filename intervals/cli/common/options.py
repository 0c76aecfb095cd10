"""Options and arguments that several commands share, so that they read alike everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def not_empty(value: str | None) -> str | None:
    """Return what was typed; refuse an empty name, which a script makes of a variable that was never set.

    Raises:
        RequestProblemError: it is empty (code CLI113).
    """
    if value is not None and not value.strip():
        from intervals.problems import Problem, RequestProblemError

        raise RequestProblemError([Problem("CLI113", "command line", None, None, "a name is empty", "write it, or leave its option out")])
    return value


def named_path(value: str) -> Path:
    """Return what was typed as a path; an empty one would mean the folder one stands in.

    Raises:
        RequestProblemError: it is empty (code CLI113).
    """
    return Path(not_empty(str(value)) or "")


def typed_again(path: Path) -> str:
    """Return a path as it can be typed in another command; one that begins with a dash would be taken for an option.

    Example:
        >>> typed_again(Path("-north")), typed_again(Path("plant/-north"))
        ('./-north', 'plant/-north')
    """
    return f"./{path}" if str(path).startswith("-") else str(path)


TABLE_OR_JSON = typer.Option("--format", help="A table to read, or one JSON document.")
"""The option `--format` of a command that prints a table, or its document."""
SiteArgument = Annotated[
    Path, typer.Argument(metavar="SITE", parser=named_path, help="Folder of the site: the one that holds site.yaml.", show_default=False)
]
SitesArgument = Annotated[
    list[Path],
    typer.Argument(
        metavar="SITE...",
        parser=named_path,
        help="Folder of a site: the one that holds site.yaml. Several, or a folder that holds sites, are judged together.",
        show_default=False,
    ),
]
AsOfOption = Annotated[
    str | None,
    typer.Option(
        "--as-of",
        metavar="DATE|DATETIME",
        help="Judge as of then: 2026-10-31 means the end of that day, 2026-10-31T14:00 that moment at the site. Default: now.",
        show_default=False,
    ),
]
RulesetOption = Annotated[
    str | None,
    typer.Option(
        "--ruleset",
        metavar="NAME|PATH",
        callback=not_empty,
        help="Judge by this rule set instead of those that the site names. See: intervals rules list.",
        show_default=False,
    ),
]
EnginesOption = Annotated[
    list[str] | None, typer.Option("--engine", metavar="ID", help="Only this engine; repeat the option for more.", show_default=False)
]
TasksOption = Annotated[
    list[str] | None, typer.Option("--task", metavar="ID", help="Only this task; repeat the option for more.", show_default=False)
]
OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output", metavar="FILE", help="Write to this file instead of the screen; it is written whole or not at all.", show_default=False
    ),
]
CalendarUntilOption = Annotated[
    str | None,
    typer.Option(
        "--calendar-until",
        metavar="SPAN|DATE",
        help="How far ahead the calendar reaches: P5Y from the day of judging, or a last day. Default: P1Y.",
        show_default=False,
    ),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        callback=not_empty,
        help="Let the workers of a Dask cluster read and judge: the address of its scheduler. The result is the same.",
        show_default=False,
    ),
]
ClusterLogOption = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        callback=not_empty,
        help="Let the workers of a Dask cluster read the log: the address of its scheduler. The result is the same.",
        show_default=False,
    ),
]
JobsOption = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        metavar="N",
        min=1,
        help="Share the engines among this many processes; the result is the same. Default: one per processor for many engines, else one.",
        show_default=False,
    ),
]


def _settle_cache(context: typer.Context, value: bool) -> bool:
    """Let the command use the user's cache until it ends, unless it is to go without."""
    if not value and not context.resilient_parsing:
        from intervals.user_cache import using_cache

        context.with_resource(using_cache())
    return value


NoCacheOption = Annotated[
    bool,
    typer.Option(
        "--no-cache",
        callback=_settle_cache,
        help="Read and judge everything anew, and keep nothing for the next run. The result is the same.",
    ),
]
"""An option that takes effect by itself; the command needs nothing of it."""
