"""`intervals record`: what was done comes back, is held against its card, and restarts the clock."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.confirm import asked_for, at_terminal, is_yes
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.hours import hours_problems
from intervals.cli.common.options import SiteArgument
from intervals.cli.common.output import Answer, deliver_lines
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from intervals.problems import Problem
    from intervals.questions.record.record_models import RecordDocument
    from intervals.questions.record.record_site import Given, Recording
    from intervals.questions.record.typed_job import TypedJob
    from intervals.site.model import Site


class RecordFormat(Format):
    """What `record` prints."""

    TEXT = drawn("text", "intervals.reports.record.record_text:record_lines")
    JSON = written("json", "intervals.questions.record.record_models:record_document")


_GRADES = ("good", "worn", "at_limit", "failed")


@answers
def record(
    *,
    site: SiteArgument,
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="[FILE]...",
            help="Cards that were handed in (.card.json), or sheets typed from paper (.csv, .xlsx).",
            show_default=False,
        ),
    ] = None,
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE", help="The card of a sheet; default in cards/ of the site.", show_default=False),
    ] = None,
    engine: Annotated[str | None, typer.Option("--engine", metavar="ID", help="Without a card: the engine.", show_default=False)] = None,
    task: Annotated[
        list[str] | None,
        typer.Option("--task", metavar="ID", help="Without a card: what was done; repeatable.", show_default=False),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="DATETIME", help="Without a card: when, such as 2026-10-31T14:00.", show_default=False),
    ] = None,
    meter: Annotated[
        float | None,
        typer.Option("--meter", metavar="HOURS", min=0, help="The hour meter then; it replaces what a card says.", show_default=False),
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who did it, or who takes it back.", show_default=False)] = None,
    note: Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Without a card: a remark.", show_default=False)] = None,
    as_found: Annotated[
        str | None,
        typer.Option("--as-found", metavar="good|worn|at_limit|failed", help="Without a card: how the part was found.", show_default=False),
    ] = None,
    undo: Annotated[
        str | None, typer.Option("--undo", metavar="CODE", help="Take back what was recorded under this code.", show_default=False)
    ] = None,
    reason: Annotated[str | None, typer.Option("--reason", metavar="TEXT", help="Why; only with --undo.", show_default=False)] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking.")] = False,
    output_format: Annotated[RecordFormat, typer.Option("--format", help="Text to read, or one JSON document.")] = RecordFormat.TEXT,
) -> Answer:
    """Record what was done, so that its clock starts again.

    What was handed in is held against its card: a step left out, a wait too short, a value beyond its limits, something not put
    back, a meter reading that the log contradicts, an engine that ran meanwhile. Each task is credited, partial or refused, with the
    reasons. The rows go to the end of the site's own file of service records, written as that file is; what stands in it is never
    touched. The card is kept in records/ beside it.

    \b
    Exit codes:
      0  everything is credited and written
      1  something is partial or refused, or nothing was written
      2  cannot be used; every problem is listed on standard error

    \b
    Examples:
      intervals record my-site 7K3M-9QXT-02HD-15WV.card.json
      intervals record my-site --engine G1 --task oil-change --at 2026-10-31T14:00 --meter 18210 --by "A. Person"
      intervals record my-site --undo 7K3M-9QXT-02HD-15WV --reason "wrong engine" --by "A. Person"
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    asked = SiteRequest(site)
    typed = {"engine": engine, "task": task, "at": at, "undo": undo, "reason": reason, "by": by, "remark": note, "as_found": as_found}
    asked.problems.note(_option_problems(files=files, **typed))  # type: ignore[arg-type]
    asked.problems.note([*hours_problems("--meter", meter), *_meter_problems(files, undo, meter)])
    asked.ready()
    if undo is not None:
        return _undone(asked.site, (undo, str(reason), str(by)), asked.now, yes=yes)
    given = _given_of(asked.site, files, card, meter) if files else [_typed(asked, engine, task, at, meter, by, note, as_found)]
    from intervals.questions.record.record_site import Recording

    recording = Recording(asked.site, given, asked.now)
    found = recording.judge()
    if any(each.rows for each in found):
        if not yes:
            _show(found)
        if yes or is_yes("write these rows?"):
            found = _written(recording, output_format)
        elif output_format is RecordFormat.TEXT:
            from intervals.reports.lines import line_of

            return Answer(lambda _: [line_of("nothing was written")], exit_code=1)
    is_done = all(each.written and each.is_all_credited for each in found)
    return output_format.answer(found, exit_code=int(not is_done))


