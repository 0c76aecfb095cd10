"""The values that an engine states under `card:`, held against those that procedures ask for.

In: the values of one engine, and the rule sets that judge it. Out: flaws of names that are nearly asked for. Refuses nothing itself: a
value that nobody asks for is the site's own, and one that is asked for and not stated is a line to fill in on the card.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from intervals.language.flaws import Flaw
from intervals.language.stated_values import CARD
from intervals.problems import clearly_nearest
from intervals.rules.review.same_words import is_same_letters
from intervals.rules.ruleset import RuleSet


def card_flaws(card: Mapping[str, float], rulesets: Iterable[RuleSet]) -> Iterator[Flaw]:
    """Yield a flaw for each value whose name is nearly one that a step asks for.

    Args:
        card: the values of an engine, by name.
        rulesets: the rule sets that judge it.
    """
    asked = {value.name for ruleset in rulesets for _, value in ruleset.stated_values if value.scope == CARD}
    unstated = sorted(asked - card.keys())
    for name in card:
        if name in asked:
            continue
        near = next((each for each in unstated if is_same_letters(each, name)), None) or clearly_nearest(
            name, {each: each for each in unstated}
        )
        if near is not None:
            text = f'no step of a procedure asks for "card.{name}"; did you mean "{near}"?'
            yield Flaw((name,), text, f"write {near}, or give it another name", "attribute")
