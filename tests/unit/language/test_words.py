"""Words in several languages, and values that differ from engine to engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pytest

from intervals.language.conditions import FactValue
from intervals.language.flaws import FlawsError
from intervals.language.stated_values import StatedValue, parse_stated, resolve, unstated_in
from intervals.language.words import Words, parse_title, parse_words


@dataclass
class Stating:
    """An engine that states what it is given."""

    stated: dict[str, FactValue] = field(default_factory=dict)
    card: dict[str, float] = field(default_factory=dict)

    def facts(self) -> Mapping[str, FactValue]:
        """Return what it states."""
        return self.stated


def test_one_text_stands_for_every_language() -> None:
    """A bare text is read by everyone, and says of no language that it is in it."""
    words = parse_words("Stop the engine.")
    assert (str(words), words.languages, words.said_in("nl")) == ("Stop the engine.", (), ("", "Stop the engine."))
    assert words.data() == "Stop the engine."


def test_a_reader_gets_their_own_language_else_english_else_the_first() -> None:
    """Dutch for a Dutch reader; English for one whose language is missing; without English the first text of the file."""
    words = parse_words({"de": "Halt", "en": "Stop", "nl": "Stoppen"})
    assert [words.said_in(code) for code in ("nl", "fr")] == [("nl", "Stoppen"), ("en", "Stop")]
    assert parse_words({"de": "Halt", "nl": "Stoppen"}).said_in("en") == ("de", "Halt")
    assert words.data() == {"de": "Halt", "en": "Stop", "nl": "Stoppen"}


def test_all_that_is_wrong_with_words_is_told_at_once() -> None:
    """An unknown language and an empty text are two flaws, each at its place; no language at all is one."""
    with pytest.raises(FlawsError) as caught:
        parse_words({"it": "Ferma", "nl": "", "en": 3.5})
    assert [(flaw.place, flaw.kind) for flaw in caught.value.flaws] == [(("it",), "word"), (("nl",), "value")]
    nothings: tuple[object, ...] = ({}, [], True)
    for raw in nothings:
        with pytest.raises(FlawsError):
            parse_words(raw)
    with pytest.raises(FlawsError, match="one line"):
        parse_title("two\nlines")


@pytest.mark.parametrize(
    ("raw", "value"),
    [
        (20, 20.0),
        (0, 0.0),
        ("engine.oil_volume_l", StatedValue("engine", "oil_volume_l")),
        ("card.drain_tank_min", StatedValue("card", "drain_tank_min")),
        ("0.9 x engine.oil_volume_l", StatedValue("engine", "oil_volume_l", 0.9)),
        ("2x card.flow", StatedValue("card", "flow", 2.0)),
        ("1.1 * engine.rated_kw", StatedValue("engine", "rated_kw", 1.1)),
    ],
)
def test_a_value_is_a_number_or_what_the_engine_states(raw: object, value: object) -> None:
    """A number, a name of the engine or of its card, each with a factor where one is needed."""
    assert parse_stated(raw) == value


@pytest.mark.parametrize(
    "raw", [-1, True, None, "twenty", "20 min", "site.name", "engine.", "card.4th", "x engine.a", "-1 x engine.a", [], "engine.a x 2"]
)
def test_anything_else_is_refused(raw: object) -> None:
    """What is neither says how it is written."""
    with pytest.raises(FlawsError):
        parse_stated(raw)


def test_a_value_is_resolved_by_what_the_engine_states() -> None:
    """0.9 of 400 L are 360 L; what is not stated, or is a word, or true, is unknown and named."""
    engine = Stating({"oil_volume_l": 400.0, "cooling": "air", "tank": True}, {"drain_min": 20.0})
    assert resolve(parse_stated("0.9 x engine.oil_volume_l"), engine) == pytest.approx(360.0)
    assert resolve(parse_stated("card.drain_min"), engine) == 20.0
    assert (resolve(7.5, engine), resolve(None, engine)) == (7.5, None)
    for name in ("engine.cooling", "engine.tank", "engine.drain_min", "card.oil_volume_l"):
        assert resolve(parse_stated(name), engine) is None
        assert unstated_in(parse_stated(name), engine) == name
    assert (unstated_in(parse_stated("card.drain_min"), engine), unstated_in(3.0, engine), unstated_in(None, engine)) == (None, None, None)


def test_words_and_values_stand_in_a_file_as_they_were_written() -> None:
    """A value's text reads back as the same value."""
    for raw in ("0.9 x engine.oil_volume_l", "card.drain_min"):
        assert str(parse_stated(raw)) == raw
    assert str(Words((("nl", "Stoppen"),))) == "Stoppen"
