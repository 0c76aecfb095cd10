"""Everything that is wrong with what a command was asked for, in one refusal with what is wrong with the site.

In: the steps that read what was typed, and the site's folder. Out: what the steps yield, and the site. Refuses (ProblemsError) all that
the steps refuse, and then also what the site, its rule sets, log and records are refused for: a person mends everything in one go.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from intervals.problems import Problem, ProblemsError, error_of

if TYPE_CHECKING:
    from intervals.site.model import Site

Taken = ParamSpec("Taken")
Yield = TypeVar("Yield")


class ProblemCollector:
    """What is wrong so far.

    Args:
        ruleset: the rule set that was asked for instead of the site's, or None.
    """

    def __init__(self, ruleset: str | None = None) -> None:
        self._ruleset = ruleset
        self._problems: list[Problem] = []

    def collect(self, step: Callable[Taken, Yield], *args: Taken.args, **options: Taken.kwargs) -> Yield | None:
        """Return what a step yields; where it refuses, keep its problems for later and return None."""
        try:
            return step(*args, **options)
        except ProblemsError as error:
            self.note(error.problems)
            return None

    def note(self, problems: Iterable[Problem]) -> None:
        """Keep problems for later."""
        self._problems += problems

    def load_site(self, folder: Path) -> Site:
        """Return the site of a folder.

        Args:
            folder: the folder with `site.yaml`, or that file itself.

        Raises:
            ProblemsError: the site file cannot be used: its problems, those before it, and those of the rule sets that it names.
        """
        from intervals.site.model import load_site

        try:
            return load_site(folder)
        except ProblemsError as error:
            raise error_of([*self._problems, *error.problems, *_problems_of_rules(Path(error.problems[0].file), self._ruleset)]) from None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is wrong so far."""
        return not self._problems

    def refuse_alone(self) -> None:
        """Refuse what is wrong where there is no site to look at; return where nothing is.

        Raises:
            ProblemsError: all of it.
        """
        if self._problems:
            raise error_of(self._problems)

    def refuse(
        self,
        site: Site,
        moment: date | datetime,
        now: datetime,
        *,
        engines: Collection[str] = (),
        tasks: Collection[str] = (),
        with_components: bool = True,
    ) -> None:
        """Refuse what is wrong, together with what the judge would refuse; return where nothing is.

        Args:
            site: the site.
            moment: the moment of judging, or this one where that could not be read.
            now: this moment.
            engines: ids that were asked for.
            tasks: ids that were asked for.
            with_components: whether components may be asked for as engines.

        Raises:
            ProblemsError: all of it, what was asked for first.
        """
        if not self._problems:
            return
        from intervals.cli.common.clock import microseconds_of
        from intervals.history.inputs import read_inputs
        from intervals.history.unknown_names import engine_problems

        asked = [*self._problems, *engine_problems(site, engines, with_components=with_components)]
        read_inputs(site, moment, now_us=microseconds_of(now), ruleset=self._ruleset, asked=asked, tasks=tasks)
        raise error_of(asked)


def _problems_of_rules(site_file: Path, ruleset: str | None) -> Iterator[Problem]:
    """Yield what is wrong with the rule sets of a site file that cannot be used, as far as it names them."""
    from intervals.rules.ruleset import find_ruleset, load_ruleset

    for name in [ruleset] if ruleset else _rulesets_named(site_file):
        try:
            load_ruleset(find_ruleset(name, Path.cwd() if ruleset else site_file.parent))
        except ProblemsError as error:
            yield from error.problems


def _rulesets_named(site_file: Path) -> list[str]:
    """Return the rule sets that a site file names, in its order; none where it cannot be parsed."""
    from intervals.language.yamlmarks import load_yaml

    try:
        data = load_yaml(site_file, code_prefix="SIT").data
    except ProblemsError:
        return []
    sections = [data.get(key) for key in ("engines", "components")]
    entries = [entry for value in sections if isinstance(value, list) for entry in value if isinstance(entry, Mapping)]
    named = [entry.get("ruleset") or data.get("ruleset") for entry in entries or [data]]
    listed = [name for value in named for name in (value if isinstance(value, list) else [value])]
    return list(dict.fromkeys(name for name in listed if isinstance(name, str)))
