"""The cards that a site keeps: `cards/CODE.json` in its folder, so that what is handed in of one can be held against it.

In: a site's folder and cards or codes. Out: the files, and the cards that they hold. Refuses (CLI153) a file that is not
the card of its code.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from intervals.problems import Problem, RequestProblemError
from intervals.questions.card.card_code import is_genuine, read_code
from intervals.questions.card.card_models import Card
from intervals.readings.files.encodings import text_of_file

CARDS_FOLDER = "cards"
CODE = "CLI153"


def card_file(folder: Path, code: str) -> Path:
    """Return where a site keeps the card of a code.

    Args:
        folder: the site's folder.
        code: as cards have it.
    """
    return folder / CARDS_FOLDER / f"{code}.json"


def read_card(file: Path) -> Card:
    """Return the card of a file.

    Args:
        file: such as `card_file` returns.

    Raises:
        RequestProblemError: it cannot be read, is no card, or was altered: it does not have the code of what it says (code CLI153).
    """
    try:
        card = Card.model_validate_json(text_of_file(file.read_bytes()))
    except OSError as error:
        raise _refused(file, f"cannot be read: {(error.strerror or type(error).__name__).lower()}") from error
    except ValidationError as error:
        raise _refused(file, "is not a job card of this program") from error
    if not is_genuine(card):
        raise _refused(file, f"was altered: it no longer has the code of what it says, {card.code}")
    return card


def kept_card(folder: Path, code: str) -> Card | None:
    """Return the card of a code, or None where the site keeps none.

    Args:
        folder: the site's folder.
        code: as cards have it.

    Raises:
        RequestProblemError: its file is not that card (code CLI153).
    """
    if read_code(code) != code:
        # what is no code names no file: it may be far too long, or lead elsewhere
        return None
    file = card_file(folder, code)
    if not file.is_file():
        return None
    card = read_card(file)
    if card.code != code:
        raise _refused(file, f"holds another card, {card.code}")
    return card


def _refused(file: Path, text: str) -> RequestProblemError:
    """Return the error of a file that is not used."""
    return RequestProblemError([Problem(CODE, str(file), None, None, text, "remove it, and make the card again")])
