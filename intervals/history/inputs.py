"""What judging a site needs, read once: the log, the records, the rules, at a moment.

In: a `Site`, the moment of judging. Out: `Inputs`. Refuses (ProblemsError) what cannot be read or leaves nothing to judge: an empty
log, rules that do not load, a local time that the site's clock skips or shows twice.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple, TypeVar

from intervals.faults import TASK_NAMES, Fault, Spelled
from intervals.findings import FaultLine, RecordsWarning
from intervals.history.completions import task_ids, tasks_known_to
from intervals.history.record_rows import mapped_task_faults, records_warnings, use_rows
from intervals.history.unknown_names import task_problems
from intervals.local_days import LocalDays
from intervals.problems import Problem, ProblemsError, ReadingsProblemError, RequestProblemError, clearly_nearest, error_of
from intervals.readings import Analysis, Readings, Records, ServiceRecord, read_lab, read_readings, read_records
from intervals.readings.records.found_grades import FoundGrades, read_found_grades
from intervals.rulebook.rulebook import RuleBook, level_names
from intervals.rulebook.severe_duty import book_with_severe_duty
from intervals.rulebook.standings import Standings, shared_standings
from intervals.rules.review.one_job_checks import check_sets_of_site
from intervals.rules.review.site_fit import check_against_site
from intervals.rules.review.stated_facts import check_stated_facts
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.shown_numbers import count_of
from intervals.site.local_times import doubt_of
from intervals.site.model import Engine, Site

Progress = Callable[[str, float], None]
Part = TypeVar("Part")
Outcome = tuple[Part | None, tuple[Problem, ...]]


class Moment(NamedTuple):
    """The moment of judging.

    Attributes:
        at_us: the instant; of a date it is the next local midnight.
        is_date: whether a date was given.
        last_day: the last local day that it covers.
    """

    at_us: int
    is_date: bool
    last_day: date


@dataclass
class Inputs:
    """Everything that judging a site needs, read once.

    Attributes:
        site: the site.
        moment: the moment of judging.
        readings: accepted rows of the operating log.
        records: engine id -> its service records, in file order.
        faults: faults of files, rows and records.
        books: rule set name -> its rule book.
        days: the site's local days.
        standings: the shared rules.
        analyses: engine id -> its analyses, in file order.
        grades: how parts were found, by engine, task and card; read where some rule set asks for it.
        warnings: what must be said before anything that rests on the records.
        known_tasks: the tasks of all its rule sets.
    """

    site: Site
    moment: Moment
    readings: Readings
    records: dict[str, list[ServiceRecord]]
    faults: list[Fault]
    books: dict[str, RuleBook]
    days: LocalDays
    standings: Standings = field(default_factory=shared_standings)
    analyses: dict[str, list[Analysis]] = field(default_factory=dict)
    grades: FoundGrades = field(default_factory=dict)
    warnings: tuple[RecordsWarning, ...] = ()
    known_tasks: frozenset[str] = frozenset()
    _task_words: dict[str, Spelled | None] = field(default_factory=dict, repr=False)

    def fault_lines(self, faults: Iterable[Fault]) -> tuple[FaultLine, ...]:
        """Return faults as they are printed; the word of a task that another rule set here has is no unknown word of the site."""
        return tuple(fault_line(self._with_known_tasks(fault), self.days) for fault in faults)

    def _with_known_tasks(self, fault: Fault) -> Fault:
        """Return a fault whose words of tasks are held against all rule sets of the site."""
        if fault.spelled is not None and fault.kind == "unknown_task" and fault.spelled.word in self.known_tasks:
            return fault._replace(spelled=fault.spelled._replace(is_elsewhere=True))
        if not fault.besides:
            return fault
        held = (self._task_word(each.word) if each.key == TASK_NAMES else each for each in fault.besides)
        return fault._replace(besides=tuple(each for each in held if each is not None))

    def _task_word(self, word: str) -> Spelled | None:
        """Return what may be meant by a word of a task, or None where it is known."""
        if word not in self._task_words:
            is_known = task_ids({word}, self.known_tasks)[word] in self.known_tasks
            tasks = {task: task for book in self.books.values() for task in book.ruleset.renewed}
            self._task_words[word] = None if is_known else Spelled(TASK_NAMES, word, clearly_nearest(word, tasks) or "", tuple(tasks))
        return self._task_words[word]

    def rulesets_of(self, engine: Engine, ruleset: str | None) -> tuple[str, ...]:
        """Return by which of `books` an engine is judged: by the one asked for, or by those that the site lists for it."""
        return (ruleset,) if ruleset else self.site.rulesets_of(engine)

    def books_of(self, engine: Engine, ruleset: str | None) -> list[RuleBook]:
        """Return the rule books that judge an engine."""
        return [book_with_severe_duty(self.books[name], engine) for name in self.rulesets_of(engine, ruleset)]


def moment_of(site: Site, as_of: date | datetime) -> Moment:
    """Return the moment of judging: a date means the next local midnight, a time is that instant.

    Raises:
        TypeError: it is neither a date nor a datetime.
        RequestProblemError: a time without offset that the site's clock skips or shows twice (code CLI014).
    """
    _check_moment(as_of)
    if isinstance(as_of, datetime):
        _check_one_instant(site, as_of)
        at_us = site.instant_us(as_of)
        last = datetime.fromtimestamp((at_us - 1) / 1e6, tz=site.zone).date()
        return Moment(at_us, is_date=False, last_day=last)
    return Moment(site.instant_us(as_of + timedelta(days=1)), is_date=True, last_day=as_of)


def _check_moment(as_of: object) -> None:
    """Refuse (TypeError) what is no moment to judge at; a caller's text or number never becomes a date by guessing."""
    if not isinstance(as_of, date):
        message = f"as_of takes a date (its end is meant) or a datetime (without offset: local to the site); got {as_of!r}"
        raise TypeError(message)


