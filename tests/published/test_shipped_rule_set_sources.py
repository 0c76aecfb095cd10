"""What every rule set that comes with the program says of itself: where each value is from, how sure it is, and what goes before it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from intervals.rules.review.lint import warnings_of
from intervals.rules.ruleset import RuleSet, shipped_rulesets
from tests.published.shipped_sites import shipped

NAMES = sorted(shipped_rulesets())
HOW_SURE = ("(read)", "(told)", "from memory", "worked", "common practice", "own experience")


def sources_of(ruleset: RuleSet) -> Iterator[tuple[str, str]]:
    """Yield every rule and value of a rule set with its source."""
    for task in ruleset.tasks:
        for number, every in enumerate(task.every):
            yield f"{task.id}[{number}]", every.source or task.source or ""
    for rule in ruleset.adjustments:
        yield rule.id, rule.source or ""
    for budget in ruleset.budgets:
        for number, limit in enumerate(budget.at_most):
            yield f"{budget.id}[{number}]", limit.source or budget.source or ""


@pytest.mark.parametrize("name", NAMES)
def test_every_value_says_how_sure_it_is(name: str) -> None:
    """Read, told, from memory, worked or common practice: one of them stands in each source."""
    unsure = {rule: source for rule, source in sources_of(shipped(name)) if not any(word in source for word in HOW_SURE)}
    assert unsure == {}


@pytest.mark.parametrize("name", NAMES)
def test_what_is_not_confirmed_asks_to_be(name: str) -> None:
    """A value from memory says that it is not confirmed."""
    memory = [source for _, source in sources_of(shipped(name)) if "from memory" in source and "formula" not in source]
    assert [
        source for source in memory if not any(word in source for word in ("not confirmed", "confirm before use", "scheme, from memory"))
    ] == []


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
