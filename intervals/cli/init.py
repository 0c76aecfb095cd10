"""`intervals init`: a folder for a new site, with commented files to fill in."""

from __future__ import annotations

import os
import shlex
from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import not_empty, typed_again
from intervals.cli.common.output import Answer


@answers
def init(
    *,
    typed: Annotated[
        str, typer.Argument(metavar="FOLDER", callback=not_empty, help="Folder to make, or an existing one.", show_default=False)
    ],
    ruleset: Annotated[
        str,
        typer.Option(
            "--ruleset", metavar="NAME|PATH", callback=not_empty, help="The rule set to name in site.yaml. See: intervals rules list."
        ),
    ] = "gas-engine",
) -> Answer:
    """Make a folder for a new site, with files to fill in.

    It gets site.yaml, services.csv, readings/ and a schema for your editor. Comments in the files say what to write.
    Nothing is ever overwritten: if one of them exists already, nothing is written at all.

    \b
    Exit codes:
      0  made
      2  not made; every problem is listed on standard error

    \b
    Example:
      intervals init my-site
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.documents import json_text
    from intervals.problems import Problem, RequestProblemError
    from intervals.reports.lines import line_of
    from intervals.reports.schemas import schema_of
    from intervals.rules.ruleset import find_ruleset, shipped_rulesets
    from intervals.site.starter_files import SCHEMA_FILE, starter_files
    from intervals.writing import write_whole

    folder = Path(typed)
    found = find_ruleset(ruleset, beside=None)
    named = ruleset if ruleset in shipped_rulesets() else Path(os.path.relpath(found, folder)).as_posix()
    place = shlex.quote(typed_again(folder))
    files = starter_files(folder=place, title=folder.resolve().name, ruleset=named)
    files[SCHEMA_FILE] = json_text(schema_of("site"))
    standing = [folder / name for name in files if (folder / name).exists()]
    if standing:
        text, fix = "exists already; nothing was written", "name another folder"
        raise RequestProblemError([Problem(code="CLI112", file=str(path), line=None, path=None, text=text, fix=fix) for path in standing])
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        write_whole(folder / name, text)
    made = f"made {place}: describe the engines in site.yaml, put the log into readings/, then see what is read:"
    return Answer(lambda _: [line_of(made), line_of(f"  intervals log {place}")])


COMMAND = Command(init, place=90)
