"""Sheets as office programs of several countries save them: what was meant is read, and what can be read in two ways is asked again."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import date
from io import StringIO
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import card_text
from intervals.questions.card.card_models import Card
from intervals.questions.record.given_files import read_given
from intervals.questions.record.handed_in import HandedIn, handed_in_text
from intervals.questions.record.sheet_rows import sheet_rows
from intervals.questions.record.typed_cells import CellError, StoredFigure, figure_cell
from intervals.questions.record.typed_times import time_cell
from intervals.site.model import Site
from tests.filled_cards import filled, typed_rows
from tests.recorded_sites import card_of, recorded_site

DAY = "2026-03-02"
DRAINED = "oil-and-filter.drained"
STOP = "oil-and-filter.stop"
PUMP = "oil-and-filter.pump"
Rows = list[dict[str, str]]


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Site, Card]:
    """Return a site that keeps a card for 2 March, and the card."""
    site = recorded_site(tmp_path / "site")
    card = card_of(site, on=date(2026, 3, 2))
    (site.folder / "cards").mkdir()
    (site.folder / "cards" / f"{card.code}.json").write_text(card_text(card), "utf-8")
    return site, card


def text_of(rows: Rows, separator: str = ";") -> str:
    """Return rows as CSV."""
    text = StringIO()
    writer = csv.DictWriter(text, list(rows[0]), delimiter=separator, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def row_of(rows: Rows, step: str) -> dict[str, str]:
    """Return the row of a step, or of what is asked of the whole card."""
    return next(row for row in rows if row["step"] == step)


def line_of(rows: Rows, step: str) -> int:
    """Return the line of a row below a header in line 1."""
    return next(line for line, row in enumerate(rows, start=2) if row["step"] == step)


def read(site: Site, data: bytes | str) -> HandedIn:
    """Return what a CSV file hands in."""
    path = site.folder.parent / "sheet.csv"
    path.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
    return read_given(site, path, None).handed


def refused(site: Site, data: bytes | str) -> tuple[Problem, ...]:
    """Return why a CSV file is refused."""
    with pytest.raises(RequestProblemError) as found:
        read(site, data)
    assert {problem.code for problem in found.value.problems} == {"CLI160"}
    return tuple(found.value.problems)


@pytest.mark.parametrize(
    "saved",
    [
        lambda text: f"sep=;\r\n{text}".encode(),
        lambda text: f"{';' * 14}\r\n{text}".encode(),
        lambda text: f"Karte G1, Blatt 1{';' * 14}\r\n\r\n\r\n{text}".encode(),
        lambda text: f'"Karte ""G1"", von Hand"\r\n{text}'.encode(),
        lambda text: text.encode("utf-16-le"),
        lambda text: text.encode("utf-16-be"),
        lambda text: text.encode("utf-16"),
        lambda text: f"\ufeffsep=;\r\n{text}".encode("utf-16-le"),
        lambda text: text.replace("\r\n", "\r").encode(),
        lambda text: (text + ";" * 14 + "\r\n").encode(),
        lambda text: text.replace("card;step", " Card ;STEP", 1).encode(),
    ],
)
def test_a_sheet_as_an_office_program_saves_it_is_read(kept: tuple[Site, Card], saved: Callable[[str], bytes]) -> None:
    """A line that names the separator, empty rows and titles above the header, two bytes per letter, other line ends."""
    site, card = kept
    plain = text_of(typed_rows(card))
    assert read(site, saved(plain)) == read(site, plain)
    assert read(site, plain).hour_meter_h == 610.3


def test_a_title_above_the_header_of_a_workbook_is_passed_over(kept: tuple[Site, Card], tmp_path: Path) -> None:
    """Two rows above it, one of them empty; numbers that the workbook stores as numbers can be read in one way only."""
    site, card = kept
    rows = typed_rows(card)
    with xlsxwriter.Workbook(str(tmp_path / "sheet.xlsx")) as book:
        sheet = book.add_worksheet()
        sheet.write_string(0, 0, "Karte G1")
        for line, cells in enumerate([list(rows[0]), *(list(row.values()) for row in rows)], start=2):
            sheet.write_row(line, 0, cells)
        sheet.write_number(line_of(rows, DRAINED) + 1, list(rows[0]).index("value"), 90.125)
        sheet.write_number(line_of(rows, "ended_at") + 1, list(rows[0]).index("value"), 0.75)
        sheet.write_number(line_of(rows, PUMP) + 1, list(rows[0]).index("ended_at"), (15 * 3600 + 59) / 86400)
    handed = read_given(site, tmp_path / "sheet.xlsx", None).handed
    # three quarters of a day are 18 hours
    assert (handed.steps[DRAINED].value, handed.ended_at) == (90.125, f"{DAY}T18:00:00")
    assert handed.steps[PUMP].ended_at == f"{DAY}T15:00:59"


def test_quotation_marks_that_do_not_pair_are_refused_with_their_line(kept: tuple[Site, Card]) -> None:
    """Left open at the end of the file, closed by a later cell's, or followed by text: no row is lost."""
    site, card = kept
    rows = typed_rows(card)
    at, later = line_of(rows, "by"), line_of(rows, STOP)
    lines = text_of(rows).split("\r\n")
    opened = lines.copy()
    opened[at - 1] = opened[at - 1].replace(";AB;", ';"Jörg;')
    assert [problem.line for problem in refused(site, "\r\n".join(opened))] == [at]
    closed = opened.copy()
    closed[later - 1] += '"'
    assert [problem.line for problem in refused(site, "\r\n".join(closed))] == [at]
    followed = lines.copy()
    followed[at - 1] = followed[at - 1].replace(";AB;", ';"A" B;')
    assert [problem.line for problem in refused(site, "\r\n".join(followed))] == [at]


