"""What every rule set that comes with the program says of itself: where each value is from, how sure it is, and what goes before it."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from intervals.reports.rules.source_page import source_rows
from intervals.rules.citations import CHOSEN, MEMORY, NOT_SAID, OWN, PRACTICE, READ, TOLD, WORKED, citations_of
from intervals.rules.review.lint import warnings_of
from intervals.rules.ruleset import RuleSet, shipped_rulesets
from tests.published.shipped_sites import shipped

NAMES = sorted(shipped_rulesets())
LAWS = ("CFR", "MARPOL", "SOLAS", "Directive", "NFPA", "NRC", "ISO")
"""Documents that bind: laws, conventions, standards that laws name."""


def header_of(name: str) -> str:
    """Return the comment at the head of a rule set's file, as one line."""
    lines = shipped_rulesets()[name].read_text(encoding="utf-8").splitlines()
    head = lines[: next(number for number, line in enumerate(lines) if not line.startswith("#"))]
    return " ".join(line.removeprefix("#").strip() for line in head)


def known_by(ruleset: RuleSet) -> set[str]:
    """Return how the values of a rule set are known, by its own words."""
    return {row.citation.known_by for row in source_rows(ruleset)}


@pytest.mark.parametrize("name", NAMES)
def test_every_value_says_how_sure_it_is(name: str) -> None:
    """Nothing is left unsaid; "the user's own" is for what a site adds."""
    assert known_by(shipped(name)) & {NOT_SAID, OWN} == set()


@pytest.mark.parametrize("name", NAMES)
def test_the_header_agrees_with_the_values(name: str) -> None:
    """The words by which the header says how sure a value is are those of the values, each of them and no other."""
    said = re.search(r"How sure a value is stands in its source: (.*?)\.(?: [A-Z]|$)", header_of(name))
    assert said is not None
    words = {word for word in re.findall(r'"([^"]+)"', said.group(1)) if word in (READ, TOLD, MEMORY, WORKED, PRACTICE, CHOSEN)}
    assert words == known_by(shipped(name))


@pytest.mark.parametrize("name", NAMES)
def test_the_header_names_attributes_that_are_asked_for(name: str) -> None:
    """Where it lists what an engine states, each of these is asked by some rule or is described."""
    listed = re.search(r"Attributes? that an engine of this rule set states in site\.yaml: (.*?)\.(?: [A-Z]|$)", header_of(name))
    if listed is None:
        return
    named = re.findall(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b", listed.group(1))
    text = shipped_rulesets()[name].read_text(encoding="utf-8").split("\n\n", 1)[1]
    assert [word for word in named if word not in text] == []


def sources_of(ruleset: RuleSet) -> Iterator[tuple[str, str]]:
    """Yield every rule and value of a rule set with its source."""
    for task in ruleset.tasks:
        for number, every in enumerate(task.every):
            yield f"{task.id}[{number}]", every.source or task.source or ""
    for rule in ruleset.adjustments:
        yield rule.id, rule.source or ""


@pytest.mark.parametrize("name", NAMES)
def test_what_is_not_confirmed_asks_to_be(name: str) -> None:
    """A value from memory says that it is not confirmed."""
    memory = [source for _, source in sources_of(shipped(name)) if "from memory" in source and "formula" not in source]
    assert [source for source in memory if "not confirmed" not in source and "confirm before use" not in source] == []


@pytest.mark.parametrize("name", NAMES)
def test_a_law_has_no_tolerance_that_its_text_does_not_give(name: str) -> None:
    """A task whose interval is that of a law, a convention or a standard is late from its line on."""
    bound = [
        (task.id, every.source or task.source or "")
        for task in shipped(name).tasks
        if (task.tolerance_pct or task.tolerance)
        for every in task.every
        if any(law in (every.source or task.source or "") for law in LAWS)
    ]
    given = re.compile("early or late|of the interval over")
    assert [task for task, source in bound if not any(given.search(part.about) for part in citations_of(source))] == []


@pytest.mark.parametrize("name", NAMES)
def test_what_a_text_calls_an_inspection_is_one(name: str) -> None:
    """40 CFR 63 subpart ZZZZ lets air cleaners, plugs, hoses and belts be inspected, and replaced as necessary."""
    works = [
        task.title
        for task in shipped(name).tasks
        for every in task.every
        if "subpart ZZZZ table 2" in (every.source or task.source or "") and "oil" not in task.id
    ]
    assert [title for title in works if not title.startswith("Inspect")] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_rule_set_defers(name: str) -> None:
    """The engine's (or the set's) own documents come first, and the law and the local code with them."""
    source = shipped(name).source or ""
    assert source.endswith("come first")
    assert "own documents" in source
    assert "legal text" in source or "current text" in source


@pytest.mark.parametrize("name", NAMES)
def test_every_task_says_why(name: str) -> None:
    """Each task has its reason, as each adjustment and budget has."""
    ruleset = shipped(name)
    reasons = [(rule.id, rule.because) for rule in ruleset.tasks]
    reasons += [(rule.id, rule.because) for rule in ruleset.adjustments]
    reasons += [(budget.id, budget.because) for budget in ruleset.budgets]
    assert [name for name, because in reasons if not because] == []
    assert warnings_of(ruleset) == []
