"""The findings as a workbook: sheets for findings, reasons, skipped occurrences, faults and compliance.

In: `Findings`. Out: XLSX as bytes, the same bytes for the same findings. Figures are numbers, shares
are per cent, days are dates, times are the site's clock; a text that a spreadsheet would run is marked as text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import BytesIO
from typing import Any

from xlsxwriter import Workbook
from xlsxwriter.format import Format

from intervals.findings import Deferral, Findings
from intervals.questions.month.month_models import MonthFigure
from intervals.reports.check.due_words import deferral_end
from intervals.safe_cells import would_run
from intervals.urgency import by_urgency

MOST_ROWS = 1_048_575
_MOST_CHARACTERS = 32_767
_WIDEST, _NARROWEST = 60, 9
_DAY, _MOMENT = "yyyy-mm-dd", "yyyy-mm-dd hh:mm"
_SHARE, _SHARE_NEAR_LINE = "0.0%", "0.0000%"


class _Share(float):
    """A share of one, shown as per cent."""


class _DayOf(datetime):
    """A time of which the day is shown: it was looked up between two readings, and no minute of it is certain."""


Cell = str | float | int | bool | date | datetime | None
SheetRows = tuple[str, tuple[str, ...], Sequence[tuple[Cell, ...]]]
"""A sheet: its name, its headings, its rows."""


_OCCURRENCE_HEADINGS = (
    "month", "engine", "rule set", "task", "weight", "met", "open", "line on", "decided on", "done on", "consumed", "deferred", "text",
)  # fmt: skip


@dataclass(frozen=True)
class _Sheet:
    """One sheet: its name, its headings, its rows."""

    name: str
    headings: tuple[str, ...]
    rows: Sequence[tuple[Cell, ...]]


def findings_workbook(findings: Findings, history: Sequence[MonthFigure] = ()) -> bytes:
    """Return the findings as an XLSX file.

    Args:
        findings: what was found.
        history: compliance of the months before and of the month, where it is known.

    Returns:
        The file's bytes. Headings are frozen and every sheet has filters.
    """
    return workbook_of(finding_sheets(findings, history), title=f"{findings.site}, as of {findings.as_of}", as_of=findings.as_of)


def workbook_of(sheets: Iterable[SheetRows], *, title: str, as_of: str) -> bytes:
    """Return an XLSX file of some sheets.

    Args:
        sheets: name, headings and rows of each.
        title: of the file.
        as_of: the moment that it is of, ISO.

    Returns:
        The file's bytes. Headings are frozen and every sheet has filters.
    """
    out = BytesIO()
    with Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}) as book:
        book.set_properties({"title": title, "created": datetime.fromisoformat(as_of).replace(tzinfo=None)})
        writer = _Writer(book)
        for name, headings, rows in sheets:
            writer.write(_Sheet(name, headings, rows))
    return out.getvalue()


def finding_sheets(findings: Findings, history: Sequence[MonthFigure] = ()) -> Iterator[SheetRows]:
    """Yield name, headings and rows of every sheet of one site's findings.

    Args:
        findings: what was found.
        history: as for `findings_workbook`.
    """
    return ((sheet.name, sheet.headings, sheet.rows) for sheet in _sheets(findings, history))


def _sheets(findings: Findings, history: Sequence[MonthFigure]) -> Iterator[_Sheet]:
    """Yield every sheet; what must be read before the others is the first one."""
    if findings.warnings:
        warning_rows = [(each.text, each.read, each.used, each.set_aside) for each in findings.warnings]
        yield _Sheet("read first", ("service records", "rows read", "used", "set aside"), warning_rows)
    yield _Sheet(
        "findings",
        (
            "engine", "rule set", "task", "title", "standing", "within tolerance", "governing", "unit", "used", "allowed", "remaining",
            "consumed", "past by", "due on", "early", "late", "deferred until", "crossed at", "last done at", "last done h", "record",
            "unknown hours h", "why",
        ),
        list(_finding_rows(findings)),
    )  # fmt: skip
    if findings.planned_late:
        late = [
            (each.engine, each.ruleset, each.task, _day(each.planned_on), _day(each.limit), each.text) for each in findings.planned_late
        ]
        yield _Sheet("planned late", ("engine", "rule set", "task", "planned on", "line", "text"), late)
    yield _Sheet(
        "reasons",
        ("engine", "rule set", "task", "rule", "text", "facts", "source"),
        [
            (each.engine, each.ruleset, each.task, reason.rule, reason.text, _facts(reason.facts), reason.source)
            for each in findings.findings
            for reason in each.reasons
        ],
    )
    yield _Sheet(
        "skipped",
        ("engine", "rule set", "task", "kind", "open", "at", "text", "rule"),
        [
            (each.engine, each.ruleset, each.task, _spoken(each.kind), each.open, _day(each.at), each.text, each.rule)
            for each in findings.skipped
        ],
    )
    yield _Sheet(
        "faults",
        ("engine", "kind", "file", "line", "at", "text"),
        [(each.engine, each.kind, each.file, each.line, _moment(each.at), each.text) for each in findings.faults],
    )
    yield _Sheet(
        "compliance",
        _OCCURRENCE_HEADINGS,
        [] if findings.compliance is None else list(_occurrence_rows(findings)),
    )
    if history:
        yield _months_sheet(history)


def _months_sheet(history: Sequence[MonthFigure]) -> _Sheet:
    """Return the sheet of compliance month by month."""
    return _Sheet(
        "months",
        ("month", "records", "counted", "on time", "late", "missed", "open", "pending", "deferred", "early", "share on time"),
        [
            (date.fromisoformat(f"{each.month}-01"), each.told, each.fell_due, each.on_time, each.late, each.missed, each.open,
             each.pending, each.deferred, each.early, _share(each.figure))
            for each in history
        ],
    )  # fmt: skip


def _finding_rows(findings: Findings) -> Iterator[tuple[Cell, ...]]:
    """Yield one row a finding, the most urgent first."""
    for each in by_urgency(findings.findings):
        leg, last, ahead = each.governing_leg, each.last_done, each.forecast
        yield (
            each.engine,
            each.ruleset,
            each.task,
            each.title,
            _spoken(each.standing),
            each.within_tolerance,
            each.governing,
            leg.unit if leg else None,
            leg.used if leg else None,
            leg.allowed if leg else None,
            leg.remaining if leg else None,
            _share(leg.consumed) if leg else None,
            each.past_by.value if each.past_by else None,
            _day(each.due_on),
            _day(ahead.early) if ahead else None,
            _day(ahead.late) if ahead else None,
            _deferred_until(each.deferred_until),
            _day_of(each.crossed_at),
            _day_of(last.at) if last else None,
            last.hour_meter_h if last else None,
            last.record if last else None,
            each.unknown_hours_h,
            each.reasons[0].text if each.reasons else None,
        )


def _occurrence_rows(findings: Findings) -> Iterator[tuple[Cell, ...]]:
    """Yield one row an occurrence of the month."""
    if findings.compliance is None:
        return
    month = date.fromisoformat(f"{findings.compliance.month}-01")
    for each in findings.compliance.occurrences:
        yield (
            month,
            each.engine,
            each.ruleset,
            each.task,
            each.weight,
            _spoken(each.met),
            each.open,
            _day(each.line_on),
            _day(each.decided_on),
            _day(each.done_on),
            _share(each.consumed),
            each.deferred,
            each.text,
        )


def _spoken(word: str) -> str:
    """Return a word of the documents as it is spoken."""
    return word.replace("_", " ")


def _share(value: float | None) -> _Share | None:
    """Return a share of one."""
    return None if value is None else _Share(value)


def _deferred_until(deferral: Deferral | None) -> Cell:
    """Return until when a deferral holds: a day where it names nothing else, else words."""
    if deferral is None:
        return None
    return _day(deferral.date) if deferral.hour_meter_h is None else deferral_end(deferral)


def _facts(facts: dict[str, Any]) -> str:
    """Return the figures of a reason as text."""
    return ", ".join(f"{name} = {'unknown' if value is None else value}" for name, value in facts.items())


def _day(text: str | None) -> date | None:
    """Return a day as a date."""
    return None if text is None else date.fromisoformat(text[:10])


def _moment(text: str | None) -> datetime | None:
    """Return a time as the site's clock shows it; a workbook knows no offsets."""
    return None if text is None else datetime.fromisoformat(text).replace(tzinfo=None)


