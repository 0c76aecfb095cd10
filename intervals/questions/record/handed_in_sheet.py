"""A sheet typed from paper: one row per step, rows of kind `head` for the rest, and its card from the site's folder.

In: a CSV or XLSX file, and where cards are. Out: `HandedIn`. Refuses (CLI160) cells that are not what their column holds, with their line,
and (CLI162) a card that is not there.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, time
from io import BytesIO
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import read_code
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card, read_card
from intervals.questions.record.handed_in import CANNOT_BE_READ, HANDED_IN_SCHEMA, HandedIn, read_bytes, refused
from intervals.questions.record.services_dialect import dialect_of
from intervals.questions.record.typed_cells import answer_cell, figure_cell, grade_cell, is_yes, time_cell
from intervals.questions.record.whole_rows import CLOSE_THEM, OPEN_QUOTES, OpenQuotesError, whole_rows
from intervals.readings.files.encodings import text_of_bytes
from intervals.site.model import Site

NO_CARD = "CLI162"
HEAD = "head"
_AS_FOUND = "as_found:"
_STEP_CELLS = ("answer", "started_at", "ended_at", "value", "label", "initials", "remark", "reason", "at")
_HEAD_CELLS = ("by", "released_by", "hour_meter_h", "started_at", "ended_at", "remarks")
_TIMES = ("started_at", "ended_at", "at")
_NOT_DONE = "not_done:"
_NEEDED = ("card", "step", "kind", "value")
_UTF_16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
Row = tuple[int, dict[str, str]]


def read_sheet(site: Site, path: Path, card: Path | None) -> HandedIn:
    """Return what a sheet hands in.

    Args:
        site: the site; its cards are in its folder `cards`.
        path: the sheet.
        card: the card, where it was named.

    Raises:
        RequestProblemError: a cell is not what its column holds, or the sheet names no card (CLI160); the card is not there (CLI162).
    """
    rows = [*(_xlsx_rows(path) if path.suffix.lower() == ".xlsx" else _csv_rows(path))]
    codes = {row["card"] for _, row in rows if row.get("card")}
    if len(codes) != 1:
        what = "names no card" if not codes else f"names several cards: {', '.join(sorted(codes))}"
        raise refused(path, f"the sheet {what} in its column card", "type into the sheet made for the card: intervals card --sheet")
    (typed,) = codes
    code = read_code(typed)
    if code is None:
        raise refused(path, f'"{typed}" is no code of a card', "four groups of four letters and digits, as the card shows it")
    made = _card(site, path, code, card)
    return _handed_in(path, rows, made, lambda: _is_month_first(site))


def _is_month_first(site: Site) -> bool | None:
    """Tell how the site's service records write days with slashes; None where they write none."""
    moment = dialect_of(site).dates.moment
    return {"%m/%d": True, "%d/%m": False}.get(moment[: len("%m/%d")])


def _handed_in(path: Path, rows: Sequence[Row], card: Card, is_month_first: Callable[[], bool | None]) -> HandedIn:
    """Return what rows hand in of a card; refuse all cells that cannot be used."""
    document: dict[str, Any] = {"schema": HANDED_IN_SCHEMA, "card": card, "steps": {}, "as_found": {}, "not_done": []}
    lines: dict[tuple[str, ...], int] = {}
    problems: list[Problem] = []

    def read(name: str, text: str) -> str:
        return _cell(name, text, card.stop.on[:10], is_month_first)

    for line, row in rows:
        name, value = row.get("step", ""), row.get("value", "")
        if row.get("kind") == HEAD and name.startswith(_NOT_DONE):
            problems += _take_not_done(document, name.removeprefix(_NOT_DONE), value, path, line)
            place: tuple[str, ...] = (name,) if value else ()
        elif row.get("kind") == HEAD:
            place = _take_head(document, name, value, read)
        else:
            place = _take_step(document, name, {key: read(key, row[key]) for key in _STEP_CELLS if row.get(key)})
        if place in lines:
            problems.append(_twice(path, line, lines[place], name))
        elif place:
            lines[place] = line
    known = {step.id for step in card.steps}
    problems += [
        Problem(CANNOT_BE_READ, str(path), lines["steps", name], None, f'the card has no step "{name}"', "leave the column step as it is")
        for name in document["steps"]
        if name not in known
    ]
    try:
        handed = HandedIn.model_validate(document)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            place = tuple(map(str, each["loc"]))
            near = next((lines[place[:size]] for size in (2, 1) if place[:size] in lines), None)
            text = f'{place[-1]}: {each["msg"]}; got "{each["input"]}"'
            problems.append(Problem(CANNOT_BE_READ, str(path), near, None, text, _fix_of(place[-1])))
        raise RequestProblemError(problems) from None
    if problems:
        raise RequestProblemError(problems)
    return handed


def _twice(path: Path, line: int, other: int, name: str) -> Problem:
    """Return the problem of a row that says something of what another row said before: neither of the two counts more."""
    return Problem(
        CANNOT_BE_READ, str(path), line, None, f'"{name}" is filled in before, on line {other}', "leave one of the two rows empty"
    )


