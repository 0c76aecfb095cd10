"""Words of the files that nothing here is known by: each listed once for all of its rows, and as lines to be pasted into site.yaml.

In: faults. Out: the same faults with each word once, and lines of YAML. A word that must be a slip of the pen stands there with what
is meant by it; any other with three dots, in whose place a person writes what it is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from intervals.faults import Spelled
from intervals.findings import FaultLine
from intervals.reports.lines import Line, Span, line_of, printable
from intervals.shown_numbers import count_of

_MOST_WORDS = 40
_MOST_KNOWN = 12
_ROWS = {"services": "record", "lab": "analysis", "readings": "row"}
_PLURALS = {"analysis": "analyses"}
_PLAIN = re.compile(r"[^\W_][\w.-]*|\[[\w., -]+\]")
_HEADING = "Words that are not known here; complete these lines and add them to site.yaml:"


class ListedFault(NamedTuple):
    """A fault, and for how many rows it stands: those of its word, or its own."""

    fault: FaultLine
    rows: int

    @property
    def text(self) -> str:
        """What is wrong, and with how many rows."""
        spelled = self.fault.spelled
        return (
            self.fault.text if spelled is None or self.rows == 1 else f"{self.fault.text}; {_rows_of(spelled.key, self.rows)} of this word"
        )


def one_per_word(faults: Iterable[FaultLine]) -> list[ListedFault]:
    """Return the faults in the order given, those of one word (letter case does not matter) as the first of them."""
    first: dict[object, FaultLine] = {}
    places: dict[object, set[tuple[str | None, int | None]]] = {}
    for number, fault in enumerate(faults):
        word: object = number if fault.spelled is None else (fault.kind, fault.spelled.key, fault.spelled.word.casefold())
        kept = first.setdefault(word, fault)
        if kept.engine != fault.engine and kept.engine is not None:
            first[word] = kept.model_copy(update={"engine": None})
        # a row that stands for several engines is one row
        places.setdefault(word, set()).add((fault.file, fault.line))
    return [ListedFault(fault, len(places[word])) for word, fault in first.items()]


class _Word(NamedTuple):
    """One line of the block: a word, what may be meant by it, and where it stands."""

    word: str
    near: str
    known: tuple[str, ...]
    rows: int
    place: str


def spelling_lines(faults: Sequence[FaultLine]) -> list[Line]:
    """Return the words that are not known as a block for site.yaml; none of its lines is to be folded.

    Args:
        faults: the faults.

    Returns:
        A heading and the block, or nothing where every word is known.
    """
    by_key = _words_by_key(faults)
    if not by_key:
        return []
    lines = [line_of(_HEADING, "bold")]
    above = ""
    for key in sorted(by_key, key=_order):
        section, _, names = key.rpartition(".")
        if section != above:
            lines.append(line_of(_section_text(section)))
            above = section
        lines.append(line_of(f"  {names}:"))
        lines += _word_lines(key, by_key[key])
    return lines


def _words_by_key(faults: Sequence[FaultLine]) -> dict[str, list[_Word]]:
    """Return the words that are not known by the key that may state them."""
    by_word: dict[tuple[str, str], list[tuple[FaultLine, Spelled]]] = {}
    for fault in faults:
        for spelled in fault.words:
            if not spelled.is_elsewhere:
                by_word.setdefault((spelled.key, spelled.word.casefold()), []).append((fault, spelled))
    found: dict[str, list[_Word]] = {}
    for (key, _), pairs in by_word.items():
        entries, spellings = zip(*pairs, strict=True)
        nears = {each.near for each in spellings}
        known = tuple(dict.fromkeys(each for one in dict.fromkeys(each.known for each in spellings) for each in one))
        rows = {(entry.file, entry.line) for entry in entries}
        place = f"{entries[0].file}:{entries[0].line}"
        found.setdefault(key, []).append(_Word(spellings[0].word, nears.pop() if len(nears) == 1 else "", known, len(rows), place))
    return found


def _order(key: str) -> tuple[int, str]:
    """Return the place of a key in the block: as a site file has its sections."""
    return list(_ROWS).index(key.partition(".")[0].partition("[")[0]), key


def _section_text(section: str) -> str:
    """Return the line above the keys of a section; of several blocks of readings it is said which."""
    name, bracket, number = section.partition("[")
    return f"{name}:" + (f"  # block {int(number.rstrip(']')) + 1}" if bracket else "")


def _word_lines(key: str, words: Sequence[_Word]) -> list[Line]:
    """Return the lines of the words of one key, their remarks below one another."""
    shown = words[:_MOST_WORDS]
    pairs = [f"    {printable(json.dumps(each.word, ensure_ascii=False))}: {_value(each.near)}" for each in shown]
    longest = max(map(len, pairs))
    lines: list[Line] = []
    for pair, each in zip(pairs, shown, strict=True):
        remark = f"# {_rows_of(key, each.rows)}, first {printable(each.place)}"
        lines.append((Span(f"{pair}{' ' * (longest - len(pair))}  "), Span(remark + _choice(each), "dim")))
    if len(words) > len(shown):
        lines.append(line_of(f"    # and {count_of(len(words) - len(shown), 'more word')}", "dim"))
    return lines


def _value(near: str) -> str:
    """Return what a word stands for as YAML, or three dots."""
    if not near:
        return "..."
    return near if _PLAIN.fullmatch(near) else json.dumps(near, ensure_ascii=False)


def _choice(word: _Word) -> str:
    """Return from what to choose where nothing is clearly meant."""
    if word.near or not word.known:
        return ""
    more = f" and {len(word.known) - _MOST_KNOWN} more" if len(word.known) > _MOST_KNOWN else ""
    return printable(f"; choose one of: {', '.join(word.known[:_MOST_KNOWN])}{more}")


def _rows_of(key: str, rows: int) -> str:
    """Return a number of rows by what they are."""
    name = _ROWS[key.partition(".")[0].partition("[")[0]]
    return count_of(rows, name) if rows == 1 or name not in _PLURALS else f"{rows:,} {_PLURALS[name]}"
