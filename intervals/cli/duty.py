"""`intervals duty`: how hard each engine ran, and how long its intervals last at that."""

from __future__ import annotations

from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import TABLE_OR_JSON, EnginesOption, NoCacheOption, OutputOption, RulesetOption, SiteArgument
from intervals.cli.common.output import Answer
from intervals.cli.common.site_request import SiteRequest


class DutyFormat(Format):
    """What `duty` prints."""

    TABLE = drawn("table", "intervals.reports.duty.duty_table:duty_lines")
    JSON = written("json", "intervals.reports.document:duty_document")


@answers
def duty(
    *,
    site: SiteArgument,
    since: Annotated[
        str | None,
        typer.Option("--since", metavar="DATE", help="First day, included. Default: a year before the last day.", show_default=False),
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DATE", help="Last day, included. Default: now.", show_default=False)
    ] = None,
    ruleset: RulesetOption = None,
    engine: EnginesOption = None,
    output_format: Annotated[DutyFormat, TABLE_OR_JSON] = DutyFormat.TABLE,
    output: OutputOption = None,
    no_cache: NoCacheOption = False,
) -> Answer:
    """Show how hard each engine ran, and how long its intervals last at that duty.

    Of each engine: running hours and starts, hours by load, average power after ISO 8528-1 with and without its floor of 30 %, the
    heaviest 24 h, light load, what its rating allows, sulphur and temperatures over the running hours, oil consumption. Of each task:
    its interval in hours on the clock, as the rule set's own adjustments make it at this duty.

    \b
    Exit codes:
      0  calculated
      2  cannot be calculated; every problem is listed on standard error

    \b
    Examples:
      intervals duty sample_logs/brackwater --until 2026-10-31
      intervals duty my-site --since 2026-07-01 --until 2026-09-30 --engine G3 --format json
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.date_arguments import read_day

    asked = SiteRequest(site, ruleset=ruleset, engine=engine, writes=[output], with_components=False)
    if until is not None:
        asked.moment = asked.read(read_day, until, "--until") or asked.moment
    first = None if since is None else asked.read(read_day, since, "--since")
    asked.ready()
    from intervals.questions.duty.duty import measure_duty

    found = measure_duty(asked.site, asked.moment, since=first, now_us=asked.now_us, ruleset=ruleset, engines=asked.engines)
    return output_format.answer(found, output=output)


COMMAND = Command(duty, place=40, short_help="Show how hard each engine ran, and how long intervals last.")
