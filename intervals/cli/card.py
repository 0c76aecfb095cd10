"""`intervals card`: write the job card of a stop: what to do, step by step, on paper or on a screen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import AsOfOption, SiteArgument, named_path, typed_again
from intervals.cli.common.output import Answer
from intervals.cli.common.progress import progress_bar
from intervals.cli.common.site_request import SiteRequest

if TYPE_CHECKING:
    from intervals.history.inputs import Progress
    from intervals.problems import Problem
    from intervals.questions.card.card_models import Card
    from intervals.reports.lines import Line
    from intervals.site.model import Site

ALL = "all"
_SOME_REFUSED = 1
_AT_A_TIME = 50
"""How many cards are made before they are written: a fleet's pages need not all be held at once."""


class SheetKind(StrEnum):
    """What a sheet is written as."""

    CSV = "csv"
    XLSX = "xlsx"


class CardLanguage(StrEnum):
    """The languages of a card."""

    EN = "en"
    DE = "de"
    NL = "nl"
    FR = "fr"
    ES = "es"


@answers
def card(
    *,
    site: SiteArgument,
    engine: Annotated[
        list[str],
        typer.Argument(metavar="ENGINE...", help="Ids of engines or components, or all for every one of the site.", show_default=False),
    ],
    tasks: Annotated[
        str | None,
        typer.Option("--tasks", metavar="ID,ID", help="These tasks. Default: all that are overdue or upcoming.", show_default=False),
    ] = None,
    stop: Annotated[
        str | None,
        typer.Option("--stop", metavar="DATE", help="The tasks of the stop that plan.yaml has on this day.", show_default=False),
    ] = None,
    on: Annotated[
        str | None,
        typer.Option(
            "--on", metavar="DATE", help="The day of the work. Default: that of the stop, else the day judged.", show_default=False
        ),
    ] = None,
    completes: Annotated[
        str | None,
        typer.Option("--completes", metavar="CODE", help="The earlier card whose work this one completes.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FOLDER",
            parser=named_path,
            help="Folder for the pages and sheets; made if it does not exist. Default: cards in the site's folder.",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[bool, typer.Option("--paper", help="Write a page to print, without any script.")] = False,
    sheet: Annotated[
        SheetKind | None,
        typer.Option(
            "--sheet",
            help="Also write a sheet with one row per step, to type in what was written on paper.",
            show_default=False,
        ),
    ] = None,
    language: Annotated[CardLanguage, typer.Option("--language", help="The language of the card.")] = CardLanguage.EN,
    as_of: AsOfOption = None,
) -> Answer:
    """Write the job card of a stop: what to do and why, step by step.

    CODE.html is one self-contained page for paper (A4) and for a phone or tablet without a network: why each task is due, cautions,
    what to bring, every step with the engine's own values. What is filled in on the screen is handed in as CODE.card.json. The code
    belongs to what the card says: an altered card no longer has it. The card itself is kept as cards/CODE.json in the site's folder.

    \b
    Exit codes:
      0  written, or nothing is due
      1  written, but not for every engine: those left out are listed on standard error, each with the reason
      2  cannot judge or write; every problem is listed on standard error

    \b
    Examples:
      intervals card sample_logs/brackwater G1 --as-of 2026-10-31 --out cards
      intervals card my-site G1 --tasks oil-change,oil-sample --on 2026-11-03 --language de
      intervals card my-site all --stop 2026-11-03
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.date_arguments import read_day
    from intervals.cli.common.ids import engine_ids, task_ids
    from intervals.cli.common.output_guards import guard_folder
    from intervals.cli.common.print_problems import write_problems
    from intervals.questions.card.make_card import CardsAsked, make_cards
    from intervals.reports.card.card_files import handed_out

    asked = SiteRequest(site, as_of=as_of)
    if out is not None:
        asked.read(guard_folder, out, ())
    stop_day = None if stop is None else asked.read(read_day, stop, "--stop")
    day = None if on is None else asked.read(read_day, on, "--on")
    code = None if completes is None else asked.read(_read_code, completes, engine)
    if tasks is not None and stop is not None:
        asked.problems.note([_beside_one_another()])
    loaded = asked.load()
    units = [unit.id for unit in loaded.judged_units]
    chosen = () if ALL in engine and ALL not in units else engine_ids(loaded, engine)
    names = [name.strip() for name in (tasks or "").split(",") if name.strip()]
    asked.problems.note(_unknown(asked, chosen, task_ids(loaded, names, None), units))
    if tasks is not None and not names:
        asked.problems.note([_no_task()])
    asked.refuse()
    of = CardsAsked(
        engines=chosen, tasks=task_ids(loaded, names, None), stop=stop_day, on=day, language=language.value, completes=code
    )  # fmt: skip
    with progress_bar() as progress:
        cards, refused = make_cards(loaded, asked.moment, of, now_us=asked.now_us, progress=progress)
        written = _write(loaded, out, cards, partial(handed_out, paper=paper, sheet=None if sheet is None else sheet.value), progress)
    if refused:
        write_problems(refused)
    return Answer(lambda width: _lines(cards, written, width), exit_code=_SOME_REFUSED if refused else 0)


def _write(
    site: Site, out: Path | None, cards: Sequence[Card], make: Callable[[Card], dict[str, bytes]], progress: Progress | None
) -> list[list[Path]]:
    """Write the files of cards, and return those of each that go to the engine; a file that is there with the same content stays."""
    from intervals.cli.common.output_guards import guard_targets
    from intervals.questions.card.kept_cards import CARDS_FOLDER
    from intervals.reports.card.card_files import kept_file
    from intervals.writing import write_together

    kept_in = site.folder / CARDS_FOLDER
    written: list[list[Path]] = []
    for start in range(0, len(cards), _AT_A_TIME):
        if progress:
            progress("writing", start / len(cards))
        kept: dict[str, bytes] = {}
        handed: dict[str, bytes] = {}
        for made in cards[start : start + _AT_A_TIME]:
            kept |= kept_file(made)
            files = make(made)
            handed |= files
            written.append([(out or kept_in) / name for name in files])
        guard_targets(site, None, *(kept_in / name for name in kept), *(path for paths in written[start:] for path in paths))
        for folder, files in [(kept_in, kept), (out or kept_in, handed)]:
            write_together(folder, _not_there_yet(folder, files))
    return written


def _not_there_yet(folder: Path, files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the files that a folder does not have with the same content; refuse to write over what is not a page of the same card."""
    from intervals.problems import RequestProblemError
    from intervals.reports.card.card_files import may_be_replaced
    from intervals.writing import refused_target

    new: dict[str, bytes] = {}
    other: list[Path] = []
    for name, content in files.items():
        place = folder / name
        before = place.read_bytes() if place.is_file() else None
        if before != content:
            new[name] = content
            if before is not None and not may_be_replaced(name, name.partition(".")[0], before):
                other.append(place)
    if other:
        text, fix = (
            "exists already and holds something else, perhaps what was typed; it is not overwritten",
            "move it away, or name another folder",
        )
        raise RequestProblemError([refused_target(place, text, fix) for place in other])
    return new


def _read_code(typed: str, engines: Sequence[str]) -> str:
    """Return the code of a card; refuse what is none, and one card that several are to complete."""
    from intervals.problems import Problem, RequestProblemError
    from intervals.questions.card.card_code import read_code

    code = read_code(typed)
    if code is not None and len(engines) == 1 and ALL not in engines:
        return code
    text, fix = f'not the code of a card; got "{typed}"', "write it as the card has it, such as 7K3M-9QXT-02HD-15WV"
    if code is not None:
        text, fix = "one card is completed by one card, and several engines are asked for", "name one engine"
    raise RequestProblemError([Problem("CLI151", "--completes", None, None, text, fix)])


def _unknown(asked: SiteRequest, engines: Sequence[str], tasks: Sequence[str], units: Sequence[str]) -> Iterator[Problem]:
    """Yield the problems of engines that the site does not have, and of tasks that none of the engines' rule sets has."""
    from dataclasses import replace

    from intervals.cli.common.ids import unknown_arguments
    from intervals.history.unknown_names import no_such

    known = [name for name in engines if name in units] or units
    yield from (no_such("engine", "ENGINE", name, "at this site", units) for name in engines if name not in units)
    for task in tasks:
        found = [unknown_arguments(asked.site, name, task, None) for name in known]
        if found and all(found):
            yield replace(found[0][0], file="--tasks")


def _beside_one_another() -> Problem:
    """Return the problem of two ways to say which tasks are meant."""
    from intervals.problems import Problem

    return Problem("CLI151", "--stop", None, None, "--stop cannot be used with --tasks: a stop has its own", "leave one of them out")


def _no_task() -> Problem:
    """Return the problem of an empty list of tasks."""
    from intervals.problems import Problem

    return Problem("CLI151", "--tasks", None, None, "no task is named", "write for example --tasks oil-change,oil-sample, or leave it out")


def _lines(cards: Sequence[Card], written: Sequence[Sequence[Path]], width: int | None) -> list[Line]:
    """Return what was written: of each card its engine, day and code, its tasks, and its files."""
    from intervals.reports.folding import fold_lines
    from intervals.reports.lines import Span, line_of, printable
    from intervals.shown_numbers import count_of

    if not cards:
        return [line_of("Nothing is overdue or upcoming: no card is needed. Name tasks with --tasks for a card all the same.")]
    lines: list[Line] = []
    for made, files in zip(cards, written, strict=True):
        lines.append((Span(printable(made.engine), "bold"), Span(f"  {made.stop.on}  {made.code}")))
        lines.append(line_of(printable(f"  {', '.join(task.task for task in made.tasks)}: {count_of(len(made.steps), 'step')}")))
        lines += [line_of(printable(f"  {typed_again(file)}")) for file in files]
    return fold_lines(lines, width)


COMMAND = Command(card, place=35, short_help="Write the job card of a stop, for paper and screen.")
