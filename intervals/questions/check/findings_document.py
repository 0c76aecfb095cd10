"""The document of a site's findings: what other programs read, and what a statement keeps.

In: `Findings`. Out: one JSON document, as plain data or as text, keys in a fixed order. `reports/document_schemas.py` has the JSON Schema
that it keeps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from intervals.documents import plain_data

if TYPE_CHECKING:
    from intervals.findings import Findings

FINDINGS_SCHEMA = "intervals.findings/2"


def findings_document(findings: Findings) -> dict[str, Any]:
    """Return the document of a site's findings as plain data.

    Args:
        findings: what was found.

    Returns:
        `schema` first, then the findings; `warnings` only where there are any, `compliance` only where a month was asked for,
        `running_hours_h` only on the leg that counts running hours, `planned_late` only where a planned stop lies beyond its line.
    """
    return {"schema": FINDINGS_SCHEMA, **plain_data(findings.model_dump(mode="python", exclude=_left_out_of(findings), exclude_unset=True))}


def findings_text(findings: Findings) -> str:
    """Return `findings_document` as text, written by the models themselves: a fleet has a hundred thousand figures.

    Args:
        findings: what was found, with figures that are rounded already, as the judge makes them.

    Returns:
        JSON as UTF-8 holds it, ended by a line feed; a figure that is not finite is refused by the models when they are made.
    """
    return f'{{\n  "schema": "{FINDINGS_SCHEMA}",{findings_body(findings)[1:]}\n'


def findings_body(findings: Findings) -> str:
    """Return the findings as JSON text without the name of the document: for one that holds them among others.

    Args:
        findings: as for `findings_text`.
    """
    return findings.model_dump_json(indent=2, exclude=_left_out_of(findings), exclude_unset=True)


def _left_out_of(findings: Findings) -> set[str]:
    """Return the keys that the document of some findings does without."""
    return {key for key in ("warnings", "compliance", "planned_late") if not getattr(findings, key)}
