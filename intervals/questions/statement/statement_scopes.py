"""What one chain of statements is judged by: one rule set, and the engines that go by it.

In: a site's inputs. Out: `Scope` values, one for each rule set. Refuses (code CLI124) two different rule sets of one id, since a chain is
known by its id.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from intervals.history.inputs import Inputs
from intervals.problems import Problem, ProblemsError, RequestProblemError
from intervals.rules.ruleset import RuleSet, find_ruleset, load_ruleset
from intervals.rules.shipped import is_ruleset_path
from intervals.site.engines import Engine
from intervals.site.model import Site


@dataclass(frozen=True)
class Scope:
    """What a statement is judged by.

    Attributes:
        ruleset: id of the rule set; None: every engine by the rule sets that the site gives it, as former versions stated them together.
        name: the name under which the inputs hold it.
        named: the name or path by which it is found again from the site's folder.
        engines: ids of the engines and components that are judged.
    """

    ruleset: str | None
    name: str | None
    named: str | None
    engines: tuple[str, ...]


def names_of(site: Site, unit: Engine) -> tuple[str, ...]:
    """Return names or paths of the rule sets that judge an engine."""
    return site.rulesets_of(unit)


def scopes_of(inputs: Inputs, asked: str | None = None) -> tuple[Scope, ...]:
    """Return what is stated of a site: one scope for each of its rule sets, or the one asked for instead of them.

    Args:
        inputs: from `read_inputs`, with the same rule set asked for.
        asked: name or path of a rule set that is none of the site's own: it judges every engine.

    Raises:
        RequestProblemError: two different rule sets have one id (code CLI124).
    """
    site = inputs.site
    if asked is not None:
        engines = tuple(unit.id for unit in site.judged_units)
        return (Scope(inputs.books[asked].ruleset.ruleset, asked, _named_from(site, asked), engines),)
    rulesets = {name: book.ruleset for name, book in inputs.books.items()}
    _check_ids(rulesets)
    return tuple(_own_scopes(site, rulesets))


def own_ruleset(site: Site, asked: str) -> str | None:
    """Return the id of a rule set if it is one of the site's own, or None.

    Args:
        site: the site.
        asked: its name or path.

    Raises:
        ProblemsError: it cannot be used; or it is another one than the site's own of the same id (code CLI124).
    """
    ruleset = load_ruleset(find_ruleset(asked, Path.cwd()))
    own = {name: entry for name, entry in _own_rulesets(site).items() if entry.ruleset == ruleset.ruleset}
    _check_ids({**own, asked: ruleset})
    return ruleset.ruleset if own else None


def first_ruleset(inputs: Inputs) -> str | None:
    """Return the id of the rule set that judges the site's first engine, or None where its file cannot be used."""
    site = inputs.site
    name = names_of(site, site.judged_units[0])[0]
    held = inputs.books.get(name)
    ruleset = held.ruleset if held is not None else _own_rulesets(site).get(name)
    return None if ruleset is None else ruleset.ruleset


def _own_scopes(site: Site, rulesets: Mapping[str, RuleSet]) -> list[Scope]:
    """Return a scope for each id among the site's rule sets, in the order of the engines."""
    found: dict[str, Scope] = {}
    for unit in site.judged_units:
        for name in names_of(site, unit):
            if name not in rulesets:
                continue
            ruleset = rulesets[name].ruleset
            before = found.get(ruleset, Scope(ruleset, name, name, ()))
            if unit.id not in before.engines:
                found[ruleset] = Scope(ruleset, before.name, before.named, (*before.engines, unit.id))
    return list(found.values())


def _own_rulesets(site: Site) -> dict[str, RuleSet]:
    """Return the rule sets that the site names and that can be used, by name."""
    found: dict[str, RuleSet] = {}
    for name in dict.fromkeys(name for unit in site.judged_units for name in names_of(site, unit)):
        try:
            found[name] = load_ruleset(find_ruleset(name, site.folder))
        except ProblemsError:
            continue
    return found


def _check_ids(rulesets: Mapping[str, RuleSet]) -> None:
    """Refuse two different rule sets of one id."""
    seen: dict[str, tuple[str, str]] = {}
    problems = []
    for name, ruleset in rulesets.items():
        other, digest = seen.setdefault(ruleset.ruleset, (name, ruleset.sha256))
        if digest != ruleset.sha256:
            text = f"{other} and {name} are different rule sets, and both are called {ruleset.ruleset}; statements are kept by rule set"
            problems.append(Problem("CLI124", ruleset.file, 1, "$.ruleset", text, "give one of them a ruleset id of its own"))
    if problems:
        raise RequestProblemError(problems)


def _named_from(site: Site, asked: str) -> str:
    """Return the name of a rule set, or the path to it from the site's folder."""
    if not is_ruleset_path(asked):
        return asked
    file = find_ruleset(asked, Path.cwd()).resolve()
    try:
        path = Path(os.path.relpath(file, site.folder.resolve())).as_posix()
    except ValueError:  # another drive
        return str(file)
    return path if path.startswith("../") else f"./{path}"


def engines_read(site: Site, judged: Sequence[str]) -> frozenset[str]:
    """Return the engines whose rows count for those that are judged: themselves, and those that their components sat on."""
    fitted = (entry.engine for component in site.components if component.id in judged for entry in component.fitted)
    return frozenset([*judged, *fitted])
