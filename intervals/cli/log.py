"""`intervals log`: what was read of a site's operating log."""

from __future__ import annotations

from intervals.cli.common.options import AsOfOption, OutputOption, SiteArgument, TableFormat, TableFormatOption


def log(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    output_format: TableFormatOption = TableFormat.TABLE,
    output: OutputOption = None,
) -> None:
    """Show what was read of a site's operating log.

    Nothing is judged. For each engine: rows, first and last reading, hour meter, running hours, gaps, hours that rest on doubtful
    readings, and the share of the running hours for which each level is known. Below that: every kind of fault in the data, with
    file and line. Run it first on a new site: what the log does not tell, no rule can judge.

    \b
    Exit codes:
      0  read, whatever the data is like
      2  cannot be read; every problem is listed on standard error

    \b
    Example:
      intervals log sample_logs/brackwater
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.clock import microseconds_of, read_clock
    from intervals.cli.common.date_arguments import date_of_judging
    from intervals.cli.common.output import deliver_document, deliver_lines
    from intervals.cli.common.output_guards import guard_places, guard_targets
    from intervals.cli.common.problem_collector import Gathered
    from intervals.reports.document import json_text, log_document
    from intervals.reports.log.log_table import log_lines

    now = read_clock()
    wrong = Gathered()
    moment = wrong.of(lambda: date_of_judging(as_of, None, now)) or now
    wrong.of(lambda: guard_places(output))
    described = wrong.site_of(site)
    wrong.of(lambda: guard_targets(described, None, output))
    wrong.refuse(described, moment, now)
    from intervals.questions.log.logbook import summarise_log

    summary = summarise_log(described, moment, now_us=microseconds_of(now))
    if output_format is TableFormat.JSON:
        deliver_document(json_text(log_document(summary)), output)
    else:
        deliver_lines(lambda width: log_lines(summary, width=width), output)
