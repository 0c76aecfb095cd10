"""`intervals propose`: the intervals that the duty supports, as a rule set for a person to review."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.options import AsOfOption, EnginesOption, OutputOption, SiteArgument, TasksOption, not_empty


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
) -> None:
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
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import date_of_judging  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.ids import engine_ids, task_ids  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_document  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_places, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered()
    moment = wrong.of(lambda: date_of_judging(as_of, None, now)) or now
    wrong.of(lambda: guard_places(output))
    described = wrong.site_of(site)
    engines, tasks = engine_ids(described, engine), task_ids(described, task)
    wrong.of(lambda: guard_targets(described, None, output))
    wrong.refuse(described, moment, now, engines=engines, tasks=tasks, with_components=False)
    from intervals.questions.propose.propose import propose_intervals  # noqa: PLC0415 - loads the judge only once there is a site to judge
    from intervals.reports.propose.proposal_page import proposal_text  # noqa: PLC0415 - loads only the report that is drawn

    found = propose_intervals(described, moment, now_us=microseconds_of(now), ruleset=ruleset, engines=engines, tasks=tasks)
    folder = described.folder if output is None else Path(output).parent
    deliver_document(proposal_text(found, folder), output)
