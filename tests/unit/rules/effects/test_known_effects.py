"""Effects of adjustments: what several do together, and that nothing outside their room knows one of them by name."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from intervals.language.durations import parse_step
from intervals.language.legs import CALENDAR, RUNNING_HOURS
from intervals.rules.effects import effects_together
from intervals.rules.effects.effects_together import WindowChange, hours_of_start, weight_of_hour
from intervals.rules.effects.known_effects import EFFECTS, CountsAs, EachStartCountsAs, IntervalBecomes, IntervalTimes
from intervals.rules.effects.rule_effect import Bounds, HourEffect, RuleEffect, StartEffect, Term, WindowEffect
from intervals.rules.tasks import Adjustment, Limits

PACKAGE = Path(__file__).parents[4] / "intervals"
A_VALUE = {
    "counts_as": 1.5,
    "each_start_counts_as_h": 8,
    "interval_times": 0.8,
    "interval_becomes": {"running_hours": 3000, "calendar": "P1Y"},
    "unknown": True,
}  # fmt: skip


class Longer(WindowEffect):
    """A means that no rule set has: a leg of use gets longer by so much."""

    key = "longer_by"
    has_legs = True

    def changes(self, leg: str) -> bool:
        """Tell whether it names a leg."""
        return leg in self.value

    def changed(self, leg: str, term: Term) -> Term:
        """Return the sum."""
        return term + self.value.get(leg, 0.0) if isinstance(term, float) else term

    @property
    def in_finding(self) -> str:
        """Its words."""
        return "longer"

    @property
    def on_page(self) -> str:
        """Its words."""
        return "longer"


def adjustment(key: str) -> Adjustment:
    """Return an adjustment with one effect."""
    return Adjustment.model_validate({"id": "a", "tasks": "all", "when": {"fuel": "biogas"}, key: A_VALUE[key]})


@pytest.mark.parametrize("effect", EFFECTS, ids=lambda effect: effect.key)
def test_an_adjustment_has_the_effect_that_it_states(effect: type[RuleEffect]) -> None:
    """The value is read by the effect's own type; every sentence of it can be written."""
    made = adjustment(effect.key).effect
    assert type(made) is effect
    assert all([made.in_finding, made.in_sum, made.on_page, made.targets])
    assert issubclass(effect, (HourEffect, StartEffect, WindowEffect))


def test_effects_of_hours_multiply_and_are_bounded() -> None:
    """1.5 x 2 = 3; at most 2.5; at least 4; an hour on which nothing holds counts once whatever the limits say."""
    both = [CountsAs(1.5), CountsAs(2.0)]
    assert weight_of_hour(both, {}) == 3.0
    assert weight_of_hour(both, {"counts_as": Bounds(at_most=2.5)}) == 2.5
    assert weight_of_hour(both, {"counts_as": Bounds(at_least=4.0)}) == 4.0
    assert weight_of_hour([], {"counts_as": Bounds(at_least=4.0)}) == 1.0


def test_effects_of_starts_add_up() -> None:
    """8 h and 2 h are 10 h a start."""
    assert hours_of_start([EachStartCountsAs(8.0), EachStartCountsAs(2.0)]) == 10.0


def test_a_leg_is_replaced_then_multiplied() -> None:
    """Of 3,000 h and 2,500 h both stand to be compared; 0.5 x 0.8 = 0.4, at least 0.45; the calendar has no factor."""
    change = WindowChange.of(
        [IntervalBecomes({RUNNING_HOURS: 3000.0}), IntervalTimes(0.5), IntervalBecomes({RUNNING_HOURS: 2500.0}), IntervalTimes(0.8)],
        {"interval_times": Bounds(at_least=0.45)},
    )
    assert (change.replacing(RUNNING_HOURS), change.factor) == ([3000.0, 2500.0], 0.45)
    assert change.steps(CALENDAR, parse_step("P1Y")) == [parse_step("P1Y")]


def test_a_step_replaces_a_step() -> None:
    """The calendar leg becomes six months."""
    change = WindowChange.of([IntervalBecomes({CALENDAR: parse_step("P6M")})], {})
    assert change.steps(CALENDAR, parse_step("P1Y")) == [parse_step("P6M")]


def test_an_effect_of_another_class_needs_nothing_but_its_class(monkeypatch: pytest.MonkeyPatch) -> None:
    """A leg of 1,000 h that gets 100 h longer is 1,100 h before the factor; one that becomes 2,000 h is 2,100 h."""
    monkeypatch.setattr(effects_together, "EFFECTS", (*EFFECTS, Longer))
    longer = Longer({RUNNING_HOURS: 100.0})
    change = WindowChange.of([longer, IntervalTimes(0.8)], {})
    assert (change.changed(RUNNING_HOURS, 1000.0), change.changed("starts", 50.0), change.factor) == (1100.0, 50.0, 0.8)
    assert WindowChange.of([longer, IntervalBecomes({RUNNING_HOURS: 2000.0})], {}).replacing(RUNNING_HOURS) == [2100.0]
    assert [longer.touches(leg) for leg in (RUNNING_HOURS, CALENDAR)] == [True, False]


def test_the_limits_are_those_that_effects_offer() -> None:
    """Each bound that a class names is a key of limits, and no other."""
    assert set(Limits.model_fields) == {f"{effect.key}_{side}" for effect in EFFECTS for side in effect.bounds}


def test_nothing_outside_the_room_names_an_effect() -> None:
    """What the code below does with an effect it asks of its class; only keys of the site file and of documents are called alike."""
    # "unknown" is a word of every room: a standing, a state of an analysis, what a rule that could not be judged is
    keys = {effect.key for effect in EFFECTS if not effect.leaves_unknown}
    same_word = {
        ("site/engines.py", "interval_times"),  # severe_duty of a site
        ("rulebook/severe_duty.py", "interval_times"),
        ("questions/propose/propose.py", "interval_times"),
        ("questions/explain/explanation_models.py", "counts_as"),  # what an hour of a cell counts, in the document of explain
        ("questions/explain/explained_sums.py", "counts_as"),
        ("questions/explain/budget_explanation.py", "counts_as"),
        ("reports/explain/explanation_text.py", "counts_as"),
    }
    found = set()
    for path in PACKAGE.rglob("*.py"):
        if path.parent.name == "effects":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = {getattr(node, word, None) for word in ("attr", "arg", "id", "value")}
            found |= {(path.relative_to(PACKAGE).as_posix(), word) for word in named if isinstance(word, str) and word in keys}
    assert found == same_word
