"""The least that a site and a rule set can hold, as models, for tests that change one thing of it."""

from __future__ import annotations

import copy
from typing import Any

from intervals.rules.ruleset import RuleSet
from intervals.site.model import Site

SMALL_RULES: dict[str, Any] = {
    "ruleset": "small",
    "title": "Small",
    "version": "1",
    "source": "nowhere",
    "tasks": [{"id": "oil", "title": "Oil", "every": {"running_hours": 500}}],
}


def small_site(**changes: object) -> Site:
    """Return a site of one engine."""
    data = {
        "site": "small",
        "time_zone": "UTC",
        "ruleset": "x",
        "engines": [{"id": "G1"}],
        "readings": {
            "files": "a.csv",
            "timestamp": {"column": "T"},
            "engine": {"value": "G1"},
            "quantities": {"hour_meter_h": {"column": "H"}},
        },
    }
    return Site.model_validate(data | changes)


def small_rules(**changes: object) -> RuleSet:
    """Return a rule set of one task."""
    return RuleSet.model_validate(copy.deepcopy(SMALL_RULES) | changes)