def _check_one_instant(site: Site, at: datetime) -> None:
    """Refuse a local time that is no instant, or two, because the clock is set forward or back there."""
    doubt = doubt_of(at, site.zone)
    if doubt is not None:
        raise RequestProblemError([Problem("CLI014", "--as-of", None, None, doubt.text, doubt.fix)])


def read_inputs(  # noqa: PLR0913 - every argument is one thing that inputs depend on
    site: Site,
    as_of: date | datetime,
    *,
    now_us: int | None = None,
    ruleset: str | None = None,
    asked: Sequence[Problem] = (),
    tasks: Collection[str] = (),
    ahead: Callable[[], Readings] | None = None,
    progress: Progress | None = None,
) -> Inputs:
    """Read rule sets, readings, records and analyses of a site; everything that is wrong is reported together.

    Args:
        site: the site.
        as_of: the moment of judging.
        now_us: the clock, UTC microseconds; rows and records later than it are faults. None: no clock.
        ruleset: name or path of a rule set that judges every engine instead of the site's.
        asked: what is known to be wrong with what was asked for; it is refused together with what cannot be read.
        tasks: ids that were asked for, and that some rule set of the site must have.
        ahead: waits for the readings, where somebody has begun to read them; None: they are read here.
        progress: called with a few words and the share done.

    Raises:
        ProblemsError: what is wrong with what was asked for, what cannot be read, and what leaves nothing to judge: all at once, first
            what was asked for, then rule sets, log, service records and analyses.
    """
    moment, wrong_moment = _outcome(lambda: moment_of(site, as_of))
    books, wrong_rules = _outcome(lambda: _read_books(site, ruleset))
    wrong_tasks = task_problems(books, tasks) if books is not None else []
    (readings, wrong_log), (recorded, wrong_records) = _read_both(site, now_us, ahead, progress)
    values = frozenset[str]().union(*(book.lab_values for book in (books or {}).values()))
    lab, wrong_lab = _outcome(lambda: read_lab(site, values, now_us=now_us))
    problems = [*asked, *wrong_tasks, *wrong_moment, *wrong_rules, *wrong_log, *wrong_records, *wrong_lab]
    if problems or moment is None or books is None or readings is None or recorded is None or lab is None:
        raise error_of(problems)
    known_tasks = {
        unit.id: _tasks_of([books[name] for name in ((ruleset,) if ruleset else site.rulesets_of(unit))]) for unit in site.judged_units
    }
    rows = use_rows(site, recorded.records, known_tasks.__getitem__)
    days = LocalDays(site.zone, _earliest_us(site, readings, recorded.records, moment), moment.at_us)
    all_known = frozenset[str]().union(*known_tasks.values())
    faults = [*readings.faults, *recorded.faults, *lab.faults]
    if ruleset is None:
        # another rule set that is asked for once need not have the tasks of the site's own
        faults += mapped_task_faults(site, sorted(all_known))
    warnings = records_warnings(site, recorded, rows, moment.at_us)
    asks_grades = any(book.asks_found for book in books.values())
    return Inputs(
        site,
        moment,
        readings,
        rows.by_engine,
        faults,
        books,
        days,
        analyses=lab.by_engine(),
        grades=read_found_grades(site.folder) if asks_grades else {},
        warnings=warnings,
        known_tasks=all_known,
    )


