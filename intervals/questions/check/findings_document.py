"""The document of a site's findings: what other programs read, and what a statement keeps.

In: `Findings`. Out: one JSON document, as plain data or as text, keys in a fixed order. `reports/document_schemas.py` has the JSON Schema
that it keeps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from intervals.documents import plain_data

if TYPE_CHECKING:
    from intervals.findings import Findings, Totals

FINDINGS_SCHEMA = "intervals.findings/2"


class WrittenFindings(NamedTuple):
    """Findings of which the document is written already.

    Attributes:
        text: the document.
        totals: how many stand how.
    """

    text: str
    totals: Totals


def findings_document(findings: Findings) -> dict[str, Any]:
    """Return the document of a site's findings as plain data.

    Args:
        findings: what was found.

    Returns:
        `schema` first, then the findings; `warnings` only where there are any, `compliance` only where a month was asked for,
        `running_hours_h` only on the leg that counts running hours.
    """
    return {"schema": FINDINGS_SCHEMA, **plain_data(findings.model_dump(mode="python", exclude=_left_out_of(findings), exclude_unset=True))}


def findings_text(findings: Findings | WrittenFindings) -> str:
    """Return `findings_document` as text, written by the models themselves: a fleet has a hundred thousand figures.

    Args:
        findings: what was found, with figures that are rounded already, as the judge makes them.

    Returns:
        JSON as UTF-8 holds it, ended by a line feed; a figure that is not finite is refused by the models when they are made.
    """
    if isinstance(findings, WrittenFindings):
        return findings.text
    body = findings.model_dump_json(indent=2, exclude=_left_out_of(findings), exclude_unset=True)
    return f'{{\n  "schema": "{FINDINGS_SCHEMA}",{body[1:]}\n'


def _left_out_of(findings: Findings) -> set[str]:
    """Return the keys that the document of some findings does without."""
    return {key for key in ("warnings", "compliance") if not getattr(findings, key)}
