"""Evidence of a step that several procedures share, under the name that it has on a later card of fewer tasks.

In: an earlier card, and the steps of a later one. Out: the evidence, known under both names. Refuses
nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from intervals.questions.card.card_steps import CardStep
from intervals.questions.record.card_today import tasks_today
from intervals.questions.record.evidence import StepEvidence
from intervals.questions.record.handed_in import HandedIn
from intervals.rules.ruleset import RuleSet
from intervals.site.model import Engine

Evidence = dict[str, StepEvidence]


def with_shared_steps(part: HandedIn, steps: Iterable[CardStep], engine: Engine, rulesets: Sequence[RuleSet], zone: ZoneInfo) -> Evidence:
    """Return what an earlier card states, with that of shared steps under the names of a later card.

    A step that several procedures share stands on a card once, under the name of the first of them; on a card without that one it has
    another name, and is the same step.

    Args:
        part: the earlier card.
        steps: the steps of the later card.
        engine: their engine.
        rulesets: the rule sets that judge it.
        zone: the site's zone.

    Raises:
        InferenceFaultError: the inference engine failed.
    """
    evidence = part.evidence(zone)
    found = dict(evidence)
    missing = {_key(step): step.id for step in steps if step.step.shared and step.id not in found}
    for today in tasks_today(part.card, engine, rulesets) if missing else ():
        for step in today.steps:
            if step.step.shared and step.id in evidence and _key(step) in missing:
                found[missing[_key(step)]] = evidence[step.id]
    return found


def _key(step: CardStep) -> tuple[str | None, int | None, bool]:
    """Return what is the same of a shared step on every card."""
    return step.step.shared, step.place, step.is_restore
