"""`intervals explain`: the whole sum behind one finding."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from intervals.cli.common.options import AsOfOption, OutputOption, RulesetOption, SiteArgument


class ExplainFormat(StrEnum):
    """What `explain` prints."""

    TEXT = "text"
    JSON = "json"


def explain(
    *,
    site: SiteArgument,
    engine: Annotated[str, typer.Argument(metavar="ENGINE", help="The engine's id, as site.yaml has it.", show_default=False)],
    task: Annotated[str, typer.Argument(metavar="TASK", help="The task's id, as the rule set has it.", show_default=False)],
    as_of: AsOfOption = None,
    ruleset: RulesetOption = None,
    output_format: Annotated[ExplainFormat, typer.Option("--format", help="Text to read, or one JSON document.")] = ExplainFormat.TEXT,
    output: OutputOption = None,
) -> None:
    """Show the whole sum behind one task of one engine.

    You can check it with a pocket calculator: where the window starts and ends, which hours ran in which duty and what each
    counts, which rules fired on which figures, what follows for the interval, and what all of it rests on: log lines, service
    records, rules and their sources.

    \b
    Exit codes:
      0  explained, whatever the status of the task
      2  cannot judge; every problem is listed on standard error

    \b
    Example:
      intervals explain sample_logs/brackwater G1 oil-change --as-of 2026-10-31
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import date_of_judging  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.ids import engine_ids, task_ids, unknown_arguments  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_document, deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_places, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help
    from intervals.reports.document import explanation_document, json_text  # noqa: PLC0415 - not needed for --help
    from intervals.reports.explain.explanation_text import explanation_lines  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered(ruleset)
    moment = wrong.of(lambda: date_of_judging(as_of, None, now)) or now
    wrong.of(lambda: guard_places(output))
    described = wrong.site_of(site)
    (asked_engine,) = engine_ids(described, [engine])
    (asked_task,) = task_ids(described, [task], ruleset, engines=[asked_engine])
    wrong.of(lambda: guard_targets(described, ruleset, output))
    if not (wrong.is_empty and asked_engine in {machine.id for machine in described.machines}):
        # by itself a task is told by the judge, who knows which ones fit the engine
        wrong.note(unknown_arguments(described, asked_engine, asked_task, ruleset))
    wrong.refuse(described, moment, now)
    from intervals.questions.explain.explain import explain_finding  # noqa: PLC0415 - loads the judge only once there is a site to judge

    explanation = explain_finding(described, asked_engine, asked_task, moment, now_us=microseconds_of(now), ruleset=ruleset)
    if output_format is ExplainFormat.JSON:
        deliver_document(json_text(explanation_document(explanation)), output)
    else:
        deliver_lines(lambda width: explanation_lines(explanation, width=width), output)
