"""The whole sum behind one finding, in the order in which a person would do it again.

In: `Explanation`. Out: lines: the verdict, the window, the duty cells that add up, the window's measures, the factors, the sums,
every reason with its figures, where each rule stands, and what is in doubt. Draws only: every figure comes from the explanation.
"""

from __future__ import annotations

from collections.abc import Sequence

from intervals.findings import Finding, Forecast, Reason
from intervals.questions.explain.explanation_models import CellLine, Explanation, FactorLine, Measure, RulePlace, Step
from intervals.reports.check.table import STANDING_MARKS, distance_text, due_text, standing_text, unit_of
from intervals.reports.folding import fold_lines
from intervals.reports.lines import BLANK, Line, Span, line_of, printable
from intervals.reports.sections import warning_lines
from intervals.reports.text_columns import Column, lay_out, wrap_prose
from intervals.shown_numbers import UNKNOWN, amount, exact

_LEAST_WIDTH = 40


def explanation_lines(explanation: Explanation, *, width: int | None = None) -> list[Line]:
    """Return the explanation of one finding.

    Args:
        explanation: the arithmetic.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        Lines, in sections with a heading each; a section that says nothing is left out.
    """
    finding = explanation.finding
    sections = [
        warning_lines(explanation.warnings),
        _verdict_lines(finding, width, is_a_day=explanation.last_done_is_a_day),
        _titled("Window", _step_lines(explanation.window, width)),
        _titled("Hours by duty", _cell_lines(explanation.cells, width)),
        _titled("The window as a whole", _measure_lines(explanation.measures, width)),
        _titled("What changes the interval", _factor_lines(explanation.factors, width)),
        _titled("The sums", _step_lines(explanation.steps, width)),
        _titled("Legs", _leg_lines(finding, width)),
        _titled("Reasons", [line for reason in finding.reasons for line in _reason_lines(reason, width)]),
        _titled("Rules", [line for rule in explanation.rules for line in _rule_lines(rule, width)]),
        _titled("In doubt", [line for doubt in explanation.doubts for line in _wrapped(f"? {printable(doubt)}", width, "magenta")]),
    ]
    filled = [fold_lines(section, width) for section in sections if section]
    return [line for position, section in enumerate(filled) for line in ([BLANK, *section] if position else section)]


def _titled(title: str, lines: list[Line]) -> list[Line]:
    """Return lines below their title, or nothing where there are none."""
    return [line_of(title, "bold"), *lines] if lines else []


def _verdict_lines(finding: Finding, width: int | None, *, is_a_day: bool) -> list[Line]:
    """Return how the task stands, since when, until when."""
    _, style = STANDING_MARKS[finding.standing]
    head: Line = (
        Span(f"{printable(finding.engine)} {printable(finding.task)}", "bold"),
        Span(f"  {printable(finding.title)}"),
    )
    facts = [("status", f"{standing_text(finding)}, {distance_text(finding)}"), ("due on", due_text(finding))]
    if finding.crossed_on:
        facts.append(("line crossed on", finding.crossed_on))
    done = finding.last_done
    if done is not None:
        meter = f", hour meter {amount(done.hour_meter_h, 'h')}" if done.hour_meter_h is not None else ""
        facts.append(
            ("last done", f"{done.at[:10] if is_a_day else done.at}{meter}" + (f" ({printable(done.record)})" if done.record else ""))
        )
    if finding.forecast is not None:
        facts.append(("forecast", _forecast_text(finding.forecast)))
    if finding.deferred_until is not None:
        until = finding.deferred_until
        ends = [f"{amount(until.hour_meter_h, 'h')} on the meter"] if until.hour_meter_h is not None else []
        ends += [f"the end of {until.date}"] if until.date is not None else []
        facts.append(("deferred until", " or ".join(ends)))
    if finding.unknown_hours_h:
        facts.append(("not judged", f"{amount(finding.unknown_hours_h, 'h')} on which a rule could not be judged; counted once"))
    return [head, *_pairs(facts, width, {"status": style})]


def _forecast_text(forecast: Forecast) -> str:
    """Return the middle day and the range; one that has no end is told, and a day that half of the paths never come to."""
    on, early, late = forecast.on or "no day", forecast.early or UNKNOWN, forecast.late
    if on == early == late:
        return on
    return f"{on}, range {early} to {late}" if late is not None else f"{on}, range from {early} on, without an end"


def _step_lines(steps: Sequence[Step], width: int | None) -> list[Line]:
    """Return lines of arithmetic: what it yields, and the sum."""
    return _pairs([(printable(step.label), printable(step.sum)) for step in steps], width, {})


