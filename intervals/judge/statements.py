"""The statement of a month: its findings, and digests of everything they rest on, so that it can be proved later.

In: a site, a month, the statement before. Out: a `Statement`. No clock is in it: the same files give the same statement. Refuses what
`assess_site` refuses.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Literal

from intervals.findings import Findings, Frozen
from intervals.judge.assess import judge_inputs
from intervals.judge.digests import analysis_digest, day_digests, input_files, record_digest
from intervals.judge.inputs import Inputs, Progress, moment_of, read_inputs
from intervals.judge.month_models import InputFile
from intervals.judge.months import last_day_of
from intervals.readings import ServiceRecord
from intervals.site.model import Site

STATEMENT_SCHEMA: Literal["intervals.statement/1"] = "intervals.statement/1"


class Previous(Frozen):
    """The statement before: its month, and the digest of its file."""

    month: str
    sha256: str


class RecordLine(Frozen):
    """One service record that counts at the month's end: what identifies it, where it stood, and the digest of what it said."""

    engine: str
    task: str
    at: str
    outcome: str
    place: str
    digest: str


class Statement(Frozen):
    """A month as it was stated.

    Attributes:
        site: site id.
        month: `YYYY-MM`.
        as_of: the month's end.
        version: of the program that judged.
        previous: the statement before, or None for the first.
        inputs: every file and rule set, with the digest of its bytes.
        records: service records and analyses up to the month's end.
        rows: engine -> day -> digest of its rows of the log, up to the month's end.
        findings: what was found.
    """

    site: str
    month: str
    as_of: str
    version: str
    previous: Previous | None
    inputs: tuple[InputFile, ...]
    records: tuple[RecordLine, ...]
    rows: dict[str, dict[str, str]]
    findings: Findings


def read_for(site: Site, month: str, *, now_us: int | None, ruleset: str | None = None, progress: Progress | None = None) -> Inputs:
    """Return the inputs of a site at a month's end; they serve the statements of earlier months too."""
    return read_inputs(site, last_day_of(month), now_us=now_us, ruleset=ruleset, progress=progress)


def state_month(inputs: Inputs, month: str, previous: Previous | None, *, version: str, ruleset: str | None = None) -> Statement:
    """Return the statement of a month.

    Args:
        inputs: from `read_for`, for this month or a later one.
        month: `YYYY-MM`.
        previous: the statement before.
        version: of the program.
        ruleset: the rule set asked for instead of the site's.
    """
    site = inputs.site
    at_end = replace(inputs, moment=moment_of(site, last_day_of(month)))
    findings = judge_inputs(at_end, ruleset=ruleset, month=month)
    end_us = at_end.moment.at_us
    return Statement(
        site=site.site,
        month=month,
        as_of=findings.as_of,
        version=version,
        previous=previous,
        inputs=input_files(inputs),
        records=(*_record_lines(at_end, end_us), *_analysis_lines(at_end, end_us)),
        rows=day_digests(at_end, end_us),
        findings=findings,
    )


def _record_lines(inputs: Inputs, end_us: int) -> Iterator[RecordLine]:
    """Yield the service records before an instant, by engine in order of the file."""
    for records in inputs.records.values():
        for record in records:
            at_us = _at_us(inputs.site, record)
            if at_us < end_us:
                at = record.on.isoformat() if record.on is not None else inputs.days.iso(at_us)
                yield RecordLine(
                    engine=record.engine,
                    task=record.task,
                    at=at,
                    outcome=record.outcome,
                    place=f"{record.file}:{record.line}",
                    digest=record_digest(record),
                )


def _analysis_lines(inputs: Inputs, end_us: int) -> Iterator[RecordLine]:
    """Yield the analyses whose result came before an instant, by engine in order of the file."""
    for analyses in inputs.analyses.values():
        for each in analyses:
            if each.result_us < end_us:
                at = inputs.days.iso(each.result_us)
                digest = analysis_digest(each)
                yield RecordLine(engine=each.engine, task=each.kind, at=at, outcome="analysed", place=each.place, digest=digest)


def _at_us(site: Site, record: ServiceRecord) -> int:
    """Return when a record is of; one of a date alone at the first moment of that day."""
    return site.instant_us(record.on) if record.on is not None else record.at_us or 0
