"""What hands something in: cards as phones save them, sheets typed from paper; and what is refused of them, with its place."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import card_text
from intervals.questions.card.card_models import Card
from intervals.questions.record.given_files import read_given
from intervals.questions.record.handed_in import handed_in_document
from intervals.questions.record.typed_cells import time_cell
from intervals.reports.card.card_sheet import card_csv
from intervals.site.model import Site
from tests.filled_cards import filled, write_filled
from tests.recorded_sites import card_of, recorded_site, verdict_of

STANDING = "2026-03-02T14:00"


def test_a_card_reads_back_as_it_was_written(tmp_path: Path) -> None:
    """The file is kept byte for byte."""
    site = recorded_site(tmp_path)
    handed = filled(card_of(site), STANDING)
    path = write_filled(handed, tmp_path)
    given = read_given(site, path, None)
    assert given.handed == handed
    assert given.kept == path.read_bytes()


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda document: {**document, "schema": "other/1"}, "$.schema"),
        (lambda document: {**document, "ended_at": "yesterday"}, "$.ended_at"),
        (lambda document: {**document, "hour_meter_h": -1}, "$.hour_meter_h"),
        (lambda document: {**document, "hour_meter_h": 1e308}, "$.hour_meter_h"),
        (lambda document: {**document, "hour_meter_h": True}, "$.hour_meter_h"),
        (lambda document: {**document, "steps": {"a.b": {"value": 1e308}}}, "$.steps.a.b.value"),
        (lambda document: {**document, "ended_at": "1900-01-01T10:00"}, "$.ended_at"),
        (lambda document: {**document, "as_found": {"oil": "so-so"}}, "$.as_found.oil"),
        (lambda document: {**document, "as_found": {"polish": "good"}}, "$.as_found"),
        (lambda document: {**document, "not_done": ["polish"]}, "$.not_done"),
        (lambda document: {**document, "steps": {"a.b": {"answer": "maybe"}}}, "$.steps.a.b.answer"),
        (lambda document: {key: value for key, value in document.items() if key != "card"}, "$.card"),
    ],
)
def test_a_document_that_is_none_is_refused_with_its_place(
    tmp_path: Path, change: Callable[[dict[str, Any]], dict[str, Any]], place: str
) -> None:
    """Where it is wrong stands beside what is wrong."""
    site = recorded_site(tmp_path)
    path = tmp_path / "x.card.json"
    path.write_text(json.dumps(change(handed_in_document(filled(card_of(site), STANDING)))), "utf-8")
    with pytest.raises(RequestProblemError) as refused:
        read_given(site, path, None)
    assert [(problem.code, problem.path) for problem in refused.value.problems] == [("CLI160", place)]


def test_a_key_that_is_told_twice_is_refused(tmp_path: Path) -> None:
    """Two meter readings, of which each reader would take another one."""
    site = recorded_site(tmp_path)
    path = write_filled(filled(card_of(site), STANDING, hour_meter_h=610.3), tmp_path)
    path.write_text(path.read_text("utf-8").replace('"hour_meter_h": 610.3', '"hour_meter_h": 610.3, "hour_meter_h": 10'), "utf-8")
    with pytest.raises(RequestProblemError, match="it states hour_meter_h twice"):
        read_given(site, path, None)


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("x.card.json", b"{", "not a card"),
        ("x.card.json", b"\x00\xff", "not a card"),
        ("x.card.json", b" " * 8_000_001, "larger than 8 MB"),
        ("x.pdf", b"", "kind .pdf"),
        ("x.csv", b"a,b\n1,2\n", "no column card"),
        ("x.xlsx", b"not a workbook", "cannot be read as a workbook"),
        ("gone.card.json", None, "cannot be read"),
    ],
)
def test_a_file_that_hands_nothing_in_is_refused(tmp_path: Path, name: str, data: bytes | None, said: str) -> None:
    """Cut off, binary, far too large, of another kind, or not there."""
    if data is not None:
        (tmp_path / name).write_bytes(data)
    with pytest.raises(RequestProblemError, match=said):
        read_given(recorded_site(tmp_path / "site"), tmp_path / name, None)


def typed_rows(card: Card) -> list[dict[str, str]]:
    """Return the rows of a card's sheet as a person fills them in from paper: times of day alone, a comma before the decimals."""
    rows = list(csv.DictReader(card_csv(card).splitlines()))
    told = filled(card, STANDING)
    heads = {"by": "AB", "hour_meter_h": "610,3", "started_at": "14:00", "ended_at": "14:27", "as_found:oil": "at limit"}
    for row in rows:
        given = told.steps.get(row["step"])
        if row["kind"] == "head":
            row["value"] = heads.get(row["step"], "")
        elif given is not None:
            row["answer"] = given.answer or ""
            row["started_at"], row["ended_at"] = ((text or "")[11:16] for text in (given.started_at, given.ended_at))
            row["value"] = "" if given.value is None else f"{given.value:.1f}".replace(".", ",")
    return rows