def test_a_remark_of_several_lines_and_an_inch_are_no_open_quotes(kept: tuple[Site, Card]) -> None:
    """A cell with a line end inside is one cell; a mark inside of a cell is a letter."""
    site, card = kept
    rows = typed_rows(card, remarks='hose 3/4" old')
    row_of(rows, STOP)["remark"] = "leaks\nat the flange"
    text = text_of(rows).replace('"hose 3/4"" old"', 'hose 3/4" old')
    handed = read(site, text)
    assert (handed.remarks, handed.steps[STOP].remark) == ('hose 3/4" old', "leaks at the flange")


def test_a_row_that_is_longer_than_the_header_is_refused(kept: tuple[Site, Card]) -> None:
    """A comma inside of a cell without quotation marks pushes the rest of its row one column on."""
    site, card = kept
    rows = typed_rows(card, hour_meter_h="610.3")
    row_of(rows, DRAINED)["value"] = "100"
    row_of(rows, "oil-and-filter.filled")["value"] = "100"
    row_of(rows, STOP)["remark"] = "MARK"
    text = text_of(rows, ",").replace("MARK", "cold, dark")
    (problem,) = refused(site, text)
    assert (problem.line, problem.text) == (line_of(rows, STOP), 'the row has more cells than the header has columns: " dark"')


@pytest.mark.parametrize(("step", "column", "first"), [(STOP, "answer", "no"), ("by", "value", "CD"), ("not_done:oil", "value", "yes")])
def test_a_row_that_is_typed_twice_is_refused_with_both_lines(kept: tuple[Site, Card], step: str, column: str, first: str) -> None:
    """Which of the two counts is not known: a step, what stands in the head, a task not done."""
    site, card = kept
    rows = typed_rows(card)
    row_of(rows, step)[column] = first
    again = {**row_of(rows, step), column: {"no": "yes", "CD": "EF", "yes": "no"}[first]}
    (problem,) = refused(site, text_of([*rows, again]))
    assert problem.line == len(rows) + 2
    assert f"line {line_of(rows, step)}" in problem.text


def test_a_copy_in_which_nothing_is_typed_does_no_harm(kept: tuple[Site, Card]) -> None:
    """An empty second row says nothing."""
    site, card = kept
    rows = typed_rows(card)
    empty = {**row_of(rows, STOP), "answer": ""}
    assert read(site, text_of([*rows, empty])) == read(site, text_of(rows))


def test_a_column_twice_and_what_has_no_place_are_refused(kept: tuple[Site, Card]) -> None:
    """A second column of answers, a row of the head that no sheet has, a value without its step."""
    site, card = kept
    rows = typed_rows(card)
    assert "column answer twice" in refused(site, text_of(rows).replace(";reason;", ";answer;", 1))[0].text
    row_of(rows, "by")["step"] = "bye"
    row_of(rows, STOP)["step"] = ""
    assert [problem.line for problem in refused(site, text_of(rows))] == [2, next(n for n, row in enumerate(rows, 2) if not row["step"])]


def test_one_code_in_two_spellings_is_one_card(kept: tuple[Site, Card]) -> None:
    """Small letters without hyphens are the same code."""
    site, card = kept
    rows = typed_rows(card)
    rows[3]["card"] = card.code.replace("-", "").lower()
    assert read(site, text_of(rows)).code == card.code


@pytest.mark.parametrize(
    ("typed", "figure"),
    [
        ("46990", "46990"),
        ("46990,5", "46990.5"),
        ("46.990,5", "46990.5"),
        ("46,990.5", "46990.5"),
        ("46'990.5", "46990.5"),
        ("46 990,5", "46990.5"),
        ("46\u202f990,5", "46990.5"),
        ("1.246.990", "1246990"),
        ("-1.250,5", "-1250.5"),
        ("\u22121,5", "-1.5"),
        ("0,125", "0.125"),
        ("46990.125", "46990.125"),
        ("1.2500", "1.2500"),
        (StoredFigure("1.25"), "1.25"),
        (StoredFigure("1.125"), "1.125"),
    ],
)
def test_figures_are_read_as_they_are_written_in_any_country(typed: str, figure: str) -> None:
    """The last mark stands before the decimals where another one stands between the thousands."""
    assert figure_cell(typed) == figure


