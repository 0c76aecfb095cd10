"""A card as a form, and what was typed into it as a document."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.questions.card.card_code import card_text, code_of
from intervals.questions.card.card_models import Card
from intervals.questions.card.make_card import CardsAsked, make_cards
from intervals.questions.record.handed_in import handed_in_of
from intervals.serve.card_form import MOST_TEXT, TypedCard
from intervals.serve.card_shelf import CardShelf
from tests.unit.serve.served_pages import FILLED, NOW, write_quay


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Card:
    """Return the card of the small site."""
    return make_cards(write_quay(tmp_path_factory.mktemp("quay")), NOW, CardsAsked(tasks=("oil",))).cards[0]


def test_what_was_typed_is_handed_in(card: Card) -> None:
    """Each field in its place, a decimal comma read, the card the one that the site keeps; empty and unknown fields are nothing."""
    filled = TypedCard(card, FILLED | {"s1-remark": "  ", "s9-answer": "done", "card": "forged", "found-0": "worn", "s3-initials": "AP"})
    assert not filled.has_problems
    assert filled.by == "A. Person"
    handed = handed_in_of(filled.handed_in(), "a form")
    assert handed.card == card
    assert (handed.by, handed.hour_meter_h, handed.released_by, handed.remarks) == ("A. Person", 600.0, "B. Person", None)
    assert (handed.started_at, handed.ended_at) == ("2024-03-01T08:00", "2024-03-01T10:00")
    assert handed.as_found == {"oil": "worn"}
    assert handed.not_done == ()
    ids = [step.id for step in card.steps]
    assert list(handed.steps) == ids
    assert handed.steps[ids[1]].answer == "yes"
    assert handed.steps[ids[2]].ended_at == "2024-03-01T08:45"
    assert (handed.steps[ids[3]].value, handed.steps[ids[3]].initials) == (100.5, "AP")


def test_a_task_that_was_not_done_and_words_that_are_none(card: Card) -> None:
    """A tick says that a task was not done; an answer or a grade that the form does not offer is nothing."""
    document = TypedCard(card, {"left-0": "yes", "found-0": "lovely", "s0-answer": "yes", "s1-answer": "DROP TABLE"}).document()
    assert document["not_done"] == ["oil"]
    assert document["as_found"] == {}
    assert document["steps"] == {}


@pytest.mark.parametrize(
    ("name", "typed", "told"),
    [
        ("hour_meter_h", "six hundred", "not a number"),
        ("hour_meter_h", "1e5", "not a number"),
        ("hour_meter_h", "nan", "not a number"),
        ("hour_meter_h", "1,234.5", "not a number"),
        ("s3-value", "\N{ARABIC-INDIC DIGIT FOUR}", "not a number"),
        ("started_at", "2024-02-30T08:00", "not a time"),
        ("started_at", "2024-03-01", "not a time"),
        ("s2-ended_at", "0001-01-01T00:00", "not a time"),
    ],
)
def test_what_cannot_be_read_is_told_beside_its_field(card: Card, name: str, typed: str, told: str) -> None:
    """The form keeps what was typed."""
    filled = TypedCard(card, FILLED | {name: typed})
    assert filled.has_problems
    form = filled.form()
    fields = {field.name: field for group in (form.head, form.foot) for field in group}
    fields |= {field.name: field for _, steps in form.phases for step in steps for field in step.fields}
    assert fields[name].value == typed
    assert told in (fields[name].problem or "")
    assert form.problems == 1
    assert fields["by"].value == "A. Person"


def test_text_is_bounded_and_holds_nothing_that_a_file_cannot(card: Card) -> None:
    """So many characters of a field; no zero byte, no half of a character."""
    document = TypedCard(card, {"remarks": "a\x00b\r\nc\ud800" + "x" * 5000}).document()
    assert document["remarks"].startswith("ab\nc?x")
    assert len(document["remarks"]) <= MOST_TEXT


def test_the_form_shows_cautions_first_and_each_phase_in_order(card: Card) -> None:
    """Steps keep the numbers that they have on the card."""
    form = TypedCard(card, {}).form()
    assert [heading for heading, _ in form.phases] == ["Cautions", "Stop and secure", "Work"]
    assert [step.number for _, steps in form.phases for step in steps] == [1, 2, 3, 4]


def test_a_card_is_found_by_its_code_and_by_nothing_else(card: Card, tmp_path: Path) -> None:
    """However it is typed; not by a path, not where its file is altered, too large, or another card's."""
    shelf = CardShelf(tmp_path)
    assert shelf.listed() == []
    (tmp_path / "cards").mkdir()
    file = tmp_path / "cards" / f"{card.code}.json"
    file.write_text(card_text(card), encoding="utf-8")
    for typed in (card.code, card.code.lower().replace("-", " ")):
        assert shelf.card(typed) == card
    for typed in ("", ".", "..", f"../cards/{card.code}", f"{card.code}.json", f"{card.code}\x00", "0" * 16, "/etc/passwd"):
        assert shelf.card(typed) is None
    (tmp_path / "cards" / "0000-0000-0000-0000.json").write_text(card_text(card), encoding="utf-8")
    (tmp_path / "cards" / "notes.json").write_text("{}", encoding="utf-8")
    assert [listed.card.code for listed in shelf.listed()] == [card.code]
    assert shelf.card("0000-0000-0000-0000") is None
    assert not shelf.listed()[0].is_handed_in
    other = card.model_copy(update={"hours": 99.0})
    file.write_text(card_text(other), encoding="utf-8")
    assert shelf.card(card.code) is None
    assert code_of(other) != card.code
    file.write_text(" " * 5_000_000, encoding="utf-8")
    assert shelf.card(card.code) is None
