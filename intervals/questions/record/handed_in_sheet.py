"""A sheet typed from paper: one row per step, rows of kind `head` for the rest, and its card from the site's folder.

In: a CSV or XLSX file, and where cards are. Out: `HandedIn`. Refuses (CLI160) cells that are not what their column holds, with their line,
and (CLI162) a card that is not there.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import read_code
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card, read_card
from intervals.questions.record.handed_in import CANNOT_BE_READ, HANDED_IN_SCHEMA, HandedIn, read_bytes, refused
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
    return _handed_in(path, rows, made)


def _handed_in(path: Path, rows: Sequence[Row], card: Card) -> HandedIn:
    """Return what rows hand in of a card; refuse all cells that cannot be used."""
    document: dict[str, Any] = {"schema": HANDED_IN_SCHEMA, "card": card, "steps": {}, "as_found": {}, "not_done": []}
    lines: dict[tuple[str, ...], int] = {}
    day = card.stop.on[:10]
    for line, row in rows:
        name = row.get("step", "")
        if row.get("kind") == HEAD:
            place = _take_head(document, name, row.get("value", ""), day)
        else:
            place = _take_step(document, name, {key: _cell(key, row[key], day) for key in _STEP_CELLS if row.get(key)})
        if place:
            lines[place] = line
    known = {step.id for step in card.steps}
    problems = [
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
            problems.append(Problem(CANNOT_BE_READ, str(path), near, None, text, "type it as the sheet's own rows show it"))
        raise RequestProblemError(problems) from None
    if problems:
        raise RequestProblemError(problems)
    return handed


def _take_step(document: dict[str, Any], name: str, cells: dict[str, str]) -> tuple[str, ...]:
    """Put what was typed of a step into the document, and return its place there; no place where nothing was typed."""
    if not (name and cells):
        return ()
    if cells.get("answer") == "not_applicable":
        # a sheet has one column for words
        cells.setdefault("reason", cells.get("remark", ""))
    document["steps"][name] = cells
    return "steps", name


def _take_head(document: dict[str, Any], name: str, value: str, day: str) -> tuple[str, ...]:
    """Put a row about the whole card into the document, and return its place there; no place where nothing was typed."""
    if not value:
        return ()
    if name.startswith(_AS_FOUND):
        document["as_found"][name.removeprefix(_AS_FOUND)] = value.replace(" ", "_").casefold()
        return "as_found", name.removeprefix(_AS_FOUND)
    if name.startswith(_NOT_DONE):
        document["not_done"].append(name.removeprefix(_NOT_DONE))
    elif name in _HEAD_CELLS:
        document[name] = _cell(name, value, day)
    return (name,)


def _cell(name: str, text: str, day: str) -> str:
    """Return a cell as the document has it: figures with a point, times of day on the day of the stop."""
    if name in ("value", "hour_meter_h"):
        return text.replace(" ", "").replace(",", ".")
    if name == "answer":
        return text.strip().casefold().replace(" ", "_")
    if name in _TIMES and len(text) <= len("07:10:00") and ":" in text:
        return f"{day}T{text.zfill(5) if text.count(':') == 1 else text.zfill(8)}"
    return text


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
    text = text_of_bytes(read_bytes(path).removeprefix(b"\xef\xbb\xbf"))
    first = text.split("\n", 1)[0]
    separator = max((",", ";", "\t"), key=first.count)
    reader = csv.reader(text.splitlines(), delimiter=separator)
    header: list[str] = []
    for cells in reader:
        if not header:
            header = _header(path, cells)
        else:
            yield reader.line_num, _row(header, cells)


def _xlsx_rows(path: Path) -> Iterator[Row]:
    """Yield the rows of the first sheet of a workbook."""
    from python_calamine import CalamineError, CalamineWorkbook  # noqa: PLC0415 - loaded only where there is such a file

    read_bytes(path)
    try:
        table = CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python(skip_empty_area=False)
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