def write_sheet(path: Path, rows: list[dict[str, str]], separator: str = ";") -> Path:
    """Write rows as CSV or as a workbook."""
    if path.suffix == ".xlsx":
        with xlsxwriter.Workbook(str(path)) as book:
            sheet = book.add_worksheet()
            for line, cells in enumerate([list(rows[0]), *(list(row.values()) for row in rows)]):
                sheet.write_row(line, 0, cells)
        return path
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=separator)
        writer.writeheader()
        writer.writerows(rows)
    return path


def site_with_card(folder: Path) -> tuple[Site, Card]:
    """Return a site that keeps a card for 2 March, and the card."""
    site = recorded_site(folder)
    card = card_of(site, on=date(2026, 3, 2))
    (folder / "cards").mkdir()
    (folder / "cards" / f"{card.code}.json").write_text(card_text(card), "utf-8")
    return site, card


@pytest.mark.parametrize("name", ["sheet.csv", "sheet.xlsx"])
def test_a_sheet_typed_from_paper_is_worth_what_the_paper_says(tmp_path: Path, name: str) -> None:
    """Its card is found in the site's folder; times of day are those of the stop's day."""
    site, card = site_with_card(tmp_path)
    handed = read_given(site, write_sheet(tmp_path / name, typed_rows(card)), None).handed
    assert (handed.hour_meter_h, handed.as_found, handed.ended_at) == (610.3, {"oil": "at_limit"}, "2026-03-02T14:27")
    assert verdict_of(site, handed).verdict == "credited"


def test_cells_that_cannot_be_are_told_with_their_line(tmp_path: Path) -> None:
    """A word where a number belongs, an answer that is none, a step that the card does not have."""
    site, card = site_with_card(tmp_path)
    rows = typed_rows(card)
    lines = {row["step"]: line for line, row in enumerate(rows, start=2)}
    by_step = {row["step"]: row for row in rows}
    by_step["oil-and-filter.filled"]["value"] = "plenty"
    by_step["oil-and-filter.filter"]["answer"] = "perhaps"
    with pytest.raises(RequestProblemError) as refused:
        read_given(site, write_sheet(tmp_path / "sheet.csv", rows), None)
    wanted = sorted([lines["oil-and-filter.filled"], lines["oil-and-filter.filter"]])
    assert sorted(problem.line or 0 for problem in refused.value.problems) == wanted
    rows = typed_rows(card)
    rows[-1]["step"], rows[-1]["answer"] = "oil-and-filter.polish", "done"
    with pytest.raises(RequestProblemError, match=r'no step "oil-and-filter\.polish"'):
        read_given(site, write_sheet(tmp_path / "sheet.csv", rows), None)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_a_sheet_as_a_german_spreadsheet_saves_it(tmp_path: Path, encoding: str) -> None:
    """Days with dots, numbers of days, words in German, with or without a mark of its encoding: what was meant is read."""
    site, card = site_with_card(tmp_path)
    rows = typed_rows(card)
    by_step = {row["step"]: row for row in rows}
    by_step["started_at"]["value"], by_step["ended_at"]["value"] = "02.03.2026 14:00", "46083,60208"
    by_step["not_done:oil"]["value"], by_step["as_found:oil"]["value"] = "nein", "an der Grenze"
    by_step["oil-and-filter.stop"] |= {"answer": "Ja", "at": "2.3.2026 14:01:30"}
    by_step["oil-and-filter.off"] |= {"answer": "entfällt", "reason": "nicht vorhanden"}
    sheet = write_sheet(tmp_path / "sheet.csv", rows)
    sheet.write_bytes(sheet.read_text("utf-8").encode(encoding))
    handed = read_given(site, sheet, None).handed
    # 46,083 days after 30 December 1899 is 2 March 2026, and 0.60208 of a day is 14:27
    assert (handed.started_at, handed.ended_at) == ("2026-03-02T14:00", "2026-03-02T14:27:00")
    assert (handed.not_done, handed.as_found) == ((), {"oil": "at_limit"})
    stopped, off = handed.steps["oil-and-filter.stop"], handed.steps["oil-and-filter.off"]
    assert (stopped.answer, stopped.at) == ("yes", "2026-03-02T14:01:30")
    assert (off.answer, off.reason) == ("not_applicable", "nicht vorhanden")


