"""Statements as files: those of an earlier make are read too."""

from __future__ import annotations

import json

from intervals.judge.statements import Statement
from intervals.reports.statement_text import read_statement, statement_text
from tests.unit.reports.made_findings import made_findings, october


def test_a_statement_with_the_earlier_counts_is_still_read() -> None:
    """Before `intervals.findings/2` 40 late, 20 missed and 6 open stood side by side: 66 are late, of which 20 missed and 6 open."""
    findings = made_findings(compliance=october())
    stated = Statement(
        site="quay", month="2026-10", as_of=findings.as_of, version="1", previous=None, inputs=(), records=(), rows={}, findings=findings
    )
    document = json.loads(statement_text(stated))
    document["findings"]["schema"] = "intervals.findings/1"
    compliance = document["findings"]["compliance"]
    for name in ("deferred", "early", "by_weight"):
        del compliance[name]
    compliance["late"] = 40
    for entry, met in zip(compliance["occurrences"], ("missed", "open"), strict=True):
        entry["met"] = met
        for name in ("weight", "open", "decided_on"):
            del entry[name]
    read = read_statement(json.dumps(document), "statements/2026-10.json").findings.compliance
    assert read is not None
    assert (read.on_time, read.late, read.missed, read.open, read.figure) == (318, 66, 20, 6, 0.828125)
    assert [(entry.met, entry.open) for entry in read.occurrences] == [("missed", False), ("late", True)]
