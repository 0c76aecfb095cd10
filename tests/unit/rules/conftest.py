"""A rule set that uses every key: its file, and what is read of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from intervals.rules.ruleset import RuleSet, load_ruleset
from tests.unit.rules.whole_ruleset import WHOLE


@pytest.fixture
def whole_file(tmp_path: Path) -> Path:
    """The file of a rule set that uses every key."""
    path = tmp_path / "whole.yaml"
    path.write_text(WHOLE, encoding="utf-8")
    return path


@pytest.fixture
def whole(whole_file: Path) -> RuleSet:
    """A rule set that uses every key."""
    return load_ruleset(whole_file)
