"""The rules about an engine's duty: light load, more than rated, what a rating allows. Rules are data here too.

In: facts about a load or about an engine's running. Out: the rules that fired. Every threshold is a condition that durable-rules
judges; this module holds no comparison of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from intervals.arrays import Floats
from intervals.language.conditions import AllOf, Comparison, Condition
from intervals.rulebook.duty_cells import cell_of, representative
from intervals.rulebook.inference import FactValue, RuleBase, Verdict

LIGHT_PCT = 30.0
RATED_PCT = 100.0
PRIME_AVERAGE_PCT = 70.0
STANDBY_H_A_YEAR = 200.0
LIMITED_H_A_YEAR = 500.0

LIGHT = "light-load"
ABOVE_RATED = "above-rated"
RATING_SOURCE = (
    "ISO 8528-1 as told: prime 70 % over 24 h, emergency standby 200 h, limited-time 500 h a year; the set's own documents come first"
)

LOAD_RULES: dict[str, Condition] = {
    LIGHT: Comparison("load_pct", "<", LIGHT_PCT),
    ABOVE_RATED: Comparison("load_pct", ">", RATED_PCT),
}

_PRIME = Comparison("duty", "in", ("prime", "prime-power"))
_STANDBY = Comparison("duty", "in", ("standby", "emergency", "emergency-standby", "black-start"))
_LIMITED = Comparison("duty", "in", ("limited-time", "limited"))

# What a rating allows, in order of priority: the first rule that holds fires.
RATING_RULES: dict[str, Condition] = {
    "rating-unstated": Comparison("states_duty", "in", (False,)),
    "prime-average-unknown": AllOf((_PRIME, Comparison("knows_average", "in", (False,)))),
    "beyond-prime-average": AllOf((_PRIME, Comparison("heaviest_24h_pct", ">", PRIME_AVERAGE_PCT))),
    "within-prime-average": _PRIME,
    "beyond-standby-hours": AllOf((_STANDBY, Comparison("hours_in_a_year", ">", STANDBY_H_A_YEAR))),
    "within-standby-hours": _STANDBY,
    "beyond-limited-time-hours": AllOf((_LIMITED, Comparison("hours_in_a_year", ">", LIMITED_H_A_YEAR))),
    "within-limited-time-hours": _LIMITED,
    "no-rating-limit": Comparison("states_duty", "in", (True,)),
}

Verdicts = Literal["within", "beyond", "unknown", "no_limit"]
VERDICT_OF_RULE: dict[str, Verdicts] = {
    "rating-unstated": "unknown",
    "prime-average-unknown": "unknown",
    "no-rating-limit": "no_limit",
    **{rule: "beyond" for rule in RATING_RULES if rule.startswith("beyond-")},
    **{rule: "within" for rule in RATING_RULES if rule.startswith("within-")},
}


@dataclass(frozen=True)
class DutyRules:
    """The rules about duty, compiled once for a run."""

    @cached_property
    def loads(self) -> RuleBase:
        """Rules about one load."""
        return RuleBase("load", LOAD_RULES)

    @cached_property
    def ratings(self) -> RuleBase:
        """Rules about what a rating allows."""
        return RuleBase("rating", RATING_RULES, only_first=True)

    @cached_property
    def thresholds(self) -> tuple[float, ...]:
        """Every load that a rule names, rising."""
        return (LIGHT_PCT, RATED_PCT)

    @cached_property
    def _verdicts(self) -> tuple[Verdict, ...]:
        """What the rules say of each cell of the loads, the unknown one last."""
        cells = 2 * len(self.thresholds) + 2
        return tuple(self.loads.fire({"load_pct": representative(self.thresholds, code)}) for code in range(cells))

    def holds(self, rule: str, load_pct: Floats) -> Floats:
        """Return 1 for each load on which a rule holds, else 0; unknown loads have none."""
        by_cell = np.array([1.0 if rule in verdict.holds else 0.0 for verdict in self._verdicts])
        holds: Floats = by_cell[cell_of(load_pct, self.thresholds)]
        return holds

    def rating_rule(self, facts: dict[str, FactValue]) -> str:
        """Return the rule about ratings that fires."""
        return self.ratings.fire_one(facts)
