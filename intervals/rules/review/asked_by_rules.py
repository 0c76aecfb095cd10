"""Names that nothing can ever supply: what a rule set asks for and neither the log, nor an engine, nor the rule set itself knows.

In: a loaded rule set. Out: flaws, to be shown by lint. Refuses nothing itself: a site that declares such a name is judged.

A rule that asks for `lode_pct` never holds, and the longer interval stays in force without a word. So a rule set says what it asks for
beyond the canonical quantities: of the log under `quantities`, of an engine under `attributes`. A name that is compared with words, or with
true and false, may be any attribute; one that is compared with numbers must be known.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from intervals.language.conditions import STANDARD_FACTS, Comparison, comparisons_of, facts_compared_alike
from intervals.language.flaws import Flaw
from intervals.language.measures import condition_of_share, is_window_measure, level_of_mean, mean_of, names_of_measures
from intervals.language.result_measures import RESULT_MEASURES, result_measure_of
from intervals.language.yamlmarks import YamlPath
from intervals.problems import nearest_of, nearest_word
from intervals.quantities import QUANTITIES, levels_of
from intervals.rules.ruleset import RuleSet

_FIX = "say what it is: under quantities what the site's log has to give, under attributes what an engine states"
_NEAR = 0.75
"""From this likeness on, an attribute that is described nowhere is taken for a slip."""


def unknown_names(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a flaw for each name that is compared with a number and that nothing can supply, at each place that asks for it.

    Args:
        ruleset: a rule set that was read from a file.
    """
    levels = [*levels_of(QUANTITIES), *ruleset.quantities]
    for place, part in _not_known(ruleset):
        if _is_of_attribute(part):
            continue
        name = part.name
        known: Sequence[str] = [mean_of(level) for level in levels] if level_of_mean(name) is not None else _known_names(ruleset, part)
        if "table" in place:
            known = [*known, *(row.sample for row in RESULT_MEASURES)]
        yield Flaw(place, f'nothing can ever supply "{name}"{nearest_of(name, known)}', _FIX, "unknown_name")


def near_names(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a flaw for each attribute that is described nowhere and that is nearly a name known everywhere, once.

    Args:
        ruleset: a rule set that was read from a file.
    """
    reported: set[str] = set()
    for place, part in _not_known(ruleset):
        if part.name in reported or not _is_of_attribute(part):
            continue
        reported.add(part.name)
        near = nearest_word(part.name, _known_names(ruleset, part), _NEAR)
        if near:
            fix = f"a site that is judged by this must declare {part.name} itself, if it is meant"
            yield Flaw(place, f'"{part.name}" is known nowhere; did you mean "{near}"?', fix, "near_name")


def unused_quantities(ruleset: RuleSet) -> Iterator[Flaw]:
    """Yield a flaw for each entry of `quantities` that no rule asks for, and for each that has the name of a canonical quantity.

    Args:
        ruleset: a rule set that was read from a file.
    """
    asked = {part.name for _, condition in ruleset.placed_conditions for part in comparisons_of(condition)}
    asked |= {leg for task in ruleset.tasks for leg in task.legs} | {name for budget in ruleset.budgets for name in budget.of.quantities}
    asked |= {leg for adjustment in ruleset.adjustments for leg in adjustment.effect.legs}
    for name in ruleset.quantities:
        if name in QUANTITIES or is_window_measure(name):
            text = f'"{name}" is known in every rule set'
            yield Flaw(("quantities", name), text, "leave it out here", "idle_rule")
        elif name not in asked and mean_of(name) not in asked:
            yield Flaw(("quantities", name), f'no rule asks for "{name}"', "leave it out, or look how the rules spell it", "idle_rule")


def _known_names(ruleset: RuleSet, part: Comparison) -> list[str]:
    """Return what a comparison may ask for, in the order in which it is listed to people."""
    levels = [*levels_of(QUANTITIES), *ruleset.quantities]
    return [*levels, *facts_compared_alike(part), *ruleset.attributes, *names_of_measures(levels)]


def _not_known(ruleset: RuleSet) -> Iterator[tuple[YamlPath, Comparison]]:
    """Yield what conditions ask for by a name that is not known, with its place; of a named condition where that stands."""
    levels = [*levels_of(QUANTITIES), *ruleset.quantities]
    known = {*levels, *STANDARD_FACTS, *ruleset.attributes, *names_of_measures(levels), *QUANTITIES}
    of_named = {part for condition in ruleset.conditions.values() for part in comparisons_of(condition)}
    for place, condition in ruleset.placed_conditions:
        for part in dict.fromkeys(comparisons_of(condition)):
            is_told = part in of_named and place[0] != "conditions"
            is_result = "table" in place and result_measure_of(part.name) is not None
            if not (is_told or is_result or part.name in known or condition_of_share(part.name) is not None):
                yield place, part


def _is_of_attribute(part: Comparison) -> bool:
    """Tell whether a comparison is with words, dates, or with true and false: an engine may state any such attribute."""
    values = part.value if isinstance(part.value, tuple) else (part.value,)
    return all(isinstance(value, (str, bool, date)) for value in values)
