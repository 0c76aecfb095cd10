"""`intervals propose`: the intervals that the duty supports, as a rule set for a person to review."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import AsOfOption, EnginesOption, NoCacheOption, OutputOption, SiteArgument, TasksOption, not_empty
from intervals.cli.common.output import Answer
from intervals.cli.common.site_request import SiteRequest


@answers
def propose(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    ruleset: Annotated[
        str | None,
        typer.Option(
            "--ruleset",
            metavar="NAME|PATH",
            callback=not_empty,
            help="Which rule set to propose for, as site.yaml names it, if the engines use several.",
            show_default=False,
        ),
    ] = None,
    engine: EnginesOption = None,
    task: TasksOption = None,
    output: OutputOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
    """Write the intervals that the duty of the last twelve months supports, as a rule set for a person to review.

    For each engine and task the interval in hours on the clock, as the rule set's own adjustments make it, with the evidence beside it.
    The rule set is based on the one in use, and applies only once somebody names it in site.yaml. Nothing longer than the rule set's
    interval is proposed unless the oil's condition decides the task. The engine's documents, the legal text and the local code come
    first.

    \b
    Exit codes:
      0  written
      2  cannot be calculated; every problem is listed on standard error

    \b
    Examples:
      intervals propose sample_logs/brackwater --as-of 2026-10-31
      intervals propose my-site --engine G3 --task oil-change --output my-site/proposed.yaml
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    asked = SiteRequest(site, as_of=as_of, engine=engine, task=task, writes=[output], with_components=False).ready()
    from intervals.questions.propose.propose import propose_intervals
    from intervals.reports.propose.proposal_page import proposal_text

    found = propose_intervals(asked.site, asked.moment, now_us=asked.now_us, ruleset=ruleset, engines=asked.engines, tasks=asked.tasks)
    folder = asked.site.folder if output is None else Path(output).parent
    return Answer(proposal_text(found, folder), output)


COMMAND = Command(propose, place=60, short_help="Write the intervals that the duty supports, for a review.")
