"""What usually is the cause where a file is not YAML.

In: the parser's words, and the line that it stopped at. Out: what a person most likely has to change.
"""

from __future__ import annotations

_CAUSES = (
    ("mapping values are not allowed", "put text that holds a colon in quotes, and line keys up under one another"),
    ("cannot start any token", 'put text that begins with %, @ or ` in quotes, such as "%"'),
    ("alphabetic or numeric", "put text that begins with * or & in quotes"),
    ("could not find expected ':'", "write a space after each colon, and line keys up under one another"),
    ("did not find expected key", "write a space after each colon, and line keys up under one another"),
    ("did not find expected", "look for a bracket or a quote that is opened and not closed"),
    ("unexpected end of stream", "look for a bracket or a quote that is opened and not closed"),
)
"""The parser's words, and what a person most likely has to change."""


def likely_cause(said: str, written: str) -> str | None:
    """Return what a person most likely has to change, from the parser's words and the line."""
    if "\t" in written[: len(written) - len(written.lstrip())]:
        return "indent with spaces, not with tabs"
    return next((advice for words, advice in _CAUSES if words in said), None)
