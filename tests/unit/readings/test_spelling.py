"""Names in several spellings, found to be one, and names that stay two."""

from __future__ import annotations

from unicodedata import normalize

import pytest
from hypothesis import given
from hypothesis import strategies as st

from intervals.readings.spelling import Spellings, composed_name, folded_name

# a, o and u with their dots as one code point and as two, in both cases
COMPOSED = "\u00e4\u00f6\u00fc\u00c4\u00d6\u00dc"
DECOMPOSED = "a\u0308o\u0308u\u0308A\u0308O\u0308U\u0308"
NAMES = st.text(st.sampled_from([*"Gg1 ", *COMPOSED]), min_size=1, max_size=4)


def test_letters_in_two_code_points_are_letters_in_one() -> None:
    """Unicode's Normalization Form C puts a letter and its dots together; case and blanks stay."""
    assert composed_name(DECOMPOSED) == COMPOSED
    assert composed_name(" North ") == " North "


def test_case_and_blanks_do_not_count_in_a_folded_name() -> None:
    """Blanks around a name go, those within stay; a sharp s is the two letters that it is written with in capitals."""
    assert folded_name("\tGro\u00dfe  Mu\u0308hle ") == folded_name("GROSSE  M\u00dcHLE")
    assert folded_name("Unit 1") != folded_name("Unit1")


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("G1", 1),
        ("g1", 2),
        (" g1", None),
        ("G1 ", None),
        ("NORTH", 3),
        (" north\t", 3),
        ("S\u00fcd", 4),
        ("Su\u0308d", 4),
        ("S\u00dcD", 4),
        ("SU\u0308D", 4),
        ("\u00c4", 5),
        ("A\u0308", 5),
        ("\u00e4", 6),
        ("a\u0308", 6),
        ("a\u0308 ", None),
        ("Sud", None),
        ("", None),
    ],
)
def test_what_a_name_stands_for(name: str, meant: int | None) -> None:
    """Exactly, else by its letters, else without regard to case and blanks, unless it is then two things."""
    spelled = {"G1": 1, "g1": 2, "North": 3, "Su\u0308d": 4, "\u00c4": 5, "\u00e4": 6}
    assert Spellings(spelled).find(name) == meant


def test_two_spellings_of_one_thing_do_not_stand_in_each_others_way() -> None:
    """G1 and g1 of one engine are that engine in any case."""
    assert Spellings({"G1": 1, "g1": 1}).find(" G1 ") == 1


def test_what_comes_first_by_number_is_found_too() -> None:
    """The thing of number 0 is a thing and not nothing."""
    named = Spellings({"G1": 0, "\u00c4": 0})
    assert [named.find(name) for name in ("G1", "A\u0308", "g1")] == [0, 0, 0]


@given(st.dictionaries(NAMES, st.integers(0, 2), max_size=5), NAMES, st.booleans())
def test_a_name_is_found_as_by_a_plain_search(named: dict[str, int], name: str, is_taken_apart: bool) -> None:
    """Against asking each spelling in turn, in three rounds, of which one answers that knows the name: with one thing, not with two."""
    typed = normalize("NFD", name) if is_taken_apart else name
    expected = named.get(typed)
    for is_folded in (False, True):
        plain = [normalize("NFC", text.strip().casefold() if is_folded else text) for text in (typed, *named)]
        meant = {thing for spelling, thing in zip(plain[1:], named.values(), strict=True) if spelling == plain[0]}
        if expected is None and len(meant) == 1:
            (expected,) = meant
    assert Spellings(named).find(typed) == expected
