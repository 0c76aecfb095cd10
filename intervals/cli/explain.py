"""`intervals explain`: the whole sum behind one finding."""

from __future__ import annotations

from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import AsOfOption, NoCacheOption, OutputOption, RulesetOption, SiteArgument
from intervals.cli.common.output import Answer
from intervals.cli.common.site_request import SiteRequest


class ExplainFormat(Format):
    """What `explain` prints."""

    TEXT = drawn("text", "intervals.reports.explain.explanation_text:explanation_lines")
    JSON = written("json", "intervals.reports.document:explanation_document")


@answers
def explain(
    *,
    site: SiteArgument,
    engine: Annotated[
        str,
        typer.Argument(
            metavar="ENGINE", help="The engine's id, as site.yaml has it; the site's, for a budget over all of it.", show_default=False
        ),
    ],
    task: Annotated[str, typer.Argument(metavar="TASK", help="The task's id, as the rule set has it.", show_default=False)],
    as_of: AsOfOption = None,
    ruleset: RulesetOption = None,
    output_format: Annotated[ExplainFormat, typer.Option("--format", help="Text to read, or one JSON document.")] = ExplainFormat.TEXT,
    output: OutputOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
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
    from intervals.cli.common.ids import engine_ids, task_ids, unknown_arguments

    asked = SiteRequest(site, as_of=as_of, ruleset=ruleset, writes=[output])
    units = asked.load().judged_units
    (asked_engine,) = engine_ids(asked.site, [engine])
    # a budget over all engines is shown under the site's id
    is_site = asked_engine == asked.site.site
    (asked_task,) = task_ids(asked.site, [task], ruleset, engines=[] if is_site else [asked_engine])
    if not (asked.problems.is_empty and (is_site or asked_engine in {unit.id for unit in units})):
        # a wrong task alone is reported by the judge, who knows which ones fit the engine
        asked.problems.note(unknown_arguments(asked.site, asked_engine, asked_task, ruleset))
    asked.refuse()
    from intervals.questions.explain.explain import explain_finding

    found = explain_finding(asked.site, asked_engine, asked_task, asked.moment, now_us=asked.now_us, ruleset=ruleset)
    return output_format.answer(found, output=output)


COMMAND = Command(explain, place=20)
