"""The document of a site's findings: what other programs read, and what a statement keeps.

In: `Findings`. Out: one JSON document, as plain data or as text, keys in a fixed order. `reports/document_schemas.py` has the JSON Schema
that it keeps.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from intervals.documents import plain_data

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from intervals.findings import FaultLine, Findings, Totals
    from intervals.judge.found_text import FoundText

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


class WrittenFindings(NamedTuple):
    """The document of a site's findings, written already.

    Attributes:
        totals: how many findings there are of each standing.
        faults: what is wrong with the data.
        text: the document.
    """

    totals: Totals
    faults: tuple[FaultLine, ...]
    text: str


def written_findings(frame: Findings, found: Sequence[FoundText]) -> WrittenFindings:
    """Return the document of findings that were written as they were found: a fleet has more of them than memory is to hold.

    Args:
        frame: all but the findings and what was skipped, with the totals of these.
        found: the findings and what was skipped, in order.
    """
    head, _, rest = findings_text(frame).partition('\n  "findings": []')
    middle, _, foot = rest.partition('\n  "skipped": []')
    findings = _list_of("findings", (each.lines_of_findings for each in found))
    skipped = _list_of("skipped", (each.lines_of_skipped for each in found))
    return WrittenFindings(frame.totals, frame.faults, "".join((head, *findings, middle, *skipped, foot)))


def _list_of(name: str, parts: Iterable[str]) -> list[str]:
    """Return the pieces of a list of the document, from the lines of its entries."""
    lines = [part for part in parts if part]
    if not lines:
        return [f'\n  "{name}": []']
    pieces = [f'\n  "{name}": [\n', lines[0]]
    for part in lines[1:]:
        pieces += (",\n", part)
    return [*pieces, "\n  ]"]


def findings_text(findings: Findings | WrittenFindings) -> str:
    """Return `findings_document` as text, written by the models themselves: a fleet has a hundred thousand figures.

    Args:
        findings: what was found, with figures that are rounded already, as the judge makes them.

    Returns:
        JSON as UTF-8 holds it, ended by a line feed; a figure that is not finite is refused by the models when they are made.
    """
    if isinstance(findings, WrittenFindings):
        return findings.text
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
