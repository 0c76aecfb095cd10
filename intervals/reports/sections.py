"""Parts of a readable report that more than one report has: skipped occurrences, faults of the data, the month's figure.

In: the entries. Out: lines. A long list is cut, and says so: "showing 10 of 214".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from intervals.faults import FAULT_KINDS
from intervals.findings import FaultLine, OfRuleSet, RecordsWarning, Skipped
from intervals.occurrences import Compliance, Occurrence, WeightCount
from intervals.reports.lines import Line, Span, line_of, printable
from intervals.reports.text_columns import Column, lay_out
from intervals.reports.unknown_words import ListedFault, one_per_word
from intervals.shown_numbers import count_of, percentage

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


def _task_of(found: OfRuleSet) -> str:
    """Return the id of a task alone."""
    return found.task


def skipped_lines(skipped: Sequence[Skipped], *, width: int | None = None, name_of: Callable[[OfRuleSet], str] = _task_of) -> list[Line]:
    """Return the occurrences that were never done, those still open first.

    Args:
        skipped: the occurrences.
        width: columns of the terminal, or None where lines may be as long as they need.
        name_of: says how a task is named; by its id where nothing else is wanted.

    Returns:
        A heading and at most ten rows, or nothing where none was skipped.
    """
    if not skipped:
        return []
    # sorted keeps the order given within the open and within the closed ones
    ordered = sorted(skipped, key=lambda each: not each.open)
    rows = [
        [
            Span(printable(each.engine)),
            Span(printable(name_of(each))),
            Span(f"x {each.kind.replace('_', ' ')}", "red" if each.open else ""),
            Span(each.at),
            Span("open" if each.open else "closed"),
            Span(printable(each.text)),
        ]
        for each in ordered[:_MOST_SHOWN]
    ]
    still_open = sum(each.open for each in skipped)
    heading = f"Skipped: {count_of(len(skipped), 'occurrence')}, {still_open:,} still open{_cut(len(skipped), len(rows))}"
    return [line_of(heading, "bold"), *lay_out(_SKIPPED_COLUMNS, rows, width=width, heading_style="dim")]


def fault_lines(faults: Sequence[FaultLine], *, width: int | None = None) -> list[Line]:
    """Return what is wrong in the data, by kind, each with its count, its meaning and its first places.

    Args:
        faults: the faults; those of one word that is not known are shown once.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        A heading and the kinds in the order of their first fault, or nothing where there are none.
    """
    if not faults:
        return []
    by_kind: dict[str, list[ListedFault]] = {}
    for listed in one_per_word(faults):
        by_kind.setdefault(listed.fault.kind, []).append(listed)
    # a row of several engines is one row
    counts = {kind: sum(listed.rows for listed in entries) for kind, entries in by_kind.items()}
    count = sum(counts.values())
    shown = _first_of_each(by_kind)
    # one that is shown once for all of its rows stands for them all
    is_cut = any(len(shown[kind]) < len(entries) for kind, entries in by_kind.items())
    total_shown = sum(listed.rows for entries in shown.values() for listed in entries) if is_cut else count
    lines = [line_of(f"Faults in the data: {count:,}{_cut(count, total_shown)}", "bold")]
    for kind in by_kind:
        meaning = FAULT_KINDS.get(kind)
        lines.append((Span(f"{kind}  {counts[kind]:,}", "yellow"), Span(f"  {meaning}" if meaning else "")))
        rows = [[Span(f"  {_place(listed.fault)}"), Span(printable(listed.text))] for listed in shown[kind]]
        lines += lay_out((Column(""), Column("")), rows, width=width)
    return lines


def warning_lines(warnings: Sequence[RecordsWarning]) -> list[Line]:
    """Return what must be read before anything that rests on the service records: a line each, marked."""
    return [(Span("! ", "bold red"), Span(printable(each.text), "bold red")) for each in warnings]


def _first_of_each(by_kind: Mapping[str, Sequence[ListedFault]]) -> dict[str, Sequence[ListedFault]]:
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


def compliance_lines(
    compliance: Compliance | None, *, width: int | None = None, name_of: Callable[[OfRuleSet], str] = _task_of
) -> list[Line]:
    """Return the month's figure, and every occurrence that was not simply on time.

    Args:
        compliance: the month, or None where none was asked for.
        width: columns of the terminal, or None where lines may be as long as they need.
        name_of: says how a task is named; by its id where nothing else is wanted.

    Returns:
        A heading and rows, or nothing where no month was asked for.
    """
    if compliance is None:
        return []
    heading = f"Compliance in {compliance.month}: {figure_text(compliance)}"
    sum_line = f"{_counted_text(compliance)}; not in the figure: {_listed_text(compliance)}"
    listed = [each for each in compliance.occurrences if each.met not in ("on_time", "early") or each.deferred]
    rows = [_occurrence_row(each, name_of(each)) for each in listed[:_MOST_OCCURRENCES]]
    table = lay_out(_OCCURRENCE_COLUMNS, rows, width=width, heading_style="dim")
    weights = [line_of(f"by weight: {_weights_text(compliance)}")] if len(compliance.by_weight) > 1 else []
    return [line_of(heading, "bold"), line_of(sum_line + _cut(len(listed), len(rows))), *weights, *table]


def figure_text(compliance: Compliance) -> str:
    """Return a month's figure in words; without one, why there is none."""
    if compliance.figure is not None:
        return percentage(compliance.figure)
    return f"no figure, nothing decided ({_listed_text(compliance)})" if compliance.occurrences else "no figure, nothing fell due"


