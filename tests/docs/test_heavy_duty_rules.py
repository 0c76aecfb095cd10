"""The adjustments that README.md shows under heavy duty."""

from __future__ import annotations

from pathlib import Path

import yaml

from intervals.rules.lint import warnings_of
from intervals.rules.ruleset import RuleSet

ROOT = Path(__file__).parents[2]


def test_the_adjustments_of_the_readme_are_rules() -> None:
    """They make a rule set with a task for oil, and nothing in them is doubtful but that it has no examples."""
    section = (ROOT / "README.md").read_text(encoding="utf-8").partition("## Heavy duty")[2]
    shown = yaml.safe_load(section.partition("```yaml\n")[2].partition("```")[0])
    oil = {"id": "oil-change", "title": "Change the oil", "every": {"running_hours": 2000}, "stops_engine": True}
    made = RuleSet.model_validate({"ruleset": "shown", "title": "Shown", "version": "1", "source": "README", "tasks": [oil], **shown})
    assert [rule.id for rule in made.adjustments] == ["load-80", "load-90", "hot-oil", "cold-starts", "extension-tank"]
    assert [problem.text for problem in warnings_of(made) if problem.code != "RUL063"] == []