def _cell_lines(cells: Sequence[CellLine], width: int | None) -> list[Line]:
    """Return the duty cells: hours x weight = equivalent hours, and the rules that fired."""
    columns = (
        Column("  hours", to_right=True),
        Column("count", to_right=True),
        Column("equivalent", to_right=True),
        Column("duty and rules", is_plain=True),
    )
    rows = []
    for cell in cells:
        duty = ", ".join(f"{level} {value}" for level, value in cell.levels.items()) or "any duty"
        fired = f": {', '.join(cell.rules)}" if cell.rules else ""
        unknown = f"; cannot be judged: {', '.join(cell.unknown_rules)}" if cell.unknown_rules else ""
        cells_of_row = (f"  {exact(cell.hours_h)} h", f"x {exact(cell.counts_as)}", f"= {exact(cell.equivalent_h)} h")
        rows.append([*(Span(text) for text in cells_of_row), Span(printable(duty + fired + unknown))])
    return lay_out(columns, rows, width=width, heading_style="dim")


def _measure_lines(measures: Sequence[Measure], width: int | None) -> list[Line]:
    """Return the figures of the window that a rule asked for."""
    pairs = []
    for measure in measures:
        text = f"{_fact(measure.value)} {measure.unit}".rstrip() + (f"; {measure.note}" if measure.note else "")
        pairs.append((printable(measure.name), printable(text)))
    return _pairs(pairs, width, {})


def _factor_lines(factors: Sequence[FactorLine], width: int | None) -> list[Line]:
    """Return the window rules that fired."""
    return _pairs([(printable(each.rule), _with_source(each.effect, each.because, each.source)) for each in factors], width, {})


def _leg_lines(finding: Finding, width: int | None) -> list[Line]:
    """Return each leg with what was used, what is allowed and what is left; the governing one is marked."""
    columns = (
        Column("  leg", is_plain=True),
        Column("used", to_right=True),
        Column("allowed", to_right=True),
        Column("left", to_right=True),
        Column("share used", to_right=True),
        Column("note", is_plain=True),
    )
    rows = []
    for leg in finding.legs:
        unit = unit_of(leg)
        notes = ["governs"] if leg.leg == finding.governing else []
        if leg.running_hours_h is not None and leg.running_hours_h != leg.used:
            notes.append(f"{exact(leg.running_hours_h)} h on the clock")
        base = f"base {leg.base}" if isinstance(leg.base, str) else f"base {exact(leg.base)} {unit}"
        notes.append(base if leg.allowed != 0 else "none allowed")
        consumed = exact(leg.consumed) if leg.allowed != 0 else "-"
        sums = (f"{exact(leg.used)} {unit}", f"{exact(leg.allowed)} {unit}", f"{exact(leg.remaining)} {unit}", consumed)
        cells = (f"  {leg.leg}", *sums)
        rows.append([*(Span(printable(cell)) for cell in cells), Span(printable(", ".join(notes)))])
    return lay_out(columns, rows, width=width, heading_style="dim")


def _reason_lines(reason: Reason, width: int | None) -> list[Line]:
    """Return a reason: the rule, its sentence, its figures and its source."""
    figures = ", ".join(f"{name} {_fact(value)}" for name, value in reason.facts.items())
    text = f"{reason.rule}: {reason.text}" + (f" ({figures})" if figures else "") + (f"; source: {reason.source}" if reason.source else "")
    return _wrapped(printable(text), width)


def _rule_lines(rule: RulePlace, width: int | None) -> list[Line]:
    """Return where a rule stands and why it is there."""
    return _wrapped(printable(f"{rule.rule} ({rule.place}): {_with_source('', rule.because, rule.source)}".rstrip(": ")), width)


def _with_source(text: str, because: str | None, source: str | None) -> str:
    """Return a rule's effect with its grounds."""
    parts = [text, because or "", f"source: {source}" if source else ""]
    return printable("; ".join(part for part in parts if part))


def _fact(value: float | str | bool | None) -> str:
    """Return one figure of a reason in full: here nothing is rounded."""
    if value is None:
        return UNKNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    return exact(value)


def _pairs(pairs: Sequence[tuple[str, str]], width: int | None, styles: dict[str, str]) -> list[Line]:
    """Return names and texts in two columns."""
    if not pairs:
        return []
    longest = max(len(name) for name, _ in pairs)
    lines: list[Line] = []
    for name, text in pairs:
        room = None if width is None else max(width - longest - 4, _LEAST_WIDTH)
        parts = [text] if room is None else wrap_prose(text, room) or [""]
        lines.append((Span(f"  {name}{' ' * (longest - len(name))}  ", "dim"), Span(parts[0], styles.get(name, ""))))
        lines += [line_of(" " * (longest + 4) + part) for part in parts[1:]]
    return lines


def _wrapped(text: str, width: int | None, style: str = "") -> list[Line]:
    """Return a text set in, wrapped to the width."""
    parts = [text] if width is None else wrap_prose(text, max(width - 4, _LEAST_WIDTH)) or [""]
    return [(Span("    " if position else "  "), Span(part, style)) for position, part in enumerate(parts)]
