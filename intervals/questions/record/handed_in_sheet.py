"""A sheet typed from paper: one row per step, rows of kind `head` for the rest, and its card from the site's folder.

In: a CSV or XLSX file, and where cards are. Out: `HandedIn`. Refuses (CLI160) cells that are not what their column holds or can be read in
two ways, answers beside the column that they belong in, rows that are there twice, and times alone past midnight, each with its line; and
(CLI162) a card that is not there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import read_code
from intervals.questions.card.card_models import Card
from intervals.questions.card.kept_cards import kept_card, read_card
from intervals.questions.record.handed_in import CANNOT_BE_READ, HANDED_IN_SCHEMA, HandedIn, refused
from intervals.questions.record.past_midnight import TypedTime, past_midnight
from intervals.questions.record.services_dialect import dialect_of
from intervals.questions.record.sheet_rows import Row, sheet_rows
from intervals.questions.record.typed_cells import CellError, answer_cell, figure_cell, grade_cell, is_yes
from intervals.questions.record.typed_times import is_time_alone, time_cell
from intervals.questions.record.unfit_values import unfit_text
from intervals.site.model import Site

NO_CARD = "CLI162"
_HEAD = "head"
_AS_FOUND = "as_found:"
_NOT_DONE = "not_done:"
_STEP_CELLS = ("started_at", "ended_at", "at", "answer", "value", "label", "initials", "remark", "reason")
_BESIDE = ("limits", "unit", *(name for name in _STEP_CELLS if name != "value"))
"""Columns in which a row of the kind head has nothing."""
_HEAD_CELLS = ("by", "released_by", "hour_meter_h", "started_at", "ended_at", "remarks")
_FIGURES, _TIMES = ("value", "hour_meter_h"), ("started_at", "ended_at", "at")
Place = tuple[str, ...]


def read_sheet(site: Site, path: Path, card: Path | None) -> HandedIn:
    """Return what a sheet hands in.

    Args:
        site: the site; its cards are in its folder `cards`.
        path: the sheet.
        card: the card, where it was named.

    Raises:
        RequestProblemError: a cell is not what its column holds, or the sheet names no card (CLI160); the card is not there (CLI162).
    """
    rows = sheet_rows(path)
    made = _card(site, path, _code_of(path, rows), card)
    sheet = _Sheet(path, made, lambda: _is_month_first(site))
    for line, row in rows:
        sheet.take(line, row)
    return sheet.handed_in()


def _code_of(path: Path, rows: Sequence[Row]) -> str:
    """Return the code of the one card that a sheet is of."""
    codes: dict[str, None] = {}
    for typed in (row["card"] for _, row in rows if row.get("card")):
        code = read_code(typed)
        if code is None:
            raise refused(path, f'"{typed}" is no code of a card', "four groups of four letters and digits, as the card shows it")
        codes[code] = None
    if len(codes) != 1:
        what = "names no card" if not codes else f"names several cards: {', '.join(sorted(codes))}"
        raise refused(path, f"the sheet {what} in its column card", "type into the sheet made for the card: intervals card --sheet")
    return next(iter(codes))


def _is_month_first(site: Site) -> bool | None:
    """Tell how the site's service records write days with slashes; None where they write none."""
    moment = dialect_of(site).dates.moment
    return {"%m/%d": True, "%d/%m": False}.get(moment[: len("%m/%d")])


def _card(site: Site, path: Path, code: str, named: Path | None) -> Card:
    """Return the card of a sheet."""
    card = kept_card(site.folder, code) if named is None else read_card(named)
    if card is None:
        text = f"the site does not keep the card {code} of the sheet"
        raise RequestProblemError([Problem(NO_CARD, str(path), None, None, text, "name its file with --card FILE")])
    if card.code != code:
        raise refused(str(named), f"it is the card {card.code}; the sheet is of {code}", "name the card of the sheet")
    return card