def _written(recording: Recording, output_format: RecordFormat) -> tuple[RecordDocument, ...]:
    """Return what was written of each card; where that stops half way, what is in the records by then is told before the error."""
    try:
        return recording.write()
    except Exception:
        if any(each.written for each in recording.written):
            output_format.answer(recording.so_far()).deliver()
        raise


def _show(found: Sequence[object]) -> None:
    """Show on standard error what would be written."""
    import sys

    from intervals.reports.lines import plain_text
    from intervals.reports.record.record_text import record_lines

    sys.stderr.write(plain_text(record_lines(found)))  # type: ignore[arg-type]


def _given_of(site: Site, files: Sequence[Path], card: Path | None, meter: float | None) -> list[Given]:
    """Return what files hand in; refuse all that cannot be read at once."""
    from intervals.problems import ProblemsError, error_of
    from intervals.questions.record.given_files import read_given

    given: list[Given] = []
    problems: list[Problem] = []
    for file in files:
        try:
            given.append(read_given(site, file, card))
        except ProblemsError as error:
            problems += error.problems
    if problems:
        raise error_of(problems)
    if meter is None:
        return given
    return [each._replace(handed=each.handed.model_copy(update={"hour_meter_h": meter}), content=None) for each in given]


def _typed(
    asked: SiteRequest,
    engine: str | None,
    task: Sequence[str] | None,
    at: str | None,
    meter: float | None,
    by: str | None,
    note: str | None,
    as_found: str | None,
) -> Given:
    """Return a job that was typed; what is missing is asked for at a terminal."""
    from intervals.questions.record.record_site import Given
    from intervals.questions.record.typed_job import handed_in_as

    if at_terminal():
        engine = engine or asked_for("engine")
        task = task or asked_for("tasks, with a blank between them").split()
        at = at or asked_for("done at, such as 2026-10-31T14:00")
        if meter is None:
            meter, problems = _read_meter(asked_for("hour meter, or nothing"))
            asked.problems.note([*problems, *hours_problems("--meter", meter)])
        by = by or asked_for("done by, or nothing")
    job = _job_of(asked, engine or "", task or (), at or "")
    grade = as_found if as_found in _GRADES else None
    return Given(handed_in_as(asked.site, job._replace(hour_meter_h=meter, by=by or "", note=note or "", as_found=grade)), is_typed=True)  # type: ignore[arg-type]


def _job_of(asked: SiteRequest, engine: str, task: Sequence[str], at: str) -> TypedJob:
    """Return the job; refuse what is missing of it, and an engine that is none."""
    from datetime import datetime

    from intervals.cli.common.date_arguments import read_as_of
    from intervals.cli.common.ids import engine_ids
    from intervals.history.unknown_names import no_such
    from intervals.problems import Problem
    from intervals.questions.record.stated_values import is_year
    from intervals.questions.record.typed_job import TypedJob

    known = [unit.id for unit in asked.site.judged_units]
    (found,) = engine_ids(asked.site, [engine]) if engine else ("",)
    if engine and found not in known:
        asked.problems.note([no_such("engine", "--engine", engine, "at this site", known)])
    for option, value in (("--engine", engine), ("--task", task), ("--at", at)):
        if not value:
            text = "it is not given; without a card, and away from a terminal, it cannot be asked for"
            asked.problems.note([Problem("CLI161", option, None, None, text, "name a file that was handed in, or the option")])
    when = asked.read(read_as_of, at) if at else None
    if when is not None and not isinstance(when, datetime):
        asked.problems.note(
            [Problem("CLI161", "--at", None, None, f'a time of day is needed; got "{at}"', "write for example 2026-10-31T14:00")]
        )
    elif when is not None and not is_year(when):
        asked.problems.note(
            [Problem("CLI161", "--at", None, None, f"the year {when.year} cannot be", "write for example 2026-10-31T14:00")]
        )
    elif when is not None:
        asked.problems.note(_clock_problems(when, asked.site))
    asked.refuse()
    assert isinstance(when, datetime)
    local = when.replace(tzinfo=asked.site.zone) if when.tzinfo is None else when
    return TypedJob(found, task, local, asked.now.astimezone(asked.site.zone).date(), None, "", "", None)


