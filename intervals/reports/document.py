"""The JSON documents: what other programs read. `document_schemas` has the JSON Schema that each keeps.

In: `Findings`, `Explanation` or `LogSummary`. Out: one JSON document, keys in a fixed order, two blanks of indent, so that the same
input gives the same bytes. A figure that is a number with a unit stays a float (`2000.0`); figures keep six decimals.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from intervals.documents import plain_data
from intervals.questions.plan.plan_models import PLAN_SCHEMA

if TYPE_CHECKING:
    from intervals.questions.duty.duty_models import Duty
    from intervals.questions.explain.explanation_models import Explanation
    from intervals.questions.log.log_models import LogSummary
    from intervals.questions.plan.plan_models import Plan
    from intervals.questions.what_if.what_if_models import WhatIf

EXPLANATION_SCHEMA = "intervals.explanation/1"
LOG_SCHEMA = "intervals.log/1"
DUTY_SCHEMA = "intervals.duty/1"
WHAT_IF_SCHEMA = "intervals.what-if/2"


def explanation_document(explanation: Explanation) -> dict[str, Any]:
    """Return the document of the arithmetic behind one finding as plain data."""
    return {
        "schema": EXPLANATION_SCHEMA,
        **plain_data(explanation.model_dump(mode="python", exclude=_left_out_of(explanation))),
    }


def _left_out_of(explanation: Explanation) -> dict[str, Any]:
    """Return the keys that the document of an explanation does without: what there is none of."""
    done = explanation.finding.last_done
    left_out: dict[str, Any] = {} if explanation.warnings else {"warnings": True}
    if done is not None and done.card is None:
        left_out["finding"] = {"last_done": {"card": True}}
    return left_out


def log_document(summary: LogSummary) -> dict[str, Any]:
    """Return the document of what was read of a site's log as plain data."""
    return {"schema": LOG_SCHEMA, **plain_data(summary.model_dump(mode="python", exclude=set() if summary.warnings else {"warnings"}))}


def duty_document(duty: Duty) -> dict[str, Any]:
    """Return the document of the duty of a site's engines as plain data."""
    return {"schema": DUTY_SCHEMA, **plain_data(duty.model_dump(mode="python"))}


def plan_document(plan: Plan) -> dict[str, Any]:
    """Return the document of a plan of stops as plain data."""
    return {"schema": PLAN_SCHEMA, **plain_data(plan.model_dump(mode="python"))}


def what_if_document(found: WhatIf) -> dict[str, Any]:
    """Return the document of a site under its own rules and under changed ones as plain data."""
    left_out = {key for key in ("warnings", "stops", "stops_unknown") if not getattr(found, key)}
    return {"schema": WHAT_IF_SCHEMA, **plain_data(found.model_dump(mode="python", exclude=left_out))}
