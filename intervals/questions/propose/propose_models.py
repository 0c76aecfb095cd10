"""Intervals that an engine's duty supports, as models: a proposal for a person, never applied by itself.

In: plain values from `propose`. Out: frozen models; `reports/propose/proposal_page.py` writes them as a rule set based on the one in use.
"""

from __future__ import annotations

from typing import Any, Literal

from intervals.documents import Frozen

ProposalKind = Literal["shorter", "longer", "same", "held", "unknown"]


class Proposal(Frozen):
    """One task of one engine: its interval, what the duty supports, what is proposed (None: the rule set's rules stay), and why.

    `starts_are_in`: whether a rule on starts is worked in; `severe_duty`: the site's own factor, which stays beside it, in words.
    """

    engine: str
    task: str
    title: str
    kind: ProposalKind
    base_h: float
    supported_h: float | None
    proposed_h: float | None
    sum: str
    evidence: tuple[str, ...]
    folded: tuple[str, ...]
    starts_are_in: bool = False
    severe_duty: str | None = None


class KeptRule(Frozen):
    """An adjustment that a proposal stands in for: the tasks it keeps everywhere, and those that only some engines keep it for.

    `raw` is the adjustment as its rule set writes it.
    """

    adjustment: str
    tasks: tuple[str, ...]
    only_on: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]
    raw: dict[str, Any]


class Proposals(Frozen):
    """All proposals for the engines of one rule set.

    `based_on` is a shipped name, or None where the rule set is a file (`file`); `since` and `until` are the first and last day reckoned.
    """

    site: str
    site_title: str
    ruleset: str
    ruleset_title: str
    version: str
    based_on: str | None
    file: str
    since: str
    until: str
    proposals: tuple[Proposal, ...]
    kept: tuple[KeptRule, ...]