def _clock_problems(when: datetime, site: Site) -> list[Problem]:
    """Return what is wrong with a local time: the site's clock never shows it, or shows it twice."""
    from intervals.problems import Problem
    from intervals.questions.record.stated_values import is_on_clock, offsets_of

    is_shown = is_on_clock(when.isoformat(), site.zone)
    if is_shown:
        return []
    shown = when.isoformat(timespec="minutes")
    fix = " or ".join(f"{shown}{offset}" for offset in offsets_of(when, site.zone))
    if is_shown is None:
        text = f"the clock of the site shows {shown} twice, as it is set back"
        return [Problem("CLI161", "--at", None, None, text, f"write it with its offset: {fix}")]
    text = f"the clock of the site never shows {shown}: it is set forward then"
    return [Problem("CLI161", "--at", None, None, text, "write the time that it did show")]


def _read_meter(text: str) -> tuple[float | None, list[Problem]]:
    """Return an hour meter that was typed, None where nothing was, and what is wrong with it."""
    from intervals.problems import Problem
    from intervals.questions.record.typed_cells import CellError, figure_cell

    try:
        return (float(figure_cell(text)) if text.strip() else None), []
    except CellError as error:
        return None, [Problem("CLI161", "--meter", None, None, error.text, error.fix)]


def _meter_problems(files: Sequence[Path] | None, undo: str | None, meter: float | None) -> list[Problem]:
    """Return what is wrong with an hour meter beside other options: it is that of one engine at the end of one job."""
    from intervals.problems import Problem

    if meter is None or (undo is None and len(files or ()) <= 1):
        return []
    text, fix = "it is of one engine, and several files are to be recorded", "record them one by one, each with its own"
    if undo is not None:
        text, fix = "nothing is read off where a record is taken back", "leave it out"
    return [Problem("CLI161", "--meter", None, None, text, fix)]


def _undone(site: Site, typed: tuple[str, str, str], now: datetime, *, yes: bool) -> Answer:
    """Take a record back."""
    from intervals.questions.record.undo import Undoing, shown_undo, undo, undone_without
    from intervals.reports.lines import line_of
    from intervals.reports.record.record_text import undo_lines

    asked = Undoing(*typed, now)
    file = site.services.file
    rows, dropped = shown_undo(site, asked), undone_without(site)
    if not yes:
        deliver_lines(lambda width: undo_lines(asked, file, rows, (), dropped=dropped, width=width))
        if not is_yes("write these rows?"):
            return Answer(lambda _: [line_of("nothing was written")], exit_code=1)
    done = undo(site, asked)
    return Answer(lambda width: undo_lines(asked, file, done.text.splitlines(), done.lines, dropped=dropped, width=width))


def _option_problems(
    *,
    files: Sequence[Path] | None,
    engine: str | None,
    task: Sequence[str] | None,
    at: str | None,
    undo: str | None,
    reason: str | None,
    by: str | None,
    remark: str | None,
    as_found: str | None,
) -> list[Problem]:
    """Return what is wrong with the options beside one another."""
    from intervals.problems import Problem

    found: list[Problem] = []

    def note(option: str, text: str, fix: str) -> None:
        found.append(Problem("CLI161", option, None, None, text, fix))

    typed = {"--engine": engine, "--task": task, "--at": at, "--as-found": as_found, "--note": remark}
    typed |= {"--by": by} if files else {}
    for option, value in typed.items():
        if value and (files or undo is not None):
            note(option, "it is for a job without a card", "leave it out; the card says it" if files else "leave it out")
    if files and undo is not None:
        note("--undo", "it takes a record back, and files are to be recorded", "say the two one after the other")
    if undo is not None:
        for option, value in (("--reason", reason), ("--by", by)):
            if not (value or "").strip():
                note(
                    option,
                    "it is missing; who takes a record back says why and by whom",
                    'write for example --reason "wrong engine" --by "A. Person"',
                )
    elif reason is not None:
        note("--reason", "it can be used only with --undo", "leave it out")
    if as_found is not None and as_found not in _GRADES:
        note("--as-found", f'not a grade; got "{as_found}"', f"write one of {', '.join(_GRADES)}")
    return found


COMMAND = Command(record, place=37, short_help="Record what was done, so that its clock starts again.")
