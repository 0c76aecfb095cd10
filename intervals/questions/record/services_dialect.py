"""How a site's file of service records is written, so that one row more looks like those that people typed.

In: the file and what site.yaml says of it. Out: `Dialect`, which turns records into the bytes of their rows. Refuses (CLI164) a file that
no row can be appended to as text, and a record that has no place in its columns or its encoding.
"""

from __future__ import annotations

import codecs
import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from io import StringIO
from pathlib import Path
from typing import Literal, NamedTuple

from intervals.problems import Problem, RequestProblemError
from intervals.questions.record.date_form import DateForm, date_form_of
from intervals.readings.files.csv_head import CsvShape, read_shape
from intervals.readings.files.open_log import TEXT_SUFFIXES
from intervals.readings.found_columns import Header
from intervals.readings.parse_numbers import Marks, sniff_marks
from intervals.readings.plan import csv_options
from intervals.readings.records.record_columns import header_score
from intervals.safe_cells import defused
from intervals.site.model import Site
from intervals.site.sources import RECORD_COLUMNS, OutcomeWord

CANNOT_APPEND = "CLI164"
_NEEDED = ("at", "engine", "task")
_FIGURES = ("hour_meter_h", "until_h", "hours_h")
_NO_DECIMALS_LOST = 6
_ONE_MORE = "."
_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


class RecordRow(NamedTuple):
    """What a row of the service records says, by canonical ids.

    Attributes:
        at: the instant.
        engine: engine id.
        task: task id, or `set.task`.
        outcome: what became of the work.
        hour_meter_h: meter reading, h, or None.
        done_by: who did it.
        note: remark.
        ref: code of the card.
        until_h: meter reading that a deferral holds to, h, or None.
        until_date: last day of a deferral, or None.
        approved_by: who approved a deferral.
    """

    at: datetime
    engine: str
    task: str
    outcome: OutcomeWord
    hour_meter_h: float | None = None
    done_by: str = ""
    note: str = ""
    ref: str = ""
    until_h: float | None = None
    until_date: date | None = None
    approved_by: str = ""


