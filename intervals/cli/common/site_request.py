"""What a command is asked of a site: read, checked, and refused in one go, before anything is judged.

In: what was typed. Out: the site, the moment of judging, ids of engines and tasks. Refuses (ProblemsError) whatever is wrong with what was
typed, together with what is wrong with the site: a person mends everything in one go.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, Self, TypedDict, TypeVar

from intervals.cli.common.clock import microseconds_of, read_clock, shown_moment

if TYPE_CHECKING:
    from datetime import date, datetime

    from intervals.site.model import Site

Taken = ParamSpec("Taken")
Yield = TypeVar("Yield")


class Judging(TypedDict):
    """What each judgement takes of a request."""

    now_us: int
    ruleset: str | None
    engines: tuple[str, ...]
    tasks: tuple[str, ...]


class SiteRequest:
    """A site, and what is asked of it. The clock is read when it is made.

    A command makes one, reads what else was typed through `read`, and calls `ready`: everything that was wrong is refused together.
    One that has to look at the site before that calls `load` and then `refuse`.

    Args:
        folder: the folder of the site.
        as_of: `--as-of` as it was typed, or None.
        month: `--month` as it was typed, or None; a month is judged at its end.
        ruleset: the rule set that judges instead of the site's, or None.
        other_ruleset: one that judges besides the site's own, or None; a task may be one of it alone.
        engine: names of engines as they were typed, or None.
        task: names of tasks as they were typed, or None.
        writes: files to write; None where there is none.
        into: the folder that these files go into, where it may have to be made.
        with_components: whether components may be asked for as engines.
        now: this moment, where somebody has read the clock already.

    Attributes:
        now: this moment.
        now_us: the same, UTC microseconds.
        moment: the moment of judging; this one where none was typed, or none that can be read.
        problems: what is wrong so far.
        site: the site, once it is loaded.
        engines: ids that were asked for, likewise.
        tasks: ids that were asked for, likewise.
    """

    site: Site
    engines: tuple[str, ...]
    tasks: tuple[str, ...]

    def __init__(
        self,
        folder: Path,
        *,
        as_of: str | None = None,
        month: str | None = None,
        ruleset: str | None = None,
        other_ruleset: str | None = None,
        engine: Sequence[str] | None = None,
        task: Sequence[str] | None = None,
        writes: Sequence[Path | None] = (),
        into: Path | None = None,
        with_components: bool = True,
        now: datetime | None = None,
    ) -> None:
        from intervals.cli.common.date_arguments import date_of_judging
        from intervals.cli.common.problem_collector import ProblemCollector

        self._folder, self._as_of, self._month, self._ruleset, self._other_ruleset = folder, as_of, month, ruleset, other_ruleset
        self._typed_engines, self._typed_tasks, self._with_components = engine, task, with_components
        self._writes, self._into = writes, into
        self.now = now or read_clock()
        self.now_us = microseconds_of(self.now)
        self.problems = ProblemCollector(ruleset)
        self.moment: date | datetime = self.read(date_of_judging, as_of, month, self.now) or self.now

    def read(self, step: Callable[Taken, Yield], *args: Taken.args, **options: Taken.kwargs) -> Yield | None:
        """Return what a step makes of something typed; where it refuses, keep its problems for later and return None."""
        return self.problems.collect(step, *args, **options)

    def ready(self) -> Self:
        """Load the site, and refuse whatever is wrong; return where nothing is.

        Raises:
            ProblemsError: all of it.
        """
        self.load()
        self.refuse()
        return self

    def load(self) -> Site:
        """Return the site, with the ids that were asked for; keep for later what is wrong with these and with the files to write.

        Raises:
            ProblemsError: the site file cannot be used: its problems, and those before it.
        """
        from intervals.cli.common.ids import engine_ids, task_ids
        from intervals.cli.common.output_guards import guard_folder, guard_places, guard_targets
        from intervals.language.months import month_problems

        targets = self._writes
        if self._into is None:
            self.read(guard_places, *targets)
        else:
            names = [path.name for path in targets if path is not None]
            targets = [self._into / name for name in names]
            self.read(guard_folder, self._into, names)
        self.site = self.problems.load_site(self._folder)
        self.engines = engine_ids(self.site, self._typed_engines)
        self.tasks = task_ids(self.site, self._typed_tasks, self._ruleset, *([self._other_ruleset] if self._other_ruleset else []))
        self.problems.note(month_problems(self._month, self.now_us, self.site.instant_us))
        self.read(guard_targets, self.site, self._ruleset or self._other_ruleset, *targets)
        return self.site

    def refuse(self) -> None:
        """Refuse whatever is wrong, together with what the judge would refuse; return where nothing is.

        Raises:
            ProblemsError: all of it, what was typed first.
        """
        tasks = () if self._other_ruleset else self.tasks
        self.problems.refuse(self.site, self.moment, self.now, engines=self.engines, tasks=tasks, with_components=self._with_components)

    @property
    def judging(self) -> Judging:
        """What each judgement takes, by the names that it takes it by."""
        return {"now_us": self.now_us, "ruleset": self._ruleset, "engines": self.engines, "tasks": self.tasks}

    def made_at(self) -> str:
        """Return this moment as a page shows it, by the site's clock."""
        return shown_moment(self.now, self.site.zone)

    def options_again(self) -> tuple[str, ...]:
        """Return the options that another command needs to judge the same, each word apart."""
        judged_at = self._as_of or (self.moment.isoformat() if self._month else None)
        return (*(["--as-of", judged_at] if judged_at else []), *(["--ruleset", self._ruleset] if self._ruleset else []))
