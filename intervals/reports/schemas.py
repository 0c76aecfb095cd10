"""The JSON Schemas of everything that a person writes or a program reads.

In: the name of a kind of file. Out: its schema, made from the models. An editor completes and checks with it; what only shows when
the whole file is read, such as a name used twice, is left to the loaders.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from intervals.questions.card.card_models import CARD_SCHEMA, Card
from intervals.questions.duty.duty_models import Duty
from intervals.questions.explain.explanation_models import Explanation
from intervals.questions.log.log_models import LogSummary
from intervals.questions.plan.plan_models import PLAN_SCHEMA, Plan
from intervals.questions.record.handed_in import HANDED_IN_SCHEMA, HandedIn
from intervals.questions.record.record_models import RECORD_SCHEMA, RecordDocument
from intervals.questions.sites.sites_document import SITES_SCHEMA
from intervals.questions.sites.sites_models import SitesFindings
from intervals.questions.what_if.what_if_models import WhatIf
from intervals.reports.document import DUTY_SCHEMA, EXPLANATION_SCHEMA, LOG_SCHEMA, WHAT_IF_SCHEMA
from intervals.reports.document_schemas import DIALECT, document_schema, findings_schema, model_schema
from intervals.rules.overlay import NAMED_LISTS
from intervals.rules.ruleset import RuleSet
from intervals.site.model import Site


def _ruleset_schema() -> dict[str, Any]:
    """Return the schema of a rule set; entries of one that is based on another may hold only what they change."""
    schema = model_schema(RuleSet, mode="validation")
    whole: dict[str, dict[str, Any]] = {}
    for section in NAMED_LISTS:
        entry = schema["properties"].get(section, {}).get("items", {}).get("$ref", "").removeprefix("#/$defs/")
        if entry:
            asked = schema["$defs"][entry]
            # what an entry must say where it does not say something else, a base may say too
            instead = {key: asked.pop(key) for key in ("if", "else") if key in asked}
            whole[section] = {"items": {"required": asked["required"], **instead}}
            schema["$defs"][entry]["required"] = ["id"]
    required = schema["required"]
    stands_alone = {"required": required, "properties": whole}
    schema |= {"required": [key for key in required if key not in NAMED_LISTS], "if": {"required": ["based_on"]}, "else": stands_alone}
    return {"$schema": DIALECT, **schema, "title": "rule set"}


_MAKERS: dict[str, Callable[[], dict[str, Any]]] = {
    "site": lambda: {"$schema": DIALECT, **model_schema(Site, mode="validation"), "title": "site.yaml"},
    "ruleset": _ruleset_schema,
    "findings": findings_schema,
    "sites": lambda: document_schema(SitesFindings, SITES_SCHEMA),
    "explanation": lambda: document_schema(Explanation, EXPLANATION_SCHEMA),
    "log": lambda: document_schema(LogSummary, LOG_SCHEMA),
    "duty": lambda: document_schema(Duty, DUTY_SCHEMA),
    "what-if": lambda: document_schema(WhatIf, WHAT_IF_SCHEMA),
    "plan": lambda: document_schema(Plan, PLAN_SCHEMA),
    "handed-in": lambda: {"$schema": DIALECT, **model_schema(HandedIn, mode="validation"), "title": HANDED_IN_SCHEMA},
    "record": lambda: document_schema(RecordDocument, RECORD_SCHEMA),
    "card": lambda: {"$schema": DIALECT, "title": CARD_SCHEMA, **model_schema(Card, mode="serialization")},
}


def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON Schema of a kind of file.

    Args:
        kind: `site`, `ruleset`, `findings`, `sites`, `explanation`, `log`, `duty`, `what-if`, `plan`, `card`, `handed-in` or
            `record` (of one card).

    Returns:
        A schema of draft 2020-12.
    """
    return _MAKERS[kind]()
