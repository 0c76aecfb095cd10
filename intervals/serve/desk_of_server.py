"""What the parts of one server share: the site, who judges cards, who makes them, and the bounds.

In: what the command was asked. Out: one value that every page is answered with.
"""

from __future__ import annotations

import hmac
import secrets
from typing import NamedTuple

from flask import request, session

from intervals.serve.card_tokens import CardTokens
from intervals.serve.guards import Hosts
from intervals.serve.hand_in_log import HandInLog
from intervals.serve.pages import Pages
from intervals.serve.passphrase import Passphrase
from intervals.serve.rates import Rate, RateLimits
from intervals.serve.record_desk import RecordDesk
from intervals.serve.served_site import ServedSite

OF_ONE, IN_ALL = Rate(60, 180), Rate(300, 1200)
"""Requests of one address, and of all."""
ENTERING_OF_ONE, ENTERING_IN_ALL = Rate(5, 5), Rate(30, 30)
"""Passphrases tried from one address, and from all."""
_KEY_BYTES = 32


class Served(NamedTuple):
    """What every page is answered with.

    Attributes:
        site: the site.
        pages: draws.
        hosts: names and addresses of this server.
        log: who handed in what.
        desk: makes, judges and writes cards.
        passphrase: what people enter with; None where nobody has to.
        tokens: of card forms.
        limits: of requests.
        entering: of passphrases tried.
        key: of this run; what is signed with it is worth nothing after.
    """

    site: ServedSite
    pages: Pages
    hosts: Hosts
    log: HandInLog
    desk: RecordDesk
    passphrase: Passphrase | None
    tokens: CardTokens
    limits: RateLimits
    entering: RateLimits
    key: bytes

    @classmethod
    def of(  # noqa: PLR0913 - each is one thing that a server is made of
        cls,
        site: ServedSite,
        pages: Pages,
        hosts: Hosts,
        log: HandInLog,
        desk: RecordDesk,
        passphrase: Passphrase | None,
    ) -> Served:
        """Return a server with nothing open yet."""
        limits, entering = RateLimits(OF_ONE, IN_ALL), RateLimits(ENTERING_OF_ONE, ENTERING_IN_ALL)
        return cls(site, pages, hosts, log, desk, passphrase, CardTokens(), limits, entering, secrets.token_bytes(_KEY_BYTES))

    def session_id(self) -> str:
        """Return the id of the session of this request; a new session where there is none."""
        if "id" not in session:
            session["id"] = secrets.token_urlsafe(_KEY_BYTES)
        session.permanent = True
        return str(session["id"])

    def form_token(self, purpose: str) -> str:
        """Return the token of a form of this visit that may be sent more than once, such as the one to leave by."""
        return hmac.digest(self.key, f"{purpose}\n{self.session_id()}".encode(), "sha256").hex()

    def has_form_token(self, purpose: str) -> bool:
        """Return whether this post carries the token of its form and session."""
        return "id" in session and hmac.compare_digest(self.form_token(purpose).encode(), typed("token").encode("utf-8", "replace"))

    def draw(self, name: str, **shown: object) -> str:
        """Return a page with the list of pages on top."""
        return self.pages.draw(name, leave_token=self.form_token("leave"), **shown)


def typed(name: str) -> str:
    """Return a field of the form that was posted; an empty text where there is none."""
    return request.form.get(name, "")
