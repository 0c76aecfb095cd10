"""Parts of a readable report that more than one report has: skipped occurrences, faults of the data, the month's figure.

In: the entries. Out: lines. A long list is cut, and says so: "showing 10 of 214".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from intervals.faults import FAULT_KINDS
from intervals.figures import count_of, percentage
from intervals.findings import Compliance, FaultLine, Occurrence, RecordsWarning, Skipped
from intervals.reports.columns import Column, lay_out
from intervals.reports.lines import Line, Piece, line_of, printable
from intervals.reports.spellings import ToldFault, told_once

_MOST_SHOWN = 10
_MOST_OCCURRENCES = 50
_OF_RECORDS = frozenset(
    {"unreadable_record", "unknown_task", "record_in_future", "void_without_record", "deferral_not_approved", "deferral_without_end"}
)
"""Each of these decides what counts as done."""
_SKIPPED_COLUMNS = (
    Column("engine", is_plain=True),
    Column("task", is_plain=True),
    Column("skipped", is_plain=True),
    Column("on"),
    Column("still"),
    Column("how", is_plain=True),
)
_OCCURRENCE_COLUMNS = (
    Column("engine", is_plain=True),
    Column("task", is_plain=True),
    Column("met", is_plain=True),
    Column("line on"),
    Column("done on"),
    Column("how", is_plain=True),
)


def skipped_lines(skipped: Sequence[Skipped], *, width: int | None = None) -> list[Line]:
    """Return the occurrences that were never done, those still open first.

    Args:
        skipped: the occurrences.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        A heading and at most ten rows, or nothing where none was skipped.
    """
    if not skipped:
        return []
    # sorted keeps the order given within the open and within the closed ones
    ordered = sorted(skipped, key=lambda each: not each.open)
    rows = [
        [
            Piece(printable(each.engine)),
            Piece(printable(each.task)),
            Piece(f"x {each.kind.replace('_', ' ')}", "red" if each.open else ""),
            Piece(each.at),
            Piece("open" if each.open else "closed"),
            Piece(printable(each.text)),
        ]
        for each in ordered[:_MOST_SHOWN]
    ]
    still_open = sum(each.open for each in skipped)
    heading = f"Skipped: {count_of(len(skipped), 'occurrence')}, {still_open:,} still open{_cut(len(skipped), len(rows))}"
    return [line_of(heading, "bold"), *lay_out(_SKIPPED_COLUMNS, rows, width=width, heading_style="dim")]


def fault_lines(faults: Sequence[FaultLine], *, width: int | None = None) -> list[Line]:
    """Return what is wrong in the data, by kind, each with its count, its meaning and its first places.

    Args:
        faults: the faults; those of one word that is not known are told once.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        A heading and the kinds in the order of their first fault, or nothing where there are none.
    """
    if not faults:
        return []
    by_kind: dict[str, list[ToldFault]] = {}
    for told in told_once(faults):
        by_kind.setdefault(told.fault.kind, []).append(told)
    counts = Counter(fault.kind for fault in faults)
    shown = _first_of_each(by_kind)
    # one that is told once for all of its rows shows them all
    is_cut = any(len(shown[kind]) < len(entries) for kind, entries in by_kind.items())
    total_shown = sum(told.rows for entries in shown.values() for told in entries) if is_cut else len(faults)
    lines = [line_of(f"Faults in the data: {len(faults):,}{_cut(len(faults), total_shown)}", "bold")]
    for kind in by_kind:
        meaning = FAULT_KINDS.get(kind)
        lines.append((Piece(f"{kind}  {counts[kind]:,}", "yellow"), Piece(f"  {meaning}" if meaning else "")))
        rows = [[Piece(f"  {_place(told.fault)}"), Piece(printable(told.text))] for told in shown[kind]]
        lines += lay_out((Column(""), Column("")), rows, width=width)
    return lines


def warning_lines(warnings: Sequence[RecordsWarning]) -> list[Line]:
    """Return what must be read before anything that rests on the service records: a line each, marked."""
    return [(Piece("! ", "bold red"), Piece(printable(each.text), "bold red")) for each in warnings]


def _first_of_each(by_kind: Mapping[str, Sequence[ToldFault]]) -> dict[str, Sequence[ToldFault]]:
    """Return the faults to show: about ten in all and one of each kind at least, and more of those that take a record of work done away."""
    each_shows = max(1, _MOST_SHOWN // len(by_kind))
    spare = _MOST_SHOWN - sum(min(each_shows, len(entries)) for entries in by_kind.values())
    shown = {}
    for kind, entries in by_kind.items():
        count = each_shows
        if kind in _OF_RECORDS:
            count = max(count, _MOST_SHOWN)
        elif spare > 0 and len(entries) > count:
            count = min(len(entries), count + spare)
            spare -= count - each_shows
        shown[kind] = entries[:count]
    return shown


def compliance_lines(compliance: Compliance | None, *, width: int | None = None) -> list[Line]:
    """Return the month's figure, and every occurrence that was not simply on time.

    Args:
        compliance: the month, or None where none was asked for.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        A heading and rows, or nothing where no month was asked for.
    """
    if compliance is None:
        return []
    counted = compliance.on_time + compliance.late + compliance.missed + compliance.open
    figure = "no figure, nothing fell due" if compliance.figure is None else percentage(compliance.figure)
    parts = ", ".join(f"{getattr(compliance, met):,} {met}" for met in ("late", "missed", "open"))
    heading = f"Compliance in {compliance.month}: {figure}"
    sum_line = f"{compliance.on_time:,} on time of {counted:,}; {parts}; {compliance.pending:,} pending, not in the figure"
    told = [each for each in compliance.occurrences if each.met != "on_time" or each.deferred]
    rows = [_occurrence_row(each) for each in told[:_MOST_OCCURRENCES]]
    table = lay_out(_OCCURRENCE_COLUMNS, rows, width=width, heading_style="dim")
    return [line_of(heading, "bold"), line_of(sum_line + _cut(len(told), len(rows))), *table]


def _occurrence_row(occurrence: Occurrence) -> list[Piece]:
    """Return the cells of one occurrence."""
    met = occurrence.met.replace("_", " ") + (", deferred" if occurrence.deferred else "")
    return [
        Piece(printable(occurrence.engine)),
        Piece(printable(occurrence.task)),
        Piece(met),
        Piece(occurrence.line_on or "-"),
        Piece(occurrence.done_on or "-"),
        Piece(printable(occurrence.text)),
    ]


def _place(fault: FaultLine) -> str:
    """Return the engine and the place of a fault."""
    place = fault.file or ""
    if fault.file and fault.line is not None:
        place = f"{fault.file}:{fault.line}"
    return printable(" ".join(part for part in (fault.engine or "", place) if part))


def _cut(total: int, shown: int) -> str:
    """Return what to say where a list is cut."""
    return f"; showing {shown:,} of {total:,}, all of them with --format json" if shown < total else ""
