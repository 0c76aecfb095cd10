"""`intervals log`: what was read of a site's operating log."""

from __future__ import annotations

from typing import Annotated

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import TABLE_OR_JSON, AsOfOption, OutputOption, SiteArgument
from intervals.cli.common.output import Answer
from intervals.cli.common.site_request import SiteRequest


class LogFormat(Format):
    """What `log` prints."""

    TABLE = drawn("table", "intervals.reports.log.log_table:log_lines")
    JSON = written("json", "intervals.reports.document:log_document")


@answers
def log(
    *,
    site: SiteArgument,
    as_of: AsOfOption = None,
    output_format: Annotated[LogFormat, TABLE_OR_JSON] = LogFormat.TABLE,
    output: OutputOption = None,
) -> Answer:
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
    asked = SiteRequest(site, as_of=as_of, writes=[output]).ready()
    from intervals.questions.log.logbook import summarise_log

    return output_format.answer(summarise_log(asked.site, asked.moment, now_us=asked.now_us), output=output)


COMMAND = Command(log, place=30)
