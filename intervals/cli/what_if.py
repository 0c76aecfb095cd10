"""`intervals what-if`: the whole past judged again under changed rules."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from intervals.cli.common.options import AsOfOption, EnginesOption, OutputOption, SiteArgument, TableFormat, TasksOption, not_empty


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
        TableFormat, typer.Option("--format", help="A table of what changes, or one JSON document with every task.")
    ] = TableFormat.TABLE,
    output: OutputOption = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Also write both sides as a page (one self-contained file).", show_default=False),
    ] = None,
) -> None:
    """Judge the whole past again under changed rules, and compare with the rules as they are.

    Changed in memory only; no file is touched. Side by side: how long each interval lasts and how often the job comes in a year at the
    duty of the last twelve months, how many jobs the past was worth, what fell due, was late or missed, hours run overdue, how every
    task stands today and when it falls due next. It decides nothing: the engine's documents, the legal text and the local code come
    first.

    \b
    Exit codes:
      0  judged
      2  cannot judge, or the rules have no place for a change; every problem is listed on standard error

    \b
    Examples:
      intervals what-if sample_logs/brackwater --as-of 2026-10-31 --set tasks.oil-change.every.running_hours=2500
      intervals what-if my-site --set adjustments.heavy-load.counts_as=1.3 --drop frequent-starts
      intervals what-if my-site --ruleset ./next-year.yaml --html next-year.html
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import date_of_judging  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.ids import engine_ids, task_ids  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_document, deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_places, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.progress import progress_told  # noqa: PLC0415 - not needed for --help
    from intervals.rules.changes import RuleChanges  # noqa: PLC0415 - not needed for --help
    from intervals.rules.ruleset import find_ruleset, load_ruleset  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered()
    moment = wrong.of(lambda: date_of_judging(as_of, None, now)) or now
    changes = wrong.of(lambda: RuleChanges.typed(values or (), drop or ())) or RuleChanges.typed((), ())
    if ruleset is not None:
        # it is judged by besides the site's own
        wrong.of(lambda: load_ruleset(find_ruleset(ruleset, Path.cwd())))
    wrong.of(lambda: guard_places(output, html))
    described = wrong.site_of(site)
    engines, tasks = engine_ids(described, engine), task_ids(described, task, None, ruleset)
    wrong.of(lambda: guard_targets(described, ruleset, output, html))
    # a task may be one of the other rule set alone
    wrong.refuse(described, moment, now, engines=engines, tasks=() if ruleset else tasks)
    from intervals.questions.what_if.what_if import compare_rules  # noqa: PLC0415 - loads the judge only once there is a site to judge

    with progress_told() as progress:
        found = compare_rules(
            described,
            moment,
            changes,
            ruleset=ruleset,
            now_us=microseconds_of(now),
            engines=engines,
            tasks=tasks,
            progress=progress,
        )
    if html is not None:
        from intervals.cli.files import page_of_what_if  # noqa: PLC0415 - only --html needs it
        from intervals.writing import write_whole  # noqa: PLC0415 - only --html needs it

        write_whole(html, page_of_what_if(found, described, now))
    if output_format is TableFormat.JSON:
        from intervals.reports.document import json_text, what_if_document  # noqa: PLC0415 - loads only the report that is drawn

        deliver_document(json_text(what_if_document(found)), output)
    else:
        from intervals.reports.what_if.what_if_table import what_if_lines  # noqa: PLC0415 - loads only the report that is drawn

        deliver_lines(lambda width: what_if_lines(found, width=width), output)
