"""Measures of results: what the table of a task may ask of its tests, its analyses and how its part was found, one row for each.

In: a name as a rule writes it. Out: its `ResultMeasure`: what kind it is, its words, what it can be. The method that finds a measure has
the name of its kind and stands in `history/results.py`. Refuses nothing: other names have no row.
"""

from __future__ import annotations

import re
from math import inf
from typing import NamedTuple

MOST_ATTEMPTS = 200
"""Failures are counted among no more attempts than this."""
FOUND_GRADES: tuple[str, ...] = ("good", "worn", "at_limit", "failed")
"""How a part was found before the work, best first."""
FAILED = "failed"
"""The grade under which an attempt counts as a failure."""


class ResultMeasure(NamedTuple):
    """One figure or word of what was found before a window began.

    Attributes:
        kind: the row of the table that it belongs to; the method that finds it has this name.
        pattern: what its names look like; the group of the pattern is `of`.
        sample: how it is written in lists of what is known.
        description: what it is, in a few words.
        words: what stands behind a bound in a sentence, `{of}` for what the name says; empty where the name itself is put before it.
        words_of_one: the same where the figure is one.
        grades: the words that it can be; none where it is a number.
        of: of one name, the number of attempts, or the laboratory's value.
        highest: the highest value that it can have.
    """

    kind: str
    pattern: re.Pattern[str]
    sample: str
    description: str
    words: str = ""
    words_of_one: str = ""
    grades: tuple[str, ...] = ()
    of: str = ""
    highest: float = inf


RESULT_MEASURES: tuple[ResultMeasure, ...] = (
    ResultMeasure(
        "failures",
        re.compile(r"failures_in_last_(\w+)", re.ASCII),
        "failures_in_last_N",
        f"of the last N attempts of the task (N up to {MOST_ATTEMPTS}), how many failed",
        "failures in the last {of} attempts",
        "failure in the last {of} attempts",
    ),
    ResultMeasure(
        "latest", re.compile(r"latest_(\w+)", re.ASCII), "latest_X", "the latest value X of the analyses, where its result had come"
    ),
    ResultMeasure("found", re.compile("found"), "found", "how the part was found when the task was last done", grades=FOUND_GRADES),
)
"""Every measure of results."""


def result_measure_of(name: str) -> ResultMeasure | None:
    """Return the row of a measure of results, filled in for one name, or None where a name is none.

    Args:
        name: as a rule writes it: `failures_in_last_20`, `latest_iron_ppm`, `found`.

    Example:
        >>> result_measure_of("failures_in_last_20").words, result_measure_of("latest_iron_ppm").of, result_measure_of("load_pct")
        ('failures in the last 20 attempts', 'iron_ppm', None)
        >>> result_measure_of("failures_in_last_900") is None
        True
    """
    for row in RESULT_MEASURES:
        found = row.pattern.fullmatch(name)
        if found is None:
            continue
        of = found[1] if found.groups() else ""
        if row.kind != "failures":
            return row._replace(of=of)
        is_count = of.isdecimal() and of == str(int(of)) and 1 <= int(of) <= MOST_ATTEMPTS
        words, words_of_one = (each.format(of=of) for each in (row.words, row.words_of_one))
        return row._replace(of=of, words=words, words_of_one=words_of_one, highest=float(of)) if is_count else None
    return None


def is_meant_as_result(name: str) -> bool:
    """Return whether a name begins as failures among attempts do, whether or not it is one of them."""
    return name.startswith("failures_in_last")
