"""The statement of a month: its findings by one rule set, and digests of everything they rest on, so that it can be proved later.

In: a site, a month, what it is judged by, the statement before. Out: a `Statement`. No clock is in it: the same files give the same
statement. Refuses what `assess_site` refuses.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Literal

from intervals.documents import Frozen
from intervals.findings import Findings
from intervals.history.inputs import Inputs, Progress, moment_of, read_inputs
from intervals.judge.judged_so_far import ruleset_used
from intervals.language.months import last_day_of
from intervals.questions.check.assess import judge_inputs
from intervals.questions.input_digests import InputFile, analysis_digest, day_digests, input_files, record_digest
from intervals.questions.statement.site_parts import SiteParts, site_parts
from intervals.questions.statement.statement_scopes import Scope, engines_read, names_of
from intervals.readings import ServiceRecord
from intervals.site.model import Site

STATEMENT_SCHEMA: Literal["intervals.statement/1"] = "intervals.statement/1"


class Previous(Frozen):
    """A statement or amendment that came before: its month, the digest of its file, and the file's name.

    `file` is left out where it is the month's statement in the same folder.
    """

    month: str
    sha256: str
    file: str | None = None


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
        ruleset: id of the rule set that judged; None in statements of former versions, which held all rule sets of a site.
        ruleset_from: the name or path by which the rule set is found from the site's folder.
        engines: the engines that were judged by it.
        previous: what was stated or amended last by the same rule set, or None for the first.
        inputs: every file and rule set, with the digest of its bytes.
        records: service records and analyses up to the month's end.
        rows: engine -> day -> digest of its rows of the log, up to the month's end.
        site_parts: what of the site file counted, part by part.
        findings: what was found.
    """

    site: str
    month: str
    as_of: str
    version: str
    ruleset: str | None
    ruleset_from: str | None
    engines: tuple[str, ...] | None
    previous: Previous | None
    inputs: tuple[InputFile, ...]
    records: tuple[RecordLine, ...]
    rows: dict[str, dict[str, str]]
    site_parts: SiteParts
    findings: Findings


def read_for(site: Site, month: str, *, now_us: int | None, ruleset: str | None = None, progress: Progress | None = None) -> Inputs:
    """Return the inputs of a site at a month's end; they serve the statements of earlier months too."""
    return read_inputs(site, last_day_of(month), now_us=now_us, ruleset=ruleset, progress=progress)


def state_month(inputs: Inputs, month: str, scope: Scope, previous: Previous | None, *, version: str) -> Statement:
    """Return the statement of a month.

    Args:
        inputs: from `read_for`, for this month or a later one.
        month: `YYYY-MM`.
        scope: the rule set to judge by, and the engines to judge; without a rule set, all engines are judged as the site says.
        previous: what was stated or amended last.
        version: of the program.
    """
    site = inputs.site
    at_end = replace(inputs, moment=moment_of(site, last_day_of(month)))
    findings, used = _findings_of(at_end, month, scope)
    end_us = at_end.moment.at_us
    rows_of = engines_read(site, scope.engines)
    rows = day_digests(at_end, end_us)
    return Statement(
        site=site.site,
        month=month,
        as_of=findings.as_of,
        version=version,
        ruleset=scope.ruleset,
        ruleset_from=scope.named,
        engines=None if scope.ruleset is None else scope.engines,
        previous=previous,
        inputs=input_files(used),
        records=(*_record_lines(at_end, end_us, scope.engines), *_analysis_lines(used, end_us, scope.engines)),
        rows={engine: days for engine, days in rows.items() if engine in rows_of},
        site_parts=site_parts(site, scope.engines, end_us),
        findings=findings,
    )


def known_then(inputs: Inputs, month: str) -> Inputs:
    """Return the inputs as they were known at a month's end: without the rows, records and results that came after it.

    Args:
        inputs: from `read_for`, for this month or a later one.
        month: `YYYY-MM`.
    """
    end_us = moment_of(inputs.site, last_day_of(month)).at_us
    return replace(
        inputs,
        # a row at the very end closes the month
        readings=inputs.readings.before(end_us + 1),
        records={name: [each for each in found if _at_us(inputs.site, each) < end_us] for name, found in inputs.records.items()},
        analyses={name: [each for each in found if each.result_us < end_us] for name, found in inputs.analyses.items()},
    )


def _findings_of(inputs: Inputs, month: str, scope: Scope) -> tuple[Findings, Inputs]:
    """Return the month's findings, and the inputs with no more rule sets than judged."""
    if scope.name is None:
        return judge_inputs(inputs, month=month), inputs
    site, book = inputs.site, inputs.books[scope.name]
    engines = () if set(scope.engines) == {unit.id for unit in site.judged_units} else scope.engines
    own = [names_of(site, unit) for unit in site.judged_units if unit.id in scope.engines]
    if all(scope.name in names for names in own) and any(len(names) > 1 for names in own):
        # judged beside the other rule sets of the engine: a job that was done for one of them may count for this one
        tasks = [f"{book.ruleset.ruleset}.{task}" for task in book.ruleset.judged_ids]
        findings = judge_inputs(inputs, engines=engines, tasks=tasks, month=month)
    else:
        findings = judge_inputs(inputs, ruleset=scope.name, engines=engines, month=month)
    return findings.model_copy(update={"rulesets": (ruleset_used(book.ruleset),)}), replace(inputs, books={scope.name: book})


def _record_lines(inputs: Inputs, end_us: int, engines: Collection[str]) -> Iterator[RecordLine]:
    """Yield the service records of some engines before an instant, by engine in order of the file."""
    for engine, records in inputs.records.items():
        for record in records if engine in engines else ():
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


def _analysis_lines(inputs: Inputs, end_us: int, engines: Collection[str]) -> Iterator[RecordLine]:
    """Yield the analyses of some engines whose result came before an instant, by engine in order of the file."""
    # what only another rule set asks of an analysis is no part of this one's statement
    values = frozenset(inputs.site.lab.columns).union(*(book.lab_values for book in inputs.books.values()))
    for engine, analyses in inputs.analyses.items():
        for each in analyses if engine in engines else ():
            if each.result_us < end_us:
                at = inputs.days.iso(each.result_us)
                digest = analysis_digest(each, values)
                yield RecordLine(engine=each.engine, task=each.kind, at=at, outcome="analysed", place=each.place, digest=digest)


def _at_us(site: Site, record: ServiceRecord) -> int:
    """Return when a record is of; one of a date alone at the first moment of that day."""
    return site.instant_us(record.on) if record.on is not None else record.at_us or 0