def _tasks_of(books: Sequence[RuleBook]) -> frozenset[str]:
    """Return the tasks that a record may name where rule books judge: bare, or behind the name of their rule set."""
    return frozenset(name for book in books for task in tasks_known_to(book.ruleset) for name in (task, f"{book.ruleset.ruleset}.{task}"))


def _outcome(part: Callable[[], Part]) -> Outcome[Part]:
    """Return what a part of reading yields, or None and what it refuses."""
    try:
        return part(), ()
    except ProblemsError as error:
        return None, error.problems


def _read_both(
    site: Site, now_us: int | None, ahead: Callable[[], Readings] | None, progress: Progress | None
) -> tuple[Outcome[Readings], Outcome[Records]]:
    """Return log and records of a site; whoever reads the log ahead is waited for last."""
    recorded = None if ahead is None else _outcome(lambda: read_records(site, now_us=now_us))
    if progress:
        progress("reading the log", 0.0)
    readings = _outcome(lambda: _with_rows(site, read_readings(site, now_us=now_us) if ahead is None else ahead()))
    if progress:
        progress("reading the service records", 0.3)
    return readings, recorded or _outcome(lambda: read_records(site, now_us=now_us))


def _with_rows(site: Site, readings: Readings) -> Readings:
    """Return the readings; refuse a log without a row that can be used."""
    if not readings.rows_accepted:
        what = "no row at all" if not readings.rows_read else f"none of {count_of(readings.rows_read, 'row')} can be used"
        kinds = sorted({fault.kind for fault in readings.faults})
        fix = f"faults: {', '.join(kinds)}" if kinds else "put the operating log into the files that site.yaml names under readings"
        raise ReadingsProblemError([Problem("REA090", site.file, None, "$.readings", f"the log is empty: {what}", fix)])
    return readings


def _earliest_us(site: Site, readings: Readings, records: Sequence[ServiceRecord], moment: Moment) -> int:
    """Return an instant no later than anything that is known of the site."""
    known = [moment.at_us]
    known += [site.instant_us(engine.in_service) for engine in site.judged_units if engine.in_service is not None]
    known += [site.instant_us(entry.from_) for component in site.components for entry in component.fitted]
    known += [block.rows.span_us[0] for block in readings.blocks if len(block)]
    known += [record.at_us for record in records if record.at_us is not None]
    known += [site.instant_us(record.on) for record in records if record.on is not None]
    return min(known)


def _read_books(site: Site, ruleset: str | None) -> dict[str, RuleBook]:
    """Return the rule books of the site by the name under which it asks for them."""
    names = [ruleset] if ruleset else site.rulesets
    problems: list[Problem] = []
    loaded: dict[str, RuleSet] = {}
    for name in names:
        try:
            beside = Path.cwd() if ruleset else site.folder
            loaded[name] = load_ruleset(find_ruleset(name, beside))
        except ProblemsError as error:
            problems += error.problems
    stated = check_stated_facts(
        site, lambda engine: [loaded[name] for name in ((ruleset,) if ruleset else site.rulesets_of(engine)) if name in loaded]
    )
    for made in loaded.values():
        problems += check_against_site(made, site, stated.meant)
    problems += stated.problems
    if ruleset is None and len(loaded) == len(names):
        problems += check_sets_of_site(site, loaded)
    if problems:
        raise ProblemsError(problems)
    return {name: RuleBook(made, level_names(site)) for name, made in loaded.items()}


def fault_line(fault: Fault, days: LocalDays) -> FaultLine:
    """Return a fault as it is printed."""
    return FaultLine.of(fault, None if fault.at_us is None else days.iso(fault.at_us))