class _Sheet:
    """What the rows of a sheet hand in of a card, and what is wrong with them."""

    def __init__(self, path: Path, card: Card, is_month_first: Callable[[], bool | None]) -> None:
        self._path, self._card, self._is_month_first = path, card, is_month_first
        self._document: dict[str, Any] = {"schema": HANDED_IN_SCHEMA, "card": card, "steps": {}, "as_found": {}, "not_done": []}
        self._steps = {step.id for step in card.steps}
        self._lines: dict[Place, int] = {}
        self._problems: list[Problem] = []
        self._times: list[TypedTime] = []

    def take(self, line: int, row: dict[str, str]) -> None:
        """Take one row."""
        name = row.get("step", "")
        if row.get("kind", "").casefold() == _HEAD:
            beside = [key for key in _BESIDE if row.get(key)]
            for key in beside:
                text = f'"{row[key]}" stands in the column {key}, and a row of the kind {_HEAD} is answered in the column value alone'
                self._refuse(line, text, "move it to the column value, or clear the cell")
            if row.get("value") and not beside:
                self._take_head(line, name, row["value"])
        elif cells := {key: row[key] for key in _STEP_CELLS if row.get(key)}:
            self._take_step(line, name, cells)

    def handed_in(self) -> HandedIn:
        """Return what was handed in; refuse all that cannot be used."""
        problem = past_midnight(self._times, self._card.stop.on[:10])
        if problem is not None:
            line, text, fix = problem
            self._refuse(line, text, fix)
        try:
            handed = HandedIn.model_validate(self._document)
        except ValidationError as error:
            for each in error.errors(include_url=False):
                place = tuple(map(str, each["loc"]))
                near = next((self._lines[place[:size]] for size in (2, 1) if place[:size] in self._lines), None)
                self._refuse(near, f"{place[-1]}: {unfit_text(each)}", _fix_of(each["type"]))
        if self._problems:
            raise RequestProblemError(sorted(self._problems, key=lambda problem: problem.line or 0))
        return handed

    def _refuse(self, line: int | None, text: str, fix: str) -> None:
        """Note what is wrong in a line."""
        self._problems.append(Problem(CANNOT_BE_READ, str(self._path), line, None, text, fix))

    def _is_first(self, line: int, place: Place) -> bool:
        """Tell whether a row is the first of its place; which of two counts is not for us to say."""
        first = self._lines.setdefault(place, line)
        if first != line:
            text = f"{place[-1]} was typed in line {first} already: which of the two counts is not known"
            self._refuse(line, text, "leave one of the two rows as it was made, empty")
        return first == line

    def _take_step(self, line: int, name: str, cells: dict[str, str]) -> None:
        """Take what was typed of a step."""
        if name not in self._steps:
            what = f'the card has no step "{name}"' if name else "something is typed in a row without a step"
            self._refuse(line, what, "leave the column step as it is")
        elif self._is_first(line, ("steps", name)):
            read = {key: value for key, text in cells.items() if (value := self._cell(line, key, text, name))}
            if read.get("answer") == "not_applicable":
                # a sheet has one column for words
                read.setdefault("reason", read.get("remark", ""))
            self._document["steps"][name] = read

    def _take_head(self, line: int, name: str, value: str) -> None:
        """Take a row about the whole card."""
        group, task = (name[: len(_AS_FOUND)], name[len(_AS_FOUND) :]) if name.startswith((_AS_FOUND, _NOT_DONE)) else ("", "")
        if not group and name not in _HEAD_CELLS:
            self._refuse(line, f'a sheet has no row "{name}" of the kind {_HEAD}', "leave the column step as it is")
        elif not self._is_first(line, (group.removesuffix(":"), task) if group else (name,)):
            return
        elif group == _AS_FOUND:
            self._document["as_found"][task] = grade_cell(value)
        elif group == _NOT_DONE:
            self._take_not_done(line, task, value)
        else:
            self._document[name] = self._cell(line, name, value, "")

    def _take_not_done(self, line: int, task: str, value: str) -> None:
        """Note a task that is said not to have been done."""
        said = is_yes(value)
        if said is None:
            text = f'not_done of {task}: neither yes nor no; got "{value}"'
            self._refuse(line, text, "write yes where it was not done; else leave it empty")
        self._document["not_done"] += [task] if said else []

    def _cell(self, line: int, name: str, text: str, step: str) -> str | None:
        """Return a cell as the document has it: figures with a point, answers by their keys, times of day on the day of the stop."""
        try:
            if name in _FIGURES:
                return figure_cell(text)
            if name in _TIMES:
                at = time_cell(text, self._card.stop.on[:10], self._is_month_first)
                self._times.append(TypedTime(line, step, name, text, at, is_time_alone(text)))
                return at
        except CellError as error:
            self._refuse(line, f"{name}: {error.text}", error.fix)
            return None
        return answer_cell(text) if name == "answer" else text


def _fix_of(kind: str) -> str:
    """Return what to do about a value that the model of what is handed in does not take."""
    is_figure = kind in ("less_than_equal", "greater_than_equal")
    return "look at the paper again" if is_figure else "write one of the words of the card, or leave the cell empty"


__all__ = ["read_sheet"]
