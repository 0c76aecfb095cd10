"""Tokens of card forms: each is for one card and one session, and writes once.

In: a session and a card. Out: a token that the form carries, and what was handed in with it until a person says yes. What is remembered
is bounded; a token that was forgotten writes nothing.
"""

from __future__ import annotations

import secrets
from collections import OrderedDict
from dataclasses import dataclass
from enum import Enum
from threading import Lock
from typing import NamedTuple

from intervals.questions.card.card_models import Card
from intervals.questions.record.record_models import RecordDocument

MOST_OPEN = 200
"""So many forms may be open; the oldest is forgotten first, and what was typed into it is then asked for again."""
MOST_USED = 5000
"""So many used tokens are remembered."""
_TOKEN_BYTES = 24


class TokenState(Enum):
    """What a token is good for."""

    OPEN = "open"
    USED = "used"
    UNKNOWN = "unknown"


class Waiting(NamedTuple):
    """A card that was handed in and waits for a yes.

    Attributes:
        card: the card.
        handed_in: its bytes.
        fields: those of the form.
        shown: the verdict that was shown.
        is_saved: whether it came as a file that a card has saved: there is no form to correct it in.
    """

    card: Card
    handed_in: bytes
    fields: dict[str, str]
    shown: RecordDocument
    is_saved: bool = False


@dataclass
class _Form:
    """A form that is open: whose it is, for which card, and what waits for a yes."""

    session: str
    code: str
    waiting: Waiting | None = None


class CardTokens:
    """All tokens, shared by all threads."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._open: OrderedDict[str, _Form] = OrderedDict()
        self._used: OrderedDict[str, tuple[str, str]] = OrderedDict()

    def __len__(self) -> int:
        """How many tokens are remembered, open and used."""
        return len(self._open) + len(self._used)

    def issue(self, session: str, code: str) -> str:
        """Return a new token for one card of one session."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            self._open[token] = _Form(session, code)
            if len(self._open) > MOST_OPEN:
                self._open.popitem(last=False)
        return token

    def state(self, token: str, session: str, code: str) -> TokenState:
        """Return what a token is good for in this visit and for this card; that of another visit or card is unknown."""
        with self._lock:
            if self._used.get(token) == (session, code):
                return TokenState.USED
            return TokenState.UNKNOWN if self._of(token, session, code) is None else TokenState.OPEN

    def keep(self, token: str, session: str, code: str, waiting: Waiting) -> bool:
        """Keep what was handed in until a person says yes; return whether the token was open for it."""
        with self._lock:
            form = self._of(token, session, code)
            if form is not None:
                form.waiting = waiting
            return form is not None

    def waiting(self, token: str, session: str, code: str) -> Waiting | None:
        """Return what waits for a yes, and leave it waiting; None where nothing does."""
        with self._lock:
            form = self._of(token, session, code)
            return None if form is None else form.waiting

    def take(self, token: str, session: str, code: str) -> Waiting | None:
        """Return what waits for a yes and use the token up: of several who ask at once, one gets it."""
        with self._lock:
            form = self._of(token, session, code)
            if form is None or form.waiting is None:
                return None
            del self._open[token]
            self._used[token] = (session, code)
            if len(self._used) > MOST_USED:
                self._used.popitem(last=False)
            return form.waiting

    def reopen(self, token: str, session: str, code: str, waiting: Waiting) -> None:
        """Open a used token again: nothing was written with it, and another verdict waits for a yes."""
        with self._lock:
            if self._used.pop(token, None) == (session, code):
                self._open[token] = _Form(session, code, waiting)

    def _of(self, token: str, session: str, code: str) -> _Form | None:
        """Return the open form of a token; the lock is held."""
        form = self._open.get(token)
        return form if form is not None and (form.session, form.code) == (session, code) else None
