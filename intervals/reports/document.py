"""The JSON documents: what other programs read. `document_schemas` has the JSON Schema that each keeps.

In: `Findings`, `Explanation` or `LogSummary`. Out: one JSON document, keys in a fixed order, two blanks of indent, so that the same
input gives the same bytes. A figure that is a number with a unit stays a float (`2000.0`); figures keep six decimals.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from pydantic_core import to_json

if TYPE_CHECKING:
    from intervals.findings import Findings
    from intervals.questions.duty.duty_models import Duty
    from intervals.questions.explain.explanation_models import Explanation
    from intervals.questions.log.log_models import LogSummary
    from intervals.questions.what_if.what_if_models import WhatIf

FINDINGS_SCHEMA = "intervals.findings/2"
EXPLANATION_SCHEMA = "intervals.explanation/1"
LOG_SCHEMA = "intervals.log/1"
DUTY_SCHEMA = "intervals.duty/1"
WHAT_IF_SCHEMA = "intervals.what-if/2"
_DECIMALS = 6
_AS_IS = frozenset({str, int, bool, type(None)})
# text ends with a quotation mark, so that a bare word at a line's end is a figure
_NOT_FINITE = re.compile(r"(NaN|Infinity),?$", re.MULTILINE)


def findings_document(findings: Findings) -> dict[str, Any]:
    """Return the document of a site's findings as plain data.

    Args:
        findings: what was found.

    Returns:
        `schema` first, then the findings; `warnings` only where there are any, `compliance` only where a month was asked for,
        `running_hours_h` only on the leg that counts running hours.
    """
    return {"schema": FINDINGS_SCHEMA, **_plain(findings.model_dump(mode="python", exclude=_left_out_of(findings), exclude_unset=True))}


def findings_text(findings: Findings) -> str:
    """Return `findings_document` as text, written by the models themselves: a fleet has a hundred thousand figures.

    Args:
        findings: what was found, with figures that are rounded already, as the judge makes them.

    Returns:
        JSON as UTF-8 holds it, ended by a line feed; a figure that is not finite is refused by the models when they are made.
    """
    body = findings.model_dump_json(indent=2, exclude=_left_out_of(findings), exclude_unset=True)
    return f'{{\n  "schema": "{FINDINGS_SCHEMA}",{body[1:]}\n'


def _left_out_of(findings: Findings) -> set[str]:
    """Return the keys that the document of some findings does without."""
    return {key for key in ("warnings", "compliance") if not getattr(findings, key)}


def explanation_document(explanation: Explanation) -> dict[str, Any]:
    """Return the document of the arithmetic behind one finding as plain data."""
    return {
        "schema": EXPLANATION_SCHEMA,
        **_plain(explanation.model_dump(mode="python", exclude=set() if explanation.warnings else {"warnings"})),
    }


def log_document(summary: LogSummary) -> dict[str, Any]:
    """Return the document of what was read of a site's log as plain data."""
    return {"schema": LOG_SCHEMA, **_plain(summary.model_dump(mode="python", exclude=set() if summary.warnings else {"warnings"}))}


def duty_document(duty: Duty) -> dict[str, Any]:
    """Return the document of the duty of a site's engines as plain data."""
    return {"schema": DUTY_SCHEMA, **_plain(duty.model_dump(mode="python"))}


def what_if_document(found: WhatIf) -> dict[str, Any]:
    """Return the document of a site under its own rules and under changed ones as plain data."""
    return {"schema": WHAT_IF_SCHEMA, **_plain(found.model_dump(mode="python", exclude=set() if found.warnings else {"warnings"}))}


def json_text(document: dict[str, Any]) -> str:
    """Return a document as text, ended by a line feed.

    Args:
        document: plain data.

    Returns:
        JSON as UTF-8 holds it, keys in the order given.

    Raises:
        ValueError: a figure is not finite.
    """
    text = to_json(document, indent=2, inf_nan_mode="constants").decode() + "\n"
    if ("NaN" in text or "Infinity" in text) and _NOT_FINITE.search(text):
        message = "a figure that is not finite is not JSON compliant"
        raise ValueError(message)
    return text


def _plain(value: Any) -> Any:  # noqa: ANN401 - walks whatever a model dumps
    """Return plain data with lists for tuples and floats rounded at the border."""
    if isinstance(value, dict):
        return {
            key: item if (kind := type(item)) in _AS_IS else _rounded(item) if kind is float else _plain(item)
            for key, item in value.items()
        }
    if isinstance(value, list | tuple):
        return [item if (kind := type(item)) in _AS_IS else _rounded(item) if kind is float else _plain(item) for item in value]
    return _rounded(value) if isinstance(value, float) else value


def _rounded(value: float) -> float:
    """Return a figure as it is printed; adding zero turns -0.0 into 0.0."""
    return round(value, _DECIMALS) + 0.0