@dataclass(frozen=True)
class Dialect:
    """How the file is written.

    Attributes:
        site: the site.
        path: the file.
        exists: whether it is there, with a header.
        columns: place of each canonical column that it has.
        width: number of fields of a row.
        separator: what parts the fields.
        decimal: mark before the decimals.
        encoding: codec of a row, without byte order mark.
        line_end: what ends a row.
        ends_open: whether the last row is not ended yet.
        quotes_all: whether every field stands in quotes.
        dates: how times are written.
    """

    site: Site
    path: Path
    exists: bool
    columns: Mapping[str, int]
    width: int
    separator: str
    decimal: str
    encoding: str
    line_end: str
    ends_open: bool
    quotes_all: bool
    dates: DateForm

    def appended(self, rows: Sequence[RecordRow], now: datetime) -> bytes:
        """Return the bytes that are appended to the file for some records.

        Args:
            rows: the records.
            now: this moment.

        Raises:
            RequestProblemError: a record has no place in the columns or the encoding (CLI164).
        """
        text = StringIO()
        quoting: Literal[0, 1] = csv.QUOTE_ALL if self.quotes_all else csv.QUOTE_MINIMAL
        writer = csv.writer(text, delimiter=self.separator, lineterminator=self.line_end, quoting=quoting)
        if not self.exists:
            writer.writerow(self._header())
        elif self.ends_open:
            text.write(self.line_end)
        for row in rows:
            writer.writerow(self._cells(row, now))
        try:
            return text.getvalue().encode(self.encoding)
        except UnicodeEncodeError as error:
            wrong = error.object[error.start]
            raise _refused(
                self.path,
                f'the file is in {self.encoding}, which has no character "{wrong}"',
                "write it in other letters, or save the file as UTF-8",
            ) from None

    def _header(self) -> list[str]:
        """Return the header of a file that is not there yet."""
        names = self.site.services.columns
        return [names.get(name, name) for name in RECORD_COLUMNS]

    def _cells(self, row: RecordRow, now: datetime) -> list[str]:
        """Return the cells of a row in the order of the file."""
        given = {
            "at": self.dates.write_time(row.at, self.site.zone, now),
            "engine": spelled_engine(self.site, row.engine),
            "task": spelled_task(self.site, row.task),
            "outcome": self._spelled_outcome(row.outcome),
            "hour_meter_h": self._figure(row.hour_meter_h),
            "until_h": self._figure(row.until_h),
            "until_date": "" if row.until_date is None else self.dates.write_day(row.until_date),
            **{name: _plain(getattr(row, name)) for name in ("done_by", "note", "ref", "approved_by")},
        }
        missing = [name for name, cell in given.items() if cell and name not in self.columns and name in self._stated_by(row)]
        if missing:
            named = ", ".join(missing)
            fix = f"add a column for it to its header, or name the one that it has: services: {{columns: {{{missing[0]}: ..}}}}"
            why = "could not be taken back, nor kept apart from one handed in twice" if missing == ["ref"] else "means something else"
            raise _refused(self.path, f"the file has no column for {named}, without which a record that is {row.outcome} {why}", fix)
        cells = [""] * self.width
        for name, cell in given.items():
            if name in self.columns:
                cells[self.columns[name]] = cell
        return cells

    def _stated_by(self, row: RecordRow) -> tuple[str, ...]:
        """Return the columns without which a row would mean something else, or could not be found again to be taken back."""
        if row.outcome == "done":
            return ("ref",)
        more = {"void": ("ref",), "deferred": ("until_h", "until_date", "approved_by"), "partial": ("ref",)}[row.outcome]
        return ("outcome", *more)

    def _spelled_outcome(self, outcome: OutcomeWord) -> str:
        """Return an outcome by the word that the file has for it."""
        names = self.site.services.outcome_names or {}
        return next((word for word, meant in names.items() if meant == outcome), outcome)

    def _figure(self, value: float | None) -> str:
        """Return a figure with the file's decimal mark."""
        if value is None:
            return ""
        text = f"{value:.{_NO_DECIMALS_LOST}f}".rstrip("0").rstrip(".")
        return (text if "." in text else f"{text}.0").replace(".", self.decimal)


def dialect_of(site: Site) -> Dialect:
    """Return how the service records of a site are written.

    Raises:
        RequestProblemError: rows cannot be appended to the file: a workbook, a Parquet file, a file that is no text (CLI164).
    """
    source = site.services
    path = site.folder / source.file
    if path.suffix.lower() not in TEXT_SUFFIXES:
        fix = "save it as CSV and name that file under services in site.yaml; or type the row yourself"
        raise _refused(path, f"a row cannot be appended to a file of the kind {path.suffix or 'without an ending'}", fix)
    stated = source.csv
    if not path.is_file() or not path.stat().st_size:
        places = {name: place for place, name in enumerate(RECORD_COLUMNS)}
        separator, decimal = (stated.separator if stated else None) or ",", (stated.decimal if stated else None) or "."
        encoding = (stated.encoding if stated else None) or "utf-8"
        form = date_form_of((), source.timestamp_format)
        return Dialect(site, path, False, places, len(places), separator, decimal, encoding, "\n", False, False, form)
    names = {canonical: source.columns.get(canonical, canonical) for canonical in RECORD_COLUMNS}
    shape = read_shape(path, csv_options(stated), header_score(names, _NEEDED))
    header = Header(shape.header)
    columns = {canonical: found[0] for canonical, name in names.items() if (found := header.find(name))}
    missing = [names[name] for name in _NEEDED if name not in columns]
    if missing:
        raise _refused(path, f"its header has no column {', '.join(missing)}", "map it under services: {columns: ..} in site.yaml")
    data = path.read_bytes()
    encoding = _encoding_of(data, shape, stated.encoding if stated else None)
    text = data.decode(encoding, errors="replace")
    rows = _rows_of(text, shape)
    if _ends_in_quotes(text, shape):
        fix = "close the quotes of its last row with one more quotation mark"
        raise _refused(path, "quotes are opened in it and not closed: a row appended would become part of the last one", fix)
    marks = sniff_marks(row[columns[name]] for name in _FIGURES if name in columns for row in rows if columns[name] < len(row))
    decimal = (stated.decimal if stated else None) or (marks or Marks()).decimal
    at = columns["at"]
    return Dialect(
        site=site,
        path=path,
        exists=True,
        columns=columns,
        width=max(shape.width, len(shape.header)),
        separator=shape.separator,
        decimal=decimal,
        encoding=encoding,
        line_end=_line_end_of(text),
        ends_open=not text.endswith(("\n", "\r")),
        quotes_all=_quotes_all(text, shape),
        dates=date_form_of([row[at] for row in rows if at < len(row)], source.timestamp_format),
    )


