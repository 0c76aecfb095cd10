"""Words that people read on a card: one text, or the same text in several languages.

In: plain YAML, a text or `{en: ..., nl: ...}`. Out: `Words`. Refuses an unknown language, an empty text and an endless one, all at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.plain_values import checked_line, checked_text, text_of
from intervals.language.scalars import shown_value
from intervals.language.value_schemas import TEXT_SCHEMA
from intervals.problems import nearest_of

LANGUAGES: Mapping[str, str] = {"en": "English", "de": "Deutsch", "nl": "Nederlands", "fr": "Français", "es": "Español"}
"""The languages that a text may be given in, each by its own name."""
WORDS_SCHEMA: dict[str, Any] = {
    "anyOf": [
        TEXT_SCHEMA,
        {
            "type": "object",
            "properties": {code: {**TEXT_SCHEMA, "description": name} for code, name in LANGUAGES.items()},
            "additionalProperties": False,
            "minProperties": 1,
        },
    ],
    "examples": ["Stop the engine.", {"en": "Stop the engine.", "nl": "Stop de motor."}],
}
_FIX = "write one text, or a text by language: {en: Stop the engine., nl: Stop de motor.}"


@dataclass(frozen=True, slots=True)
class Words:
    """One text, in one language or several.

    Attributes:
        texts: language code and text, in the order of the file; the code is empty where one text stands for every language.
    """

    texts: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        """Return the text in English, or else the first one."""
        return self.said_in("en")[1]

    @property
    def languages(self) -> tuple[str, ...]:
        """The languages that the text is given in; none where one text stands for every language."""
        return tuple(code for code, _ in self.texts if code)

    def said_in(self, language: str) -> tuple[str, str]:
        """Return the text for a reader, and the language that it really is in.

        Args:
            language: the code of the language that is asked for.

        Returns:
            Language code and text: in that language, else in English, else the first one. The code is empty where the file does not
            say which language its one text is in.

        Example:
            >>> Words((("en", "Stop."), ("nl", "Stoppen."))).said_in("fr")
            ('en', 'Stop.')
        """
        known = dict(self.texts)
        code = next((each for each in (language, "", "en") if each in known), self.texts[0][0])
        return code, known[code]

    def data(self) -> str | dict[str, str]:
        """Return the words as they stand in a file."""
        return self.texts[0][1] if not self.languages else dict(self.texts)


def parse_words(raw: object, *, one_line: bool = False) -> Words:
    """Return words from plain data.

    Args:
        raw: a text, or texts by language code.
        one_line: whether the text has to fit on one line, as a title has.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.
    """
    if isinstance(raw, Words):
        return raw
    if not isinstance(raw, Mapping):
        return Words((("", _text(raw, one_line=one_line)),))
    flaws: list[Flaw] = []
    texts: list[tuple[str, str]] = []
    if not raw:
        raise flaw_error(text="no text in any language", fix=_FIX, kind="range")
    for code, value in raw.items():
        if code not in LANGUAGES:
            text = f'"{code}" is no language that is known here{nearest_of(str(code), LANGUAGES)}'
            flaws.append(Flaw((code,), text, f"languages: {', '.join(LANGUAGES)}", "word"))
            continue
        try:
            texts.append((code, _text(value, one_line=one_line)))
        except ValueError as error:
            flaws += [flaw.below(code) for flaw in flaws_of(error)]
    if flaws:
        raise FlawsError(flaws)
    return Words(tuple(texts))


def parse_title(raw: object) -> Words:
    """Return words of one line from plain data."""
    return parse_words(raw, one_line=True)


def _text(value: object, *, one_line: bool) -> str:
    """Return one text."""
    text = text_of(value)
    if not isinstance(text, str):
        raise flaw_error(text=f"not text; got {shown_value(value)}", fix=_FIX)
    return checked_line(text) if one_line else checked_text(text)
