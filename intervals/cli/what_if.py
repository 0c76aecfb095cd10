"""`intervals what-if`: the whole past judged again under changed rules."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import (
    AsOfOption,
    ClusterLogOption,
    EnginesOption,
    NoCacheOption,
    OutputOption,
    SiteArgument,
    TasksOption,
    not_empty,
)
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest
from intervals.cli.common.workers_asked import log_of_workers

if TYPE_CHECKING:
    from intervals.questions.what_if.what_if_models import WhatIf


class WhatIfFormat(Format):
    """What `what-if` prints."""

    TABLE = drawn("table", "intervals.reports.what_if.what_if_table:what_if_lines")
    JSON = written("json", "intervals.reports.document:what_if_document")


@answers
def what_if(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    ruleset: Annotated[
        str | None,
        typer.Option(
            "--ruleset",
            metavar="NAME|PATH",
            callback=not_empty,
            help="Judge by this rule set instead of the site's.",
            show_default=False,
        ),
    ] = None,
    values: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="PATH=VALUE", help="Change this value; repeat the option for more.", show_default=False),
    ] = None,
    drop: Annotated[
        list[str] | None,
        typer.Option("--drop", metavar="ADJUSTMENT", help="Leave this adjustment out; repeat the option for more.", show_default=False),
    ] = None,
    engine: EnginesOption = None,
    task: TasksOption = None,
    output_format: Annotated[
        WhatIfFormat, typer.Option("--format", help="A table of what changes, or one JSON document with every task.")
    ] = WhatIfFormat.TABLE,
    output: OutputOption = None,
    stops: Annotated[
        bool, typer.Option("--stops", help="Also plan the stops of the year ahead under both, and count them engine by engine.")
    ] = False,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Also write both sides as a page (one self-contained file).", show_default=False),
    ] = None,
    cluster: ClusterLogOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
    """Judge the whole past again under changed rules, and compare with the rules as they are.

    Changed in memory only; no file is touched. Side by side: how long each interval lasts and how often the job comes in a year at the
    duty of the last twelve months, how many jobs the past was worth, what fell due, was late or missed, hours run overdue, how every
    task stands today and when it falls due next. With --stops also how many stops each engine has in the year ahead, as intervals plan
    would place them; that takes the solver of the plan, and its time. It decides nothing: the engine's documents, the legal text and the
    local code come first.

    \b
    Exit codes:
      0  judged
      2  cannot judge, or the rules have no place for a change; every problem is listed on standard error

    \b
    Examples:
      intervals what-if sample_logs/brackwater --as-of 2026-10-31 --set tasks.oil-change.every.running_hours=2500
      intervals what-if my-site --set adjustments.heavy-load.counts_as=1.3 --drop frequent-starts
      intervals what-if my-site --set tasks.oil-change.every.running_hours=2500 --stops
      intervals what-if my-site --ruleset ./next-year.yaml --html next-year.html
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.rules.changes import RuleChanges
    from intervals.rules.ruleset import find_ruleset, load_ruleset

    asked = SiteRequest(site, as_of=as_of, other_ruleset=ruleset, engine=engine, task=task, writes=[output, html])
    changes = asked.read(RuleChanges.typed, values or (), drop or ()) or RuleChanges.typed((), ())
    if ruleset is not None:
        asked.read(lambda: load_ruleset(find_ruleset(ruleset, Path.cwd())))
    asked.ready()
    from intervals.questions.what_if.what_if import compare_rules

    with log_of_workers(asked.site, asked.now_us, cluster) as ahead, progress_bar() as progress:
        found = compare_rules(
            asked.site,
            asked.moment,
            changes,
            ruleset=ruleset,
            now_us=asked.now_us,
            engines=asked.engines,
            tasks=asked.tasks,
            ahead=ahead,
            stops=stops,
            progress=progress,
        )
    answer = output_format.answer(found, output=output)
    return answer if html is None else answer._replace(beside={html: _page(found, asked)})


def _page(found: WhatIf, asked: SiteRequest) -> str:
    """Return both sides as a page."""
    from intervals.reports.what_if.what_if_page import what_if_page
    from intervals.version import __version__

    return what_if_page(found, title=asked.site.title, made_at=asked.made_at(), version=__version__)


COMMAND = Command(what_if, place=50, short_help="Judge the past again under changed rules, and compare.")
