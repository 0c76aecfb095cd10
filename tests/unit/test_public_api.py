"""The public API."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import intervals


def test_the_public_names_are_these() -> None:
    """The API is what it promises, no more."""
    assert set(intervals.__all__) == {"Findings", "Problem", "ProblemsError", "assess", "read_ruleset", "read_site"}
    assert set(dir(intervals)) == set(intervals.__all__)


JUDGING = """
{first}
import intervals
from intervals import assess
try:
    assess(intervals.read_site("no-such-folder"), None)
except intervals.ProblemsError:
    pass
for name in intervals.__all__:
    assert callable(getattr(intervals, name)), name
try:
    intervals.assess(None)
except TypeError as error:
    assert "assess_site" in str(error), error
"""


@pytest.mark.parametrize(
    "first", ["", "import intervals.questions.check.assess", "from intervals.questions.check.assess import assess_site"]
)
def test_every_public_name_can_be_called_whatever_was_imported_before(first: str) -> None:
    """`intervals.assess` judges, whatever was imported first."""
    script = JUDGING.format(first=first)
    done = subprocess.run([sys.executable, "-c", script], cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False)
    assert done.stderr == ""


def test_a_name_that_is_not_public_is_refused() -> None:
    """An unknown name fails as Python does."""
    with pytest.raises(AttributeError, match="has no attribute 'assess_fleet'"):
        _ = intervals.assess_fleet


def test_a_site_that_is_none_is_refused(tmp_path: Path) -> None:
    """What stops the reading is a ProblemsError with its problems."""
    with pytest.raises(intervals.ProblemsError) as caught:
        intervals.read_site(tmp_path)
    assert caught.value.problems


def test_a_rule_set_is_read_by_name() -> None:
    """A shipped rule set is found by its name."""
    assert intervals.read_ruleset("gas-engine").ruleset == "gas-engine"