@pytest.mark.parametrize(
    ("typed", "both"),
    [("1.250", ("1250", "1.25")), ("46.990", ("46990", "46.99")), ("1,250", ("1250", "1,25")), ("1.125", ("1125", "1.1250"))],
)
def test_a_figure_that_can_be_read_in_two_ways_is_asked_again(typed: str, both: tuple[str, str]) -> None:
    """A thousand and a quarter, or one and a quarter: both are named, and each, typed as it is named, is read."""
    with pytest.raises(CellError) as found:
        figure_cell(typed)
    assert all(each in found.value.fix for each in both)
    assert [float(figure_cell(each)) for each in both] == [float(both[0]), float(both[1].replace(",", "."))]


@pytest.mark.parametrize(
    "typed", ["plenty", "320 L", "1.25.0", "12.34.567", "46.99,0.5", "nan", "1e3", "1-2", "46,990,5", "46 \u0669\u0669\u0660"]
)
def test_what_is_no_figure_is_refused_in_plain_words(typed: str) -> None:
    """It is named as it was typed."""
    with pytest.raises(CellError) as found:
        figure_cell(typed)
    assert found.value.text == f'not a number; got "{typed}"'


def test_a_figure_in_two_ways_stops_the_sheet_with_its_line(kept: tuple[Site, Card]) -> None:
    """Nothing of it is taken before it is clear; each such cell is named with what was typed."""
    site, card = kept
    rows = typed_rows(card, hour_meter_h="46.990")
    row_of(rows, DRAINED)["value"] = "1.250"
    found = refused(site, text_of(rows))
    assert [problem.line for problem in found] == [line_of(rows, "hour_meter_h"), line_of(rows, DRAINED)]
    assert ['got "46.990"' in found[0].text, 'got "1.250"' in found[1].text] == [True, True]


@pytest.mark.parametrize(
    ("typed", "read_as"),
    [
        ("08.00", "08:00"),
        ("8.05", "08:05"),
        ("8:00 Uhr", "08:00"),
        ("8 Uhr", "08:00"),
        ("8.30 uur", "08:30"),
        ("0800", "08:00"),
        ("800", "08:00"),
        ("1830 h", "18:30"),
        ("8h30", "08:30"),
        ("8 h", "08:00"),
        ("8:00 AM", "08:00"),
        ("08:00 p.m.", "20:00"),
        ("12:10 am", "00:10"),
        ("12 PM", "12:00"),
        ("00.30", "00:30"),
        ("07:14:30", "07:14:30"),
        (StoredFigure("0.25"), "06:00:00"),
        (StoredFigure("800"), "08:00"),
    ],
)
def test_a_time_of_day_is_read_in_the_usual_forms(typed: str, read_as: str) -> None:
    """With a point, a word, four digits, or by halves of the day: on the day of the card."""
    assert time_cell(typed, DAY, lambda: None) == f"{DAY}T{read_as}"


@pytest.mark.parametrize(
    ("typed", "read_as"),
    [
        ("3.3.2026 08.00", "2026-03-03T08:00"),
        ("03.03.26, 8:00 Uhr", "2026-03-03T08:00"),
        ("2026-03-03 8:00 AM", "2026-03-03T08:00"),
        ("13-03-2026 8:00", "2026-03-13T08:00"),
        ("2026-03-03T08:00:30+01:00", "2026-03-03T08:00:30+01:00"),
    ],
)
def test_a_day_with_its_time_is_read_in_the_usual_forms(typed: str, read_as: str) -> None:
    """The day stands before the time."""
    assert time_cell(typed, DAY, lambda: None) == read_as


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("noon", "not a time"),
        ("25:00", "not a time"),
        ("13:00 PM", "not a time"),
        ("8", "not a time"),
        ("8,5", "not a time"),
        ("0860", "not a time"),
        ("02.03.2026", "a day without its time"),
        ("31.02.2026 08:00", "no such day"),
        ("0.25", "as 00:25 and, as a spreadsheet counts, as 06:00"),
        ("02/03/2026 07:10", "2026-03-02 and 2026-02-03"),
    ],
)
def test_what_is_no_time_or_two_is_asked_again(typed: str, said: str) -> None:
    """In plain words, with what was typed and what to type."""
    with pytest.raises(CellError, match=said) as found:
        time_cell(typed, DAY, lambda: None)
    assert typed in found.value.text
    assert found.value.fix.startswith("write ")


