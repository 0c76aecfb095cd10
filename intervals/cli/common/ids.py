"""Engines and tasks that were asked for, by the ids that the site and its rule sets have for them.

In: names as they were typed. Out: ids; a name that is none, or could be several, as it was typed, for the judge to refuse. Service
records may write a name in any letter case; so may a person at the keyboard.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intervals.problems import Problem
    from intervals.site.engines import Engine
    from intervals.site.model import Site


def engine_ids(site: Site, typed: Sequence[str] | None) -> tuple[str, ...]:
    """Return the engines that were asked for, each once.

    Args:
        site: the site.
        typed: names as they were typed, or None.
    """
    return _ids_of(typed, (engine.id for engine in site.judged_units)) if typed else ()


def task_ids(site: Site, typed: Sequence[str] | None, *rulesets: str | None, engines: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the tasks and budgets that were asked for, each once: by id, or as `set.task`.

    Args:
        site: the site.
        typed: names as they were typed, or None.
        rulesets: name or path of the rule set that was asked for instead of the site's; the site's own are looked at where it is None.
        engines: only the rule sets of these engines are looked at; none means all.
    """
    if not typed:
        return ()
    units = [engine for engine in site.judged_units if not engines or engine.id in engines]
    known = [each for ruleset in rulesets or (None,) for each in _judged_by(site, ruleset, units)]
    return _ids_of(typed, (*(task for _, task in known), *(".".join(each) for each in known)))


def known_tasks(site: Site, ruleset: str | None) -> frozenset[str]:
    """Return every name by which a task or budget of a site can be asked for: its id, and `set.task`.

    Args:
        site: the site.
        ruleset: as for `task_ids`.
    """
    return frozenset(name for each in _judged_by(site, ruleset, site.judged_units) for name in (each[1], ".".join(each)))


def unknown_arguments(site: Site, engine: str, task: str, ruleset: str | None) -> list[Problem]:
    """Return what is wrong with an engine and a task that are arguments and not options: that there are none of these names.

    Args:
        site: the site.
        engine: id of an engine or component, or the name as it was typed.
        task: id of a task or budget, or the name as it was typed.
        ruleset: the rule set that was asked for instead of the site's, or None.
    """
    from intervals.history.unknown_names import no_such

    known = [unit.id for unit in site.judged_units]
    problems = [] if engine in known else [no_such("engine", "ENGINE", engine, "at this site", known)]
    units = [unit for unit in site.judged_units if unit.id == engine] or site.judged_units
    by_set = list(dict.fromkeys(_judged_by(site, ruleset, units)))
    judged = list(dict.fromkeys(name for _, name in by_set))
    if judged and task not in judged and task not in {".".join(each) for each in by_set}:
        problems.append(no_such("task", "TASK", task, f"in {', '.join(_named_for(site, ruleset, units))}", judged))
    return problems


def _judged_by(site: Site, ruleset: str | None, units: Iterable[Engine]) -> Iterator[tuple[str, str]]:
    """Yield each rule set's id and what it judges, as far as it can be read; the judge reports what is wrong with them."""
    from intervals.problems import ProblemsError
    from intervals.rules.ruleset import find_ruleset, load_ruleset

    for name in _named_for(site, ruleset, units):
        try:
            found = load_ruleset(find_ruleset(name, Path.cwd() if ruleset else site.folder))
        except ProblemsError:
            continue
        yield from ((found.ruleset, judged) for judged in found.judged_ids)


def _named_for(site: Site, ruleset: str | None, units: Iterable[Engine]) -> list[str]:
    """Return names or paths of the rule sets that judge some engines."""
    return [ruleset] if ruleset else list(dict.fromkeys(name for unit in units for name in site.rulesets_of(unit)))


def _ids_of(typed: Sequence[str], known: Iterable[str]) -> tuple[str, ...]:
    """Return each name as it is known, where exactly one is meant, else as it was typed."""
    from intervals.readings.spelling import Spellings

    spelled = Spellings({name: name for name in known})
    return tuple(dict.fromkeys(spelled.find(name) or name for name in typed))
