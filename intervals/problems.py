"""What refuses to be judged: problems, found all at once and printed one way.

In: nothing. Out: `Problem` values and the errors that carry them. Every stage that reads something a person wrote raises
one `ProblemsError` with *all* its problems. A problem refuses (exit code 2); a fault (`faults.py`) is judged around.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from unicodedata import category

# control characters, and what separates lines and paragraphs
_BREAKING = frozenset({"Cc", "Zl", "Zp"})
NEAREST = 0.6
"""How alike a word and the nearest allowed one must be, from 0 to 1, where nothing else is said."""
_NEAR = 0.65
"""How alike two names must be, from 0 to 1: North and South are 0.6."""
_CLEARLY = 0.03
"""Two words that are as alike as this are equally near."""
_PART_NEAR = 0.6
"""How alike each part of two names must be: oil and oli are 0.67, oil and air 0.33."""
_JOINED_NEAR = 0.9
"""How alike two names must be that are parted differently: sparkplug and spark-plugs are 0.95."""
_LETTERS_OR_DIGITS = re.compile(r"\d+|[^\W\d_]+")
_THOUSANDS = re.compile(r"(?<=\d)[.,'\u2019 ](?=\d{3}(?!\d))")
_ROMAN = {
    "i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5", "vi": "6", "vii": "7", "viii": "8", "ix": "9", "x": "10", "xi": "11", "xii": "12",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that stops the judging: where it is, what was found, what was expected, what to do.

    Attributes:
        code: three letters for the stage (SIT, RUL, REA, SVC, CLI) and three digits.
        file: path as the person would type it, or the option's name.
        line: line in that file from 1, or None.
        path: place inside the document, such as `$.tasks[3].every.calendar`, or None.
        text: one line that says what is wrong, with what was found and what was expected.
        fix: one line that says what to do, or None where the text says it.
    """

    code: str
    file: str
    line: int | None
    path: str | None
    text: str
    fix: str | None = None

    def render(self) -> str:
        """Return the problem as its two or three printed lines; what it quotes of a file cannot break them."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        head = f"{self.code} {place}" + (f"  {self.path}" if self.path else "")
        lines = [head, f"    {self.text}"]
        if self.fix:
            lines.append(f"    {self.fix}")
        return "\n".join(map(on_one_line, lines))


class ProblemsError(Exception):
    """Everything that stopped a stage, in the order of the file."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(problem.render() for problem in self.problems))

    def __reduce__(self) -> tuple[type[ProblemsError], tuple[tuple[Problem, ...]]]:
        """Return how it is made again in another process: from its problems."""
        return type(self), (self.problems,)


class SiteProblemError(ProblemsError):
    """`site.yaml` cannot be used (codes SIT)."""


class RuleSetProblemError(ProblemsError):
    """A rule set cannot be used (codes RUL)."""


class ReadingsProblemError(ProblemsError):
    """Readings or service records cannot be read at all (codes REA, SVC)."""


class RequestProblemError(ProblemsError):
    """What was asked for does not exist here: an engine, a task, a date (codes CLI)."""


_ERRORS: dict[str, type[ProblemsError]] = {
    "SIT": SiteProblemError,
    "RUL": RuleSetProblemError,
    "REA": ReadingsProblemError,
    "SVC": ReadingsProblemError,
    "LAB": ReadingsProblemError,
    "CLI": RequestProblemError,
}


def error_of(problems: Iterable[Problem]) -> ProblemsError:
    """Return the error that carries problems of several stages: of the one kind that they all are of, else of none."""
    distinct = tuple(dict.fromkeys(problems))
    kinds = {_ERRORS.get(problem.code[:3], ProblemsError) for problem in distinct}
    return (kinds.pop() if len(kinds) == 1 else ProblemsError)(distinct)


def on_one_line(text: str) -> str:
    r"""Return text with every control character and line separator written out, so that it takes one line wherever it is shown.

    Example:
        >>> print(on_one_line("Ho" + chr(0x2028) + "urs" + chr(0)))
        Ho\u2028urs\x00
    """
    if text.isprintable():
        return text
    return "".join(each.encode("unicode_escape").decode("ascii") if category(each) in _BREAKING else each for each in text)