def _take_step(document: dict[str, Any], name: str, cells: dict[str, str]) -> tuple[str, ...]:
    """Put what was typed of a step into the document, and return its place there; no place where nothing was typed."""
    if not (name and cells):
        return ()
    if cells.get("answer") == "not_applicable":
        # a sheet has one column for words
        cells.setdefault("reason", cells.get("remark", ""))
    document["steps"][name] = cells
    return "steps", name


def _fix_of(name: str) -> str:
    """Return how a cell is to be typed."""
    return "write for example 2026-11-02 07:14, or 07:14" if name in _TIMES else "type it as the sheet's own rows show it"


def _take_head(document: dict[str, Any], name: str, value: str, read: Callable[[str, str], str]) -> tuple[str, ...]:
    """Put a row about the whole card into the document, and return its place there; no place where nothing was typed."""
    if not value:
        return ()
    if name.startswith(_AS_FOUND):
        document["as_found"][name.removeprefix(_AS_FOUND)] = grade_cell(value)
        return "as_found", name.removeprefix(_AS_FOUND)
    if name in _HEAD_CELLS:
        document[name] = read(name, value)
    return (name,)


def _take_not_done(document: dict[str, Any], task: str, value: str, path: Path, line: int) -> list[Problem]:
    """Note a task that is said not to have been done; return what is wrong with a cell that says neither yes nor no."""
    said = is_yes(value) if value else False
    if said is None:
        text = f'not_done of {task}: neither yes nor no; got "{value}"'
        return [Problem(CANNOT_BE_READ, str(path), line, None, text, "write yes where it was not done; else leave it empty")]
    document["not_done"] += [task] if said else []
    return []


def _cell(name: str, text: str, day: str, is_month_first: Callable[[], bool | None]) -> str:
    """Return a cell as the document has it: figures with a point, answers by their keys, times of day on the day of the stop."""
    if name in ("value", "hour_meter_h"):
        return figure_cell(text)
    if name == "answer":
        return answer_cell(text)
    return time_cell(text, day, is_month_first) if name in _TIMES else text


def _card(site: Site, path: Path, code: str, named: Path | None) -> Card:
    """Return the card of a sheet."""
    card = kept_card(site.folder, code) if named is None else read_card(named)
    if card is None:
        text = f"the site does not keep the card {code} of the sheet"
        raise RequestProblemError([Problem(NO_CARD, str(path), None, None, text, "name its file with --card FILE")])
    if card.code != code:
        raise refused(str(named), f"it is the card {card.code}; the sheet is of {code}", "name the card of the sheet")
    return card


def _csv_rows(path: Path) -> Iterator[Row]:
    """Yield the rows of a CSV file with their lines."""
    data = read_bytes(path)
    text = data.decode("utf-16", "replace") if data.startswith(_UTF_16) else text_of_bytes(data.removeprefix(codecs.BOM_UTF8))
    first = text.split("\n", 1)[0]
    separator = max((",", ";", "\t"), key=first.count)
    header: list[str] = []
    try:
        for line, cells in whole_rows(text, separator):
            if not header:
                header = _header(path, cells)
            else:
                yield line, _row(header, cells)
    except OpenQuotesError as error:
        raise RequestProblemError([Problem(CANNOT_BE_READ, str(path), error.line, None, OPEN_QUOTES, CLOSE_THEM)]) from None


def _xlsx_rows(path: Path) -> Iterator[Row]:
    """Yield the rows of the first sheet of a workbook."""
    from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415 - loaded only where there is such a file

    data = BytesIO(read_bytes(path))
    try:
        table = CalamineWorkbook.from_filelike(data).get_sheet_by_index(0).to_python(skip_empty_area=False)
    except (CalamineError, OSError) as error:
        raise refused(path, f"cannot be read as a workbook: {error}", "save it as .xlsx") from None
    header: list[str] = []
    for line, cells in enumerate(table, start=1):
        if not header:
            header = _header(path, [str(cell) for cell in cells])
        else:
            yield line, _row(header, [_text(cell) for cell in cells])


def _header(path: Path, cells: Sequence[str]) -> list[str]:
    """Return the names of the columns; refuse a sheet without those that are needed."""
    header = [cell.strip().casefold() for cell in cells]
    missing = [name for name in _NEEDED if name not in header]
    if missing:
        raise refused(
            path, f"the sheet has no column {', '.join(missing)}", "type into the sheet made for the card: intervals card --sheet"
        )
    return header


def _row(header: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """Return the cells of a row by column."""
    return {name: cell.strip() for name, cell in zip(header, cells, strict=False) if name}


def _text(cell: object) -> str:
    """Return a cell of a workbook as text."""
    if isinstance(cell, (datetime, date)):
        return cell.isoformat()
    if isinstance(cell, time):
        return cell.isoformat(timespec="minutes")
    if isinstance(cell, float):
        return f"{cell:.15g}"
    return "" if cell is None else str(cell)


__all__ = ["HEAD", "read_sheet"]