def spelled_engine(site: Site, engine: str) -> str:
    """Return an engine by the word that the service records have for it alone, else its id."""
    names = site.services.engine_names or {}
    return next((word for word, meant in names.items() if meant in (engine, (engine,))), engine)


def spelled_task(site: Site, task: str) -> str:
    """Return a task by the word that the service records have for it alone, else its id."""
    names = site.services.task_names or {}
    return next((word for word, meant in names.items() if meant in (task, (task,))), task)


def _plain(text: str) -> str:
    """Return text as one line that no spreadsheet runs."""
    return str(defused(" ".join(text.split())))


def _encoding_of(data: bytes, shape: CsvShape, stated: str | None) -> str:
    """Return the codec by which more of the file is written, without a mark of its own."""
    for mark, codec in _BOMS:
        if data.startswith(mark):
            return codec
    found = (stated or shape.encoding or "").lower()
    if found:
        name = codecs.lookup(found).name
        return {"utf-16": "utf-16-le", "utf-32": "utf-32-le", "utf-8-sig": "utf-8"}.get(name, name)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _line_end_of(text: str) -> str:
    """Return what ends the last row that is ended; a line feed where none is."""
    last = max(text.rfind("\n"), text.rfind("\r"))
    if last > 0 and text[last - 1 : last + 1] == "\r\n":
        return "\r\n"
    return "\r" if "\r" in text and "\n" not in text else "\n"


def _rows_of(text: str, shape: CsvShape) -> list[list[str]]:
    """Return the rows of the file after its header, as far as they can be parted."""
    return list(csv.reader(_lines_of_shape(text, shape), delimiter=shape.separator))


def _lines_of_shape(text: str, shape: CsvShape) -> list[str]:
    """Return the lines of the file after its header, without blank ones and remarks."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[shape.header_line :]
    return [line for line in lines if line.strip() and not (shape.comment and line.startswith(shape.comment))]


def _ends_in_quotes(text: str, shape: CsvShape) -> bool:
    """Tell whether the last row opens quotes that it does not close: one row more is no row of its own then."""
    rows: list[list[str]] = [*csv.reader([*_lines_of_shape(text, shape), _ONE_MORE], delimiter=shape.separator)]
    return rows[-1] != [_ONE_MORE]


def _quotes_all(text: str, shape: CsvShape) -> bool:
    """Tell whether every field of the last row stands in quotes."""
    line = next((line for line in reversed(text.splitlines()) if line.strip()), "")
    return line.startswith('"') and line.endswith('"') and line.count(f'"{shape.separator}"') == max(len(shape.header), shape.width) - 1


def _refused(path: Path, text: str, fix: str) -> RequestProblemError:
    """Return the refusal of a file that no row is appended to."""
    return RequestProblemError([Problem(CANNOT_APPEND, str(path), None, None, text, fix)])


__all__ = ["CANNOT_APPEND", "Dialect", "RecordRow", "dialect_of", "spelled_engine", "spelled_task"]