def test_times_alone_past_midnight_ask_for_the_day(kept: tuple[Site, Card]) -> None:
    """22:30 to 01:26 of one day cannot be: one line says that the day is to be typed; with it the sheet is read."""
    site, card = kept
    rows = typed_rows(card, started_at="22:30", ended_at="01:26")
    (problem,) = refused(site, text_of(rows))
    assert (problem.line, problem.fix) == (
        line_of(rows, "ended_at"),
        "type the day with each time after midnight, here 2026-03-03 01:26, if that is meant",
    )
    rows = typed_rows(card, started_at="22:30", ended_at="2026-03-03 01:26")
    row_of(rows, PUMP)["started_at"], row_of(rows, PUMP)["ended_at"] = "23:50", "0:10"
    (problem,) = refused(site, text_of(rows))
    assert problem.line == line_of(rows, PUMP)
    row_of(rows, PUMP)["ended_at"] = "3.3.2026 0:10"
    row_of(rows, DRAINED)["at"] = "0:20"
    (problem,) = refused(site, text_of(rows))
    assert problem.line == line_of(rows, DRAINED)
    row_of(rows, DRAINED)["at"] = "3.3.2026 0:20"
    handed = read(site, text_of(rows))
    assert (handed.steps[PUMP].ended_at, handed.steps[DRAINED].at) == ("2026-03-03T00:10", "2026-03-03T00:20")


def test_a_card_that_an_editor_saved_otherwise_is_read(kept: tuple[Site, Card], tmp_path: Path) -> None:
    """UTF-16 with and without a mark, Windows-1252: the same card, kept byte for byte."""
    site, card = kept
    handed = filled(card, f"{DAY}T14:00", by="Jörg")
    for encoding in ("utf-16", "utf-16-le", "utf-8-sig", "cp1252"):
        path = tmp_path / "x.card.json"
        path.write_bytes(handed_in_text(handed).encode(encoding))
        given = read_given(site, path, None)
        assert given.handed == handed
        assert given.kept == path.read_bytes()


def test_a_document_is_refused_without_the_words_of_a_library(kept: tuple[Site, Card], tmp_path: Path) -> None:
    """Too large a figure, no time, no JSON: said as a person would."""
    site, card = kept
    path = tmp_path / "x.card.json"
    plain = handed_in_text(filled(card, f"{DAY}T14:00", hour_meter_h=610.5))
    for before, after, said in (
        ("610.5", "999999999", "more than 1,000,000 cannot be; got 999999999"),
        ("610.5", '"much"', 'not a number; got "much"'),
        (f'"started_at": "{DAY}T14:00"', '"started_at": "noon"', 'not a time such as 2026-11-02T07:14; got "noon"'),
        ("{", "x", "no text of JSON"),
    ):
        path.write_text(plain.replace(before, after, 1), "utf-8")
        with pytest.raises(RequestProblemError) as found:
            read_given(site, path, None)
        assert found.value.problems[0].text.startswith(f"not a card that was handed in: {said}")


@pytest.mark.parametrize("column", ["answer", "reason", "at", "started_at", "ended_at", "unit", "initials", "remark"])
@pytest.mark.parametrize("head", ["not_done:oil", "as_found:oil", "ended_at", "by"])
def test_an_answer_beside_its_column_is_not_lost(kept: tuple[Site, Card], head: str, column: str) -> None:
    """What is asked of the whole card is answered in the column value; one cell beside it would be passed over, and "not done" credited."""
    site, card = kept
    rows = typed_rows(card)
    row_of(rows, head).update({"value": "", column: "yes"})
    (problem,) = refused(site, text_of(rows))
    assert (problem.line, f'"yes" stands in the column {column}' in problem.text) == (line_of(rows, head), True)
    assert "value" in str(problem.fix)


def test_a_step_whose_kind_was_overwritten_is_not_lost(kept: tuple[Site, Card]) -> None:
    """Its row would be taken for one about the whole card."""
    site, card = kept
    rows = typed_rows(card)
    row_of(rows, PUMP)["kind"] = "head"
    assert {problem.line for problem in refused(site, text_of(rows))} == {line_of(rows, PUMP)}


def test_a_workbook_that_spans_far_more_cells_than_a_card_is_refused(tmp_path: Path) -> None:
    """One cell in row 300,000: nothing is held, and the file is named; so is what is no workbook at all."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["card", "step", "kind", "value"])
    sheet["A300000"] = "x"
    book.save(tmp_path / "card.xlsx")
    with pytest.raises(RequestProblemError, match="reaches to row 300,000 and column 4"):
        sheet_rows(tmp_path / "card.xlsx")
    (tmp_path / "card.xlsx").write_bytes(b"card;step;kind;value\n")
    with pytest.raises(RequestProblemError, match="cannot be read as a workbook"):
        sheet_rows(tmp_path / "card.xlsx")
