"""The page and the sheets of a card: everything is there without a script, texts stay texts, the sheet has a row for each step."""

from __future__ import annotations

import csv
import json
import re
from io import BytesIO, StringIO
from pathlib import Path

import openpyxl
import pytest

from intervals.language.words import LANGUAGES
from intervals.questions.card.card_code import card_document
from intervals.questions.card.card_models import Card
from intervals.reports.card.card_page import card_page
from intervals.reports.card.card_picture import code_picture
from intervals.reports.card.card_sheet import COLUMNS, card_csv, card_workbook
from tests.card_site import OIL, card_site, cards_of

HOSTILE = "</script><script>alert(1)</script>\"'&{{7*7}}"


@pytest.fixture
def card(tmp_path: Path) -> Card:
    """Return a card of two tasks."""
    card_site(tmp_path)
    return cards_of(tmp_path, engines=("G1",), tasks=("oil", "plugs"))[0]


def test_the_paper_page_has_everything_and_no_script(card: Card) -> None:
    """Each step's text, each sentence, the code as letters and as a picture; not one script, style from elsewhere or form."""
    page = card_page(card, paper=True)
    for text in [
        *(step.text for step in card.steps),
        *(task.because for task in card.tasks),
        card.code,
        "North",
        "at least 270 L, at most 330 L",
    ]:
        assert text in page
    assert "<script" not in page
    assert "http" not in page.replace('http-equiv="Content-Security-Policy"', "")
    assert "<svg viewBox" in page


def test_the_page_carries_its_card(card: Card) -> None:
    """The document in the page, read as JSON, is the card."""
    found = re.search(r'<script type="application/json" id="card">(.*?)</script>', card_page(card), re.DOTALL)
    assert found is not None
    assert json.loads(found[1]) == card_document(card)


def test_the_page_never_says_that_an_engine_is_safe(card: Card) -> None:
    """It says that it does not say so, in each language that a card can be in, once."""
    said = {
        "en": "does not say that the engine is safe",
        "de": "sagt nicht, dass der Motor sicher ist",
        "nl": "zegt niet dat de motor veilig is",
        "fr": "ne dit pas que le moteur est sûr",
        "es": "No dice que el motor sea seguro",
    }
    assert set(said) == set(LANGUAGES)
    for language, words in said.items():
        page = card_page(card.model_copy(update={"language": language}), paper=True)
        assert words in page
        assert f'<html lang="{language}">' in page
        assert ('<span lang="en">overdue by' in page) is (language != "en")


def test_hostile_texts_stay_texts(tmp_path: Path) -> None:
    """A step and a title that hold markup are shown as they are; the data ends no script."""
    steps = [{"id": "bad", "kind": "do", "text": HOSTILE}, {"id": "worse", "kind": "set", "of": HOSTILE, "to": HOSTILE, "before": HOSTILE}]
    card_site(tmp_path, procedures=({**OIL, "steps": steps},), title=HOSTILE)
    (card,) = cards_of(tmp_path, engines=("G1",))
    page = card_page(card)
    assert "alert(1)</script>" not in page
    assert "{{7*7}}" in page
    assert page.count("<script") == page.count("</script>") == 3


def test_the_picture_is_a_code_of_21_squares() -> None:
    """19 signs of capitals, digits and hyphens fit version 1 with level M (20 of them, ISO/IEC 18004 table 7), 4 white squares around."""
    picture = code_picture("7K3M-9QXT-02HD-15WV")
    assert picture.size == 21 + 2 * 4
    places = {(int(x), int(y)) for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", picture.path)}
    assert {x for x, _ in places} == {y for _, y in places} == set(range(4, 25))
    # the three finder patterns: a ring of 7 squares, dark in the middle, light between
    for x, y in ((4, 4), (18, 4), (4, 18)):
        assert {(x, y), (x + 6, y), (x, y + 6), (x + 6, y + 6), (x + 3, y + 3)} <= places
        assert not places & {(x + 1, y + 1), (x + 5, y + 1), (x + 1, y + 5)}


def test_the_sheet_has_a_row_for_each_step(card: Card) -> None:
    """What is asked of the whole card first, then the steps in order, each with the code and its limits; to be filled in from answer on."""
    rows = list(csv.DictReader(StringIO(card_csv(card))))
    assert tuple(rows[0]) == COLUMNS
    # what the paper has a box for, and what an answer of "not applicable" needs
    assert {"at", "reason"} <= set(COLUMNS)
    head, steps = [row for row in rows if row["kind"] == "head"], [row for row in rows if row["kind"] != "head"]
    assert rows == [*head, *steps]
    assert [row["step"] for row in head] == [
        "by", "released_by", "hour_meter_h", "started_at", "ended_at", "remarks",
        "as_found:oil", "as_found:plugs", "not_done:oil", "not_done:plugs",
    ]  # fmt: skip
    assert [row["step"] for row in steps] == [step.id for step in card.steps]
    assert {row["card"] for row in rows} == {card.code}
    by_id = {row["step"]: row for row in steps}
    assert (by_id["oil.drain"]["limits"], by_id["oil.filled"]["limits"], by_id["oil.filled"]["unit"]) == (
        "20 minutes", "at least 270 L, at most 330 L", "L",
    )  # fmt: skip
    assert {row[column] for row in rows for column in COLUMNS[5:] if column != "unit"} == {""}


def test_the_workbook_has_the_rows_of_the_sheet(card: Card) -> None:
    """Cell by cell, all of it text; the same card gives the same bytes."""
    made = card_workbook(card)
    assert made == card_workbook(card)
    sheet = openpyxl.load_workbook(BytesIO(made))["card"]
    cells = [["" if cell is None else cell for cell in row] for row in sheet.iter_rows(values_only=True)]
    assert cells == list(csv.reader(StringIO(card_csv(card))))


def test_a_sheet_runs_nothing(tmp_path: Path) -> None:
    """A text that a spreadsheet would take for a formula gets an apostrophe."""
    card_site(tmp_path, procedures=({**OIL, "steps": [{"id": "bad", "kind": "do", "text": "=1+1"}]},))
    (card,) = cards_of(tmp_path, engines=("G1",))
    assert "'=1+1" in card_csv(card)
