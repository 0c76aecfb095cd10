"""Whether what is said to be one job is there: `one_job` of the site, `same_as` of its rule sets, and ids that distinguish the sets.

In: a site, and its rule sets once they are loaded. Out: problems with file and line. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from intervals.language.flaws import Flaw, problems_from_flaws
from intervals.language.yamlmarks import load_yaml
from intervals.problems import Problem, nearest_of, nearest_word
from intervals.rules.ruleset import RuleSet, shipped_rulesets
from intervals.site.model import Site

_SLIP = 0.85
"""From this likeness on, the id of a rule set that judges nothing here is taken for a slip for one that does."""


def check_sets_of_site(site: Site, rulesets: Mapping[str, RuleSet]) -> list[Problem]:
    """Return what is wrong between a site and its rule sets, and between these.

    Args:
        site: the site.
        rulesets: its rule sets by the name under which it asks for them.
    """
    flaws = [*_same_ids(site, rulesets), *_unknown_jobs(site, list(rulesets.values()))]
    problems = problems_from_flaws(flaws, load_yaml(Path(site.file), code_prefix="SIT")) if flaws else []
    for ruleset in rulesets.values():
        problems += problems_from_flaws(_unknown_fellows(ruleset, list(rulesets.values())), ruleset.marked)
    return problems


def _same_ids(site: Site, rulesets: Mapping[str, RuleSet]) -> Iterator[Flaw]:
    """Yield a flaw for each list of rule sets of which two have the same id: nothing would distinguish their findings."""
    places: list[tuple[tuple[str | int, ...], tuple[str, ...]]] = [(("ruleset",), _listed(site.ruleset))]
    places += [(("engines", index, "ruleset"), _listed(engine.ruleset)) for index, engine in enumerate(site.engines)]
    places += [(("components", index, "ruleset"), _listed(component.ruleset)) for index, component in enumerate(site.components)]
    for place, names in places:
        seen: dict[str, str] = {}
        for name in names:
            ruleset = rulesets.get(name)
            if ruleset is None:
                continue
            if ruleset.ruleset in seen:
                text = f'{seen[ruleset.ruleset]} and {name} are both called "{ruleset.ruleset}"'
                yield Flaw(place, text, "leave one out, or give one of the files another id under ruleset", "duplicate")
            seen.setdefault(ruleset.ruleset, name)


def _listed(named: str | tuple[str, ...] | None) -> tuple[str, ...]:
    """Return one name, several, or none as a list."""
    return () if named is None else (named,) if isinstance(named, str) else named


def _unknown_jobs(site: Site, rulesets: Sequence[RuleSet]) -> Iterator[Flaw]:
    """Yield a flaw for each entry of `one_job` that is no task of any rule set of the site."""
    for number, group in enumerate(site.one_job):
        for index, word in enumerate(group):
            flaw = _unknown_in(word, rulesets)
            if flaw is not None:
                yield flaw._replace(place=("one_job", number, index), kind="one_job")


def _unknown_in(word: str, rulesets: Sequence[RuleSet]) -> Flaw | None:
    """Return the flaw of a word that is no task of some rule sets, or None."""
    known = [f"{ruleset.ruleset}.{task.id}" for ruleset in rulesets for task in ruleset.tasks]
    if word in known:
        return None
    named = [ruleset for ruleset in rulesets if word.startswith(f"{ruleset.ruleset}.")]
    if named:
        task, ids = word.removeprefix(f"{named[0].ruleset}."), [task.id for task in named[0].tasks]
        return Flaw((), f'no task "{task}" in rule set {named[0].ruleset}{nearest_of(task, ids)}', f"tasks: {', '.join(ids)}")
    ids = list(dict.fromkeys(ruleset.ruleset for ruleset in rulesets))
    ruleset, _, _ = word.partition(".")
    return Flaw((), f'no rule set of this site is called "{ruleset}"{nearest_of(ruleset, ids)}', f"rule sets here: {', '.join(ids)}")


def _unknown_fellows(ruleset: RuleSet, rulesets: Sequence[RuleSet]) -> Iterator[Flaw]:
    """Yield a flaw for each `same_as` that names a task which a rule set of the site does not have, or a set that is misspelt.

    A rule set that judges nothing here is passed over: a site's own set may be used on engines without the other.
    """
    known = dict.fromkeys([*(each.ruleset for each in rulesets), *shipped_rulesets()])
    for index, task in enumerate(ruleset.tasks):
        for word in task.same_as:
            named, _, _ = word.partition(".")
            is_here = any(word.startswith(f"{each.ruleset}.") for each in rulesets)
            is_slip = named not in known and nearest_word(named, known, _SLIP) is not None
            flaw = _unknown_in(word, rulesets) if is_here or is_slip else None
            if flaw is not None:
                yield flaw._replace(place=("tasks", index, "same_as"), kind="same_as")
