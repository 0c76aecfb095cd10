"""The check code of a chain of statements: short enough to be written by hand into a book that the program cannot reach.

In: the digest of a document. Out: its code. A document says the digest of the one before it, so the code of the last one stands for all of
them: whoever has it written down somewhere else can see later whether the chain up to there is the same.
"""

from __future__ import annotations

import re
from base64 import b32encode

from intervals.problems import Problem, RequestProblemError

CODE_BYTES = 10
"""Eighty bits: sixteen letters."""
_GROUP = 4
_CODE = re.compile(r"[A-Z2-7]{16}")


def check_code(sha256: str) -> str:
    """Return the check code of a document: base32 (RFC 4648) of the first 80 bits of its digest, in groups of four.

    Args:
        sha256: the digest of its file, as hexadecimal text.

    Example:
        >>> check_code("0001" * 16)
        'AAAQ-AAIA-AEAA-CAAB'
    """
    return _in_groups(b32encode(bytes.fromhex(sha256)[:CODE_BYTES]).decode("ascii"))


def read_code(typed: str) -> str:
    """Return a check code as the program writes it; blanks, dashes and the case of letters do not count, nor does 0 for O and 1 for I.

    Args:
        typed: as a person typed it.

    Raises:
        RequestProblemError: it is none (code CLI127).
    """
    letters = re.sub(r"[\s-]", "", typed).upper().replace("0", "O").replace("1", "I").replace("8", "B")
    if not _CODE.fullmatch(letters):
        text = f'not a check code; got "{typed}", expected sixteen letters and digits such as AAAQ-AAIA-AEAA-CAAB'
        raise RequestProblemError([Problem("CLI127", "--head", None, None, text, "copy it from where it was written down")])
    return _in_groups(letters)


def _in_groups(letters: str) -> str:
    """Return letters in groups, as they are copied best."""
    return "-".join(letters[start : start + _GROUP] for start in range(0, len(letters), _GROUP))