def _day_of(text: str | None) -> datetime | None:
    """Return a time of which only the day is shown."""
    found = _moment(text)
    return None if found is None else _DayOf(*found.timetuple()[:6])


class _Writer:
    """Writes sheets into a workbook."""

    def __init__(self, book: Workbook) -> None:
        self._book = book
        self._head: Format = book.add_format({"bold": True, "bottom": 1, "valign": "top"})
        self._plain: Format = book.add_format({"valign": "top"})
        self._quoted: Format = book.add_format({"valign": "top", "quote_prefix": True})
        self._day: Format = book.add_format({"valign": "top", "num_format": _DAY})
        self._moment: Format = book.add_format({"valign": "top", "num_format": _MOMENT})
        self._share: Format = book.add_format({"valign": "top", "num_format": _SHARE})
        self._near_line: Format = book.add_format({"valign": "top", "num_format": _SHARE_NEAR_LINE})

    def write(self, sheet: _Sheet) -> None:
        """Write one sheet: headings frozen, filters on, columns as wide as they need."""
        page = self._book.add_worksheet(sheet.name)
        rows = sheet.rows[:MOST_ROWS]
        for column, heading in enumerate(sheet.headings):
            page.write_string(0, column, heading, self._head)
            widest = max((_width(row[column]) for row in rows), default=0)
            page.set_column(column, column, min(_WIDEST, max(_NARROWEST, len(heading) + 3, widest + 1)))
        for number, row in enumerate(rows, start=1):
            for column, cell in enumerate(row):
                self._cell(page, number, column, cell)
        page.freeze_panes(1, 0)
        page.autofilter(0, 0, len(rows), len(sheet.headings) - 1)
        page.set_landscape()
        page.set_paper(9)
        page.fit_to_pages(1, 0)
        page.repeat_rows(0)

    def _cell(self, page: Any, row: int, column: int, cell: Cell) -> None:  # noqa: ANN401 - the library has no types
        """Write one cell as what it is."""
        if cell is None:
            return
        if isinstance(cell, bool):
            page.write_boolean(row, column, cell, self._plain)
        elif isinstance(cell, datetime):
            page.write_datetime(row, column, cell, self._day if isinstance(cell, _DayOf) else self._moment)
        elif isinstance(cell, date):
            page.write_datetime(row, column, cell, self._day)
        elif isinstance(cell, _Share):
            # no share is shown as 100 % that is not: it would be rounded across its line
            page.write_number(row, column, cell, self._near_line if cell != 1.0 and round(cell, 3) == 1.0 else self._share)
        elif isinstance(cell, int | float):
            page.write_number(row, column, cell, self._plain)
        else:
            page.write_string(row, column, cell[:_MOST_CHARACTERS], self._quoted if would_run(cell) else self._plain)


def _width(cell: Cell) -> int:
    """Return how wide a cell is, in characters."""
    if isinstance(cell, datetime) and not isinstance(cell, _DayOf):
        return len(_MOMENT)
    return len(_DAY) if isinstance(cell, date) else len(str(cell)) if cell is not None else 0