@pytest.mark.parametrize(
    ("typed", "is_month_first", "read"),
    [
        ("7:10", None, "2026-03-02T07:10"),
        ("0.5", None, "2026-03-02T12:00:00"),
        ("46083.25", None, "2026-03-02T06:00:00"),
        ("13/03/2026 07:10", None, "2026-03-13T07:10"),
        ("03/13/26, 07:10", None, "2026-03-13T07:10"),
        ("02/03/2026 07:10", False, "2026-03-02T07:10"),
        ("02/03/2026 07:10", True, "2026-02-03T07:10"),
        ("02/03/2026 07:10", None, "02/03/2026 07:10"),
        ("2026-03-02 07:10", None, "2026-03-02 07:10"),
        ("noon", None, "noon"),
    ],
)
def test_times_are_read_one_way_or_not_at_all(typed: str, is_month_first: bool | None, read: str) -> None:
    """A day with slashes that could be two counts as the site's own records write them; where they write none it is not read."""
    assert time_cell(typed, "2026-03-02", lambda: is_month_first) == read


def test_not_done_is_yes_or_no(tmp_path: Path) -> None:
    """`no` leaves the task done, `oui` takes it out, and anything else is refused with its line."""
    site, card = site_with_card(tmp_path)
    rows = typed_rows(card)
    (place,) = (index for index, row in enumerate(rows) if row["step"] == "not_done:oil")
    for typed, wanted in (("no", ()), ("oui", ("oil",))):
        rows[place]["value"] = typed
        assert read_given(site, write_sheet(tmp_path / "sheet.csv", rows), None).handed.not_done == wanted
    rows[place]["value"] = "perhaps"
    with pytest.raises(RequestProblemError, match="neither yes nor no") as refused:
        read_given(site, write_sheet(tmp_path / "sheet.csv", rows), None)
    assert [problem.line for problem in refused.value.problems] == [place + 2]


def test_a_sheet_without_its_card_says_where_to_look(tmp_path: Path) -> None:
    """Another site does not keep it; naming its file helps, naming another card does not."""
    site, card = site_with_card(tmp_path / "one")
    other = recorded_site(tmp_path / "two")
    sheet = write_sheet(tmp_path / "sheet.csv", typed_rows(card))
    with pytest.raises(RequestProblemError, match="does not keep the card"):
        read_given(other, sheet, None)
    assert read_given(other, sheet, tmp_path / "one" / "cards" / f"{card.code}.json").handed.card == card
    plugs = card_of(site, "plugs")
    (tmp_path / "plugs.json").write_text(card_text(plugs), "utf-8")
    with pytest.raises(RequestProblemError, match=f"it is the card {plugs.code}"):
        read_given(site, sheet, tmp_path / "plugs.json")
