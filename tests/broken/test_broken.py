"""Broken rule sets and site files: each carries, in comments, the code, line and words of every problem it must give.

A line `#: RUL014 8 $.tasks[0].every.calendar | got "1 yr" | write P1Y` asks for one problem of that code on that line whose
printed form holds all the words. No other problem may be given.
"""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

from intervals.problems import Problem, RuleSetProblemError, SiteProblemError
from intervals.rules.ruleset import RULESET_CODES, load_ruleset
from intervals.site.model import SITE_CODES, load_site

HERE = Path(__file__).parent
MARK = "#: "


class Wanted(NamedTuple):
    """One problem that a file must give."""

    code: str
    line: int
    words: tuple[str, ...]


def wanted_of(path: Path) -> list[Wanted]:
    """Return the problems that a file's comments ask for."""
    wanted = []
    for line in path.read_text(encoding="latin-1").splitlines():
        if line.startswith(MARK):
            code, number, words = line.removeprefix(MARK).split(" ", 2)
            wanted.append(Wanted(code, int(number), tuple(word.strip() for word in words.split(" | "))))
    return wanted


def unmatched(wanted: list[Wanted], problems: list[Problem]) -> tuple[list[Wanted], list[str]]:
    """Return what was asked for and not given, and what was given and not asked for."""
    missing = []
    for want in wanted:
        fits = [
            problem
            for problem in problems
            if (problem.code, problem.line) == (want.code, want.line) and all(word in problem.render() for word in want.words)
        ]
        if fits:
            problems.remove(fits[0])
        else:
            missing.append(want)
    return missing, [problem.render() for problem in problems]


def named(folder: str) -> list[Path]:
    """Return the broken files of a folder."""
    return sorted((HERE / folder).glob("*.yaml"))


@pytest.mark.parametrize("path", named("rulesets"), ids=lambda path: path.stem)
def test_broken_ruleset_gives_exactly_its_problems(path: Path) -> None:
    """Every problem of a broken rule set is reported at once, with code, line and words, and nothing else is."""
    with pytest.raises(RuleSetProblemError) as caught:
        load_ruleset(path)
    assert unmatched(wanted_of(path), list(caught.value.problems)) == ([], [])
    assert {problem.file for problem in caught.value.problems} == {str(path)}


@pytest.mark.parametrize("path", named("sites"), ids=lambda path: path.stem)
def test_broken_site_gives_exactly_its_problems(path: Path) -> None:
    """Every problem of a broken site file is reported at once, with code, line and words, and nothing else is."""
    with pytest.raises(SiteProblemError) as caught:
        load_site(path)
    assert unmatched(wanted_of(path), list(caught.value.problems)) == ([], [])
    assert {problem.file for problem in caught.value.problems} == {str(path)}


@pytest.mark.parametrize("path", [*named("rulesets"), *named("sites")], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_code_is_documented(path: Path) -> None:
    """Each code that a broken file gives has its meaning in the table for that kind of file."""
    assert {want.code for want in wanted_of(path)} <= {*RULESET_CODES, *SITE_CODES}


@pytest.mark.parametrize("path", [*named("rulesets"), *named("sites")], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_broken_file_asks_for_something(path: Path) -> None:
    """A broken file without a stated problem would test nothing."""
    assert wanted_of(path)
