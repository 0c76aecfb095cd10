"""`intervals duty`: how hard each engine ran, and how long its intervals last at that."""

from __future__ import annotations

from typing import Annotated

import typer

from intervals.cli.common.options import EnginesOption, OutputOption, RulesetOption, SiteArgument, TableFormat, TableFormatOption


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
    output_format: TableFormatOption = TableFormat.TABLE,
    output: OutputOption = None,
) -> None:
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
    from intervals.cli.common.clock import microseconds_of, read_clock  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.date_arguments import read_day  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.ids import engine_ids  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output import deliver_document, deliver_lines  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.output_guards import guard_places, guard_targets  # noqa: PLC0415 - not needed for --help
    from intervals.cli.common.problem_collector import Gathered  # noqa: PLC0415 - not needed for --help

    now = read_clock()
    wrong = Gathered(ruleset)
    last = (None if until is None else wrong.of(lambda: read_day(until, "--until"))) or now
    first = None if since is None else wrong.of(lambda: read_day(since, "--since"))
    wrong.of(lambda: guard_places(output))
    described = wrong.site_of(site)
    engines = engine_ids(described, engine)
    wrong.of(lambda: guard_targets(described, ruleset, output))
    wrong.refuse(described, last, now, engines=engines, with_components=False)
    from intervals.questions.duty.duty import measure_duty  # noqa: PLC0415 - loads the judge only once there is a site to judge

    found = measure_duty(described, last, since=first, now_us=microseconds_of(now), ruleset=ruleset, engines=engines)
    if output_format is TableFormat.JSON:
        from intervals.reports.document import duty_document, json_text  # noqa: PLC0415 - loads only the report that is drawn

        deliver_document(json_text(duty_document(found)), output)
    else:
        from intervals.reports.duty.duty_table import duty_lines  # noqa: PLC0415 - loads only the report that is drawn

        deliver_lines(lambda width: duty_lines(found, width=width), output)