def nearest_word(word: str, allowed: Iterable[str], likeness: float = NEAREST) -> str | None:
    """Return the allowed word that is most like another one, or None where none is as like as asked for.

    Args:
        word: what was written.
        allowed: what could have been meant.
        likeness: the least ratio of `difflib`, from 0 to 1: the share of letters that both have in the same order.

    Example:
        >>> nearest_word("calender", ["calendar", "running_hours"]), nearest_word("starts", ["calendar"])
        ('calendar', None)
    """
    from difflib import get_close_matches  # noqa: PLC0415 - needed only where a word is wrong

    close = get_close_matches(word, list(allowed), n=1, cutoff=likeness)
    return close[0] if close else None


def nearest_of(word: str, allowed: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the nearest allowed word, or an empty string."""
    return asked_back(nearest_word(word, allowed))


def nearest_name_of(name: str, known: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the engine or task that must be meant by a name, or an empty string where there is any doubt."""
    return asked_back(clearly_nearest(name, {each: each for each in known}))


def asked_back(word: str | None) -> str:
    """Return `; did you mean "x"?` for a word, or an empty string."""
    return f'; did you mean "{word}"?' if word else ""


def clearly_nearest(word: str, known: Mapping[str, str]) -> str | None:
    """Return the spelling that must be meant by a word that is none, or None where there is any doubt.

    A number, a Roman numeral or a single letter distinguishes things: "Unit II" is no slip of the pen for "Unit 3". So does each part of a
    name: an air filter is no oil filter, and a top overhaul no overhaul. Neither is a word that comes equally near to two things.

    Args:
        word: what was written.
        known: what each known spelling stands for.

    Example:
        >>> clearly_nearest("Nortt", {"North": "G1", "South": "G2"}), clearly_nearest("Unit II", {"Unit 3": "G3"})
        ('North', None)
    """
    from difflib import SequenceMatcher, get_close_matches  # noqa: PLC0415 - needed only where a word is wrong

    marks = _marks_of(word)
    alike = [spelling for spelling in known if not marks or _marks_of(spelling) == marks]
    alike = [spelling for spelling in alike if _is_alike_in_parts(word, spelling)]
    # of several that are as near as one another, all are needed to see that they are
    close = get_close_matches(
        word.casefold(), list(dict.fromkeys(spelling.casefold() for spelling in alike)), n=len(alike) or 1, cutoff=_NEAR
    )
    if not close:
        return None
    ratio = SequenceMatcher(None, close[0], word.casefold()).ratio()
    rivals = {each for each in close if SequenceMatcher(None, each, word.casefold()).ratio() >= ratio - _CLEARLY}
    meant = [spelling for spelling in alike if spelling.casefold() in rivals]
    return next(each for each in meant if each.casefold() == close[0]) if len({known[spelling] for spelling in meant}) == 1 else None


def _is_alike_in_parts(word: str, spelling: str) -> bool:
    """Tell whether each part of a name is that of the other, slips of the pen aside; or whether both are one but for what joins them."""
    from difflib import SequenceMatcher  # noqa: PLC0415 - needed only where a word is wrong

    first, second = (_LETTERS_OR_DIGITS.findall(_THOUSANDS.sub("", each.casefold())) for each in (word, spelling))
    if len(first) != len(second):
        return SequenceMatcher(None, "".join(first), "".join(second)).ratio() >= _JOINED_NEAR
    pairs = [(one, other) for one, other in zip(first, second, strict=True) if one != other and one.isalpha() and other.isalpha()]
    return all(SequenceMatcher(None, one, other).ratio() >= _PART_NEAR for one, other in pairs)


def _marks_of(word: str) -> tuple[str, ...]:
    """Return what distinguishes a name from others of its kind: its numbers, in Arabic or Roman numerals, and its single letters."""
    parts = _LETTERS_OR_DIGITS.findall(_THOUSANDS.sub("", word.casefold()))
    numbers = [str(int(part)) if part.isdecimal() else _ROMAN.get(part, part) for part in parts]
    return tuple(sorted(each for each in numbers if len(each) == 1 or each.isdecimal()))
