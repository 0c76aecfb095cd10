"""The passphrase of a server that other machines reach: read from a file, and compared so that time says nothing about it.

In: a file's content or what was typed. Out: `Passphrase`. Refuses (CLI192) one that is too short to stand against guessing.
"""

from __future__ import annotations

import hmac
import secrets
from unicodedata import normalize

from intervals.problems import Problem, RequestProblemError

LEAST_CHARACTERS = 12
MOST_CHARACTERS = 1000
_FIX = "take four words that do not belong together"


class Passphrase:
    """A passphrase; only a digest under a key of this run is kept.

    Args:
        text: the passphrase; blanks around it do not count, and letters with accents are the same however they were typed.
        file: the file it came from, for messages.

    Raises:
        RequestProblemError: it is shorter than 12 characters, or longer than 1,000 (code CLI192).
    """

    def __init__(self, text: str, file: str = "--passphrase-file") -> None:
        said = _normal(text)
        if not LEAST_CHARACTERS <= len(said) <= MOST_CHARACTERS:
            wanted = f"expected {LEAST_CHARACTERS} to {MOST_CHARACTERS:,}"
            raise RequestProblemError([Problem("CLI192", file, None, None, f"the passphrase has {len(said):,} characters; {wanted}", _FIX)])
        self._key = secrets.token_bytes(32)
        self._digest = self._digest_of(said)

    def is_(self, typed: str) -> bool:
        """Return whether this is the passphrase; how long that takes does not depend on how much of it is right."""
        return len(typed) <= MOST_CHARACTERS and hmac.compare_digest(self._digest, self._digest_of(_normal(typed)))

    def _digest_of(self, text: str) -> bytes:
        """Return the digest of a text under the key of this run."""
        return hmac.digest(self._key, text.encode("utf-8", "surrogatepass"), "sha256")


def _normal(text: str) -> str:
    """Return text as it is compared."""
    return normalize("NFC", text.strip())
