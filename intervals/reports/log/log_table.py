"""What was read of each engine's log, to be looked at before anything is judged.

In: `LogSummary`. Out: lines: a table of engines, what share of the running hours each level is known for, and the faults.
"""

from __future__ import annotations

from intervals.questions.log.log_models import EngineLogSummary, LogSummary
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.sections import fault_lines, warning_lines
from intervals.reports.text_columns import Column, lay_out
from intervals.reports.unknown_words import spelling_lines
from intervals.shown_numbers import amount, count_of, figure, percentage

_COLUMNS = (
    Column("engine", is_plain=True),
    Column("rows", to_right=True),
    Column("first reading"),
    Column("last reading"),
    Column("hour meter", to_right=True),
    Column("running", to_right=True),
    Column("doubtful", to_right=True),
    Column("gaps", to_right=True),
    Column("faults", to_right=True),
    Column("known share of the running hours"),
)


def log_lines(summary: LogSummary, *, width: int | None = None) -> list[Line]:
    """Return the report of a site's log.

    Args:
        summary: what was read.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        Lines: warnings, heading, a row an engine, the faults by kind, then words that are not known as a block for site.yaml.
    """
    rows = summary.rows
    heading: list[Line] = [
        (Span(printable(summary.site), "bold"), Span(f"  log as of {summary.as_of}")),
        line_of(f"{count_of(rows.read, 'row')} read: {rows.accepted:,} accepted, {rows.set_aside:,} set aside"),
    ]
    table = lay_out(_COLUMNS, [_row(engine) for engine in summary.engines], width=width)
    sections = [warning_lines(summary.warnings), heading, table, fault_lines(summary.faults, width=width)]
    fitted = [*(fold_lines(section, width) for section in sections), spelling_lines(summary.faults)]
    filled = [section for section in fitted if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _row(engine: EngineLogSummary) -> list[Span]:
    """Return the cells of one engine."""
    has_meter = engine.meter_first_h is not None or engine.meter_last_h is not None
    meter = f"{figure(engine.meter_first_h)} to {amount(engine.meter_last_h, 'h')}" if has_meter else "none"
    gaps = f"{engine.gaps:,} ({amount(engine.gap_h, 'h')})" if engine.gaps else "0"
    return [
        Span(printable(engine.engine)),
        Span(f"{engine.rows:,}"),
        Span(_minute(engine.first_at)),
        Span(_minute(engine.last_at)),
        Span(meter),
        Span(amount(engine.running_hours_h, "h")),
        Span(amount(engine.doubtful_hours_h, "h"), "yellow" if engine.doubtful_hours_h else ""),
        Span(gaps, "yellow" if engine.gaps else ""),
        Span(f"{engine.faults:,}", "yellow" if engine.faults else ""),
        Span(_known(engine)),
    ]


def _known(engine: EngineLogSummary) -> str:
    """Return for each level the share of the log's hours for which it is known, and what it is not known for: before the log, unknown."""
    shares = [f"{printable(level)} {percentage(share / 100)}" for level, share in engine.known_share_pct.items()]
    if engine.before_log_h:
        shares.append(f"load unknown for {amount(engine.before_log_h, 'h')} before the log began")
    if engine.unknown_time_h:
        shares.append(f"running hours unknown for {amount(engine.unknown_time_h, 'h')}")
    return ", ".join(shares)


def _minute(at: str | None) -> str:
    """Return a moment to the minute, as a person reads it."""
    return "none" if at is None else at[:16].replace("T", " ")