def _counted_text(compliance: Compliance | WeightCount) -> str:
    """Return what is in a figure: `1 on time of 3; 2 late (1 missed, 1 open)`."""
    parts = [f"{getattr(compliance, met):,} {met}" for met in ("missed", "open") if getattr(compliance, met)]
    of_late = f" ({', '.join(parts)})" if parts else ""
    return f"{compliance.on_time:,} on time of {compliance.on_time + compliance.late:,}; {compliance.late:,} late{of_late}"


def _listed_text(compliance: Compliance) -> str:
    """Return what is listed and not in the figure: `3 pending, 1 deferred, 12 early`."""
    return ", ".join(f"{getattr(compliance, met):,} {met}" for met in ("pending", "deferred", "early"))


def _weights_text(compliance: Compliance) -> str:
    """Return the figure of each weight, the worst first; those without one last."""
    rows = sorted(compliance.by_weight.items(), key=lambda row: 2.0 if row[1].figure is None else row[1].figure)
    return "; ".join(
        f"{weight} no figure" if count.figure is None else f"{weight} {percentage(count.figure)} ({_counted_text(count)})"
        for weight, count in rows
    )


def _occurrence_row(occurrence: Occurrence, name: str) -> list[Span]:
    """Return the cells of one occurrence."""
    met = met_words(occurrence)
    return [
        Span(printable(occurrence.engine)),
        Span(printable(name)),
        Span(met),
        Span(occurrence.line_on or "-"),
        Span(occurrence.done_on or "-"),
        Span(printable(occurrence.text)),
    ]


def met_words(occurrence: Occurrence) -> str:
    """Return how an occurrence was met, in the fewest words: `late, open`, `on time, deferred`."""
    listed = [occurrence.met.replace("_", " ")]
    listed += ["open"] if occurrence.open and occurrence.met == "late" else []
    listed += ["deferred"] if occurrence.deferred and occurrence.met != "deferred" else []
    return ", ".join(listed)


def _place(fault: FaultLine) -> str:
    """Return the engine and the place of a fault."""
    place = fault.file or ""
    if fault.file and fault.line is not None:
        place = f"{fault.file}:{fault.line}"
    return printable(" ".join(part for part in (fault.engine or "", place) if part))


def _cut(total: int, shown: int) -> str:
    """Return what to say where a list is cut."""
    return f"; showing {shown:,} of {total:,}, all of them with --format json" if shown < total else ""
