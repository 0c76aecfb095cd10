"""The code of a card, worked out beside the program: SHA-256 by another way, base 32 by the standard library."""

from __future__ import annotations

import base64
import hashlib
import json
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.card.card_code import card_document, card_text, read_code
from intervals.questions.card.kept_cards import card_file, kept_card, read_card
from tests.card_site import card_site, cards_of

STANDARD, OURS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567", "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


def test_the_code_is_the_first_80_bits_of_the_digest(tmp_path: Path) -> None:
    """Ten bytes of SHA-256 over sorted JSON without blanks, as RFC 4648 writes them in base 32, its letters exchanged for ours."""
    card_site(tmp_path)
    card = cards_of(tmp_path)[0]
    document = {key: value for key, value in card_document(card).items() if key != "code"}
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    signs = base64.b32encode(hashlib.sha256(text.encode()).digest()[:10]).decode().translate(str.maketrans(STANDARD, OURS))
    assert card.code.replace("-", "") == signs
    assert [len(group) for group in card.code.split("-")] == [4, 4, 4, 4]


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("7K3M-9QXT-02HD-15WV", "7K3M-9QXT-02HD-15WV"),
        (" 7k3m9qxt 02hd15wv ", "7K3M-9QXT-02HD-15WV"),
        ("7K3M\u20139QXT\u2013O2HD\u2013I5WV", "7K3M-9QXT-02HD-15WV"),
        ("7K3M-9QXT-02HD", None),
        ("7K3M-9QXT-02HD-15WU", None),
        ("", None),
    ],
)  # fmt: skip
def test_a_code_is_read_as_people_type_it(typed: str, code: str | None) -> None:
    """Small letters, blanks, long dashes, O for 0 and I for 1 do not matter; too few signs, or a U, are no code."""
    assert read_code(typed) == code


def test_a_site_s_cards_are_found_by_their_code(tmp_path: Path) -> None:
    """Kept and read again it is the same card; without a file there is none; altered, under another's name, or no card it is refused."""
    card_site(tmp_path)
    one, other = cards_of(tmp_path)
    file = card_file(tmp_path, one.code)
    assert kept_card(tmp_path, one.code) is None
    file.parent.mkdir()
    file.write_text(card_text(one), encoding="utf-8")
    assert kept_card(tmp_path, one.code) == one
    card_file(tmp_path, other.code).write_text(card_text(one), encoding="utf-8")
    for text, words in ((card_text(one).replace("Change oil", "Leave oil"), "was altered"), ("{}", "is not a job card")):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(RequestProblemError, match=words):
            read_card(file)
    with pytest.raises(RequestProblemError, match="holds another card"):
        kept_card(tmp_path, other.code)
