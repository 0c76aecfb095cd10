"""The fixed words of a card in the languages that it can be in: data in `card_words.yaml`, one line for each word.

In: a language. Out: word by key. Refuses nothing: a test holds that every word is there in every language, with the same braces.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from intervals.language.words import LANGUAGES
from intervals.language.yamlmarks import load_yaml

_FILE = Path(__file__).with_name("card_words.yaml")


@lru_cache(maxsize=1)
def all_words() -> Mapping[str, Mapping[str, str]]:
    """Return every word by its key, each by language code."""
    return load_yaml(_FILE, code_prefix="CLI").data


@lru_cache(maxsize=len(LANGUAGES))
def words_in(language: str) -> Mapping[str, str]:
    """Return the words of one language by their keys.

    Args:
        language: a code of `LANGUAGES`.
    """
    return {key: texts[language] for key, texts in all_words().items()}


def number_in(value: float, language: str) -> str:
    """Return a number as a card shows it: all of its decimals, up to six, and nothing between thousands, which would be read as decimals.

    Args:
        value: the number.
        language: a code of `LANGUAGES`.

    Example:
        >>> number_in(1274.5, "en"), number_in(1274.5, "de"), number_in(20.0, "fr")
        ('1274.5', '1274,5', '20')
    """
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return ("0" if text == "-0" else text).replace(".", words_in(language)["decimal"])
