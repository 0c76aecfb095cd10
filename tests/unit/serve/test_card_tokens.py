"""Tokens of card forms: for one card and one session, used once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import cast

from intervals.serve.card_tokens import MOST_OPEN, MOST_USED, CardTokens, TokenState, Waiting

WAITING = cast("Waiting", ("a card", b"{}", {}, "a verdict"))


def test_a_token_is_for_its_card_and_its_session() -> None:
    """In another session, for another card, or made up, it is unknown."""
    tokens = CardTokens()
    token = tokens.issue("one", "CARD-A")
    assert tokens.state(token, "one", "CARD-A") is TokenState.OPEN
    assert tokens.state(token, "two", "CARD-A") is TokenState.UNKNOWN
    assert tokens.state(token, "one", "CARD-B") is TokenState.UNKNOWN
    assert tokens.state("made up", "one", "CARD-A") is TokenState.UNKNOWN
    assert not tokens.keep(token, "two", "CARD-A", WAITING)
    assert tokens.waiting(token, "one", "CARD-A") is None
    assert token != tokens.issue("one", "CARD-A")


def test_of_many_who_take_at_once_one_gets_it() -> None:
    """A token writes once, however many threads ask; before anything waits it writes nothing."""
    tokens = CardTokens()
    token = tokens.issue("one", "CARD-A")
    assert tokens.take(token, "one", "CARD-A") is None
    assert tokens.keep(token, "one", "CARD-A", WAITING)
    with ThreadPoolExecutor(8) as pool:
        taken = list(pool.map(lambda _: tokens.take(token, "one", "CARD-A"), range(200)))
    assert [each for each in taken if each is not None] == [WAITING]
    assert tokens.state(token, "one", "CARD-A") is TokenState.USED
    assert tokens.state(token, "two", "CARD-A") is TokenState.UNKNOWN


def test_a_used_token_opens_again_where_nothing_was_written() -> None:
    """Only in its own session; then another verdict waits."""
    tokens = CardTokens()
    token = tokens.issue("one", "CARD-A")
    tokens.keep(token, "one", "CARD-A", WAITING)
    tokens.take(token, "one", "CARD-A")
    tokens.reopen(token, "one", "CARD-A", WAITING)
    assert tokens.waiting(token, "one", "CARD-A") == WAITING


def test_what_is_remembered_is_bounded() -> None:
    """The oldest open form is forgotten first, and so is the oldest used token."""
    tokens = CardTokens()
    first = tokens.issue("one", "CARD-A")
    for _ in range(MOST_OPEN):
        tokens.issue("two", "CARD-A")
    assert tokens.state(first, "one", "CARD-A") is TokenState.UNKNOWN
    for _ in range(MOST_USED + 100):
        token = tokens.issue("one", "CARD-A")
        tokens.keep(token, "one", "CARD-A", WAITING)
        tokens.take(token, "one", "CARD-A")
    assert len(tokens) <= MOST_OPEN + MOST_USED
