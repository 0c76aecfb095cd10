"""The name that must be meant by a word: offered where it is clear, and nothing where there is any doubt."""

from __future__ import annotations

import pytest

from intervals.problems import clearly_nearest, nearest_name_of


@pytest.mark.parametrize(
    ("word", "known", "meant"),
    [
        # slips of the pen
        ("Nortt", ["North", "South"], "North"),
        ("valve clearence", ["valve-clearance", "spark-plugs"], "valve-clearance"),
        ("Unit-3", ["Unit 3", "Unit 2"], "Unit 3"),
        # one number in two ways of writing it
        ("Unit II", ["Unit 2", "Unit 3"], "Unit 2"),
        ("Unit 03", ["Unit 3", "Unit 13"], "Unit 3"),
        ("2000 h service", ["2,000 h service", "4,000 h service"], "2,000 h service"),
        # another number, numeral or letter is another thing
        ("Unit II", ["Unit 3"], None),
        ("Unit IV", ["Unit VI"], None),
        ("G11", ["G1"], None),
        ("Pump A", ["Pump B"], None),
        ("1000 h service", ["2,000 h service"], None),
        ("Generator 2", ["Generator"], None),
        # as near to the one as to the other
        ("Unit", ["Unit 1", "Unit 2"], None),
        ("inspect-bolts", ["inspect-bolts-a", "inspect-bolts-b"], None),
        # other words altogether
        ("North", ["South"], None),
        ("Zündkerzen", ["spark-plugs"], None),
    ],
)
def test_a_name_is_offered_only_where_it_is_clear(word: str, known: list[str], meant: str | None) -> None:
    """Numbers, numerals and single letters tell names apart; two that are equally near are neither."""
    assert clearly_nearest(word, {each: each for each in known}) == meant


def test_two_spellings_of_one_thing_are_no_doubt() -> None:
    """North and Nord are the same engine: whichever is nearer, it is meant."""
    assert clearly_nearest("Nort", {"North": "G1", "Norty": "G1"}) in ("North", "Norty")
    assert clearly_nearest("Nort", {"North": "G1", "Norty": "G2"}) is None


def test_the_question_that_is_asked() -> None:
    """A name is asked back in a few words, or not at all."""
    assert nearest_name_of("oil chnage", ["oil-change"]) == '; did you mean "oil-change"?'
    assert nearest_name_of("G2", ["G1"]) == ""
