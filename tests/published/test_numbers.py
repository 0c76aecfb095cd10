"""Every number from outside the project has a test, and the table of them is current."""

from __future__ import annotations

from tests.published.number_table import PAGE, marked_tests, numbers, page


def test_every_number_has_a_test_and_every_mark_a_number() -> None:
    """A number that no test is marked with is missing; a mark of no number is a slip."""
    tests = marked_tests()
    assert [number for number in numbers() if number not in tests] == []
    assert [number for number in tests if number not in numbers()] == []


def test_the_table_is_current() -> None:
    """`python -m tests.published.number_table` makes it."""
    assert PAGE.read_text(encoding="utf-8") == page()
