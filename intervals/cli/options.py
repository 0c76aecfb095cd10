"""Options and arguments that several commands share, so that they read alike everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

SiteArgument = Annotated[Path, typer.Argument(metavar="SITE", help="Folder of the site: the one that holds site.yaml.", show_default=False)]
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
        help="Judge by this rule set and not by the ones the site names. See: intervals rules list.",
        show_default=False,
    ),
]
OutputOption = Annotated[
    Path | None,
    typer.Option("--output", metavar="FILE", help="Write to this file, whole or not at all, and not to the screen.", show_default=False),
]
JobsOption = Annotated[
    int | None,
    typer.Option(
        "--jobs",
        metavar="N",
        min=1,
        help="Share the engines among so many processes; the result is the same. Default: one a processor for many engines, else one.",
        show_default=False,
    ),
]
