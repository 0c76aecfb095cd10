"""What is asked of a person before something is written, and what is asked for where it was not typed.

In: a question. Out: the answer. What is asked goes to standard error, so that a document on standard output stays one. Nothing is asked
where nobody sits at a terminal; a `y` that is piped in is an answer.
"""

from __future__ import annotations

import sys

_YES = ("y", "yes")


def is_yes(question: str) -> bool:
    """Ask a question and tell whether the answer is yes; no answer is none.

    Args:
        question: what to ask.
    """
    return _answer(f"{question} [y/N] ").casefold() in _YES


def at_terminal() -> bool:
    """Tell whether somebody sits at a terminal who can be asked."""
    return sys.stdin is not None and sys.stdin.isatty()


def asked_for(name: str) -> str:
    """Ask for something that was not typed; empty where there is no answer.

    Args:
        name: what is asked for.
    """
    return _answer(f"{name}: ")


def _answer(text: str) -> str:
    """Return what is typed after some words."""
    sys.stderr.write(text)
    sys.stderr.flush()
    line = sys.stdin.readline() if sys.stdin is not None else ""
    if not line.endswith("\n"):
        sys.stderr.write("\n")
    return line.strip()
