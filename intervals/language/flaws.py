"""What is wrong at a place of a document, and how it becomes a problem with file and line.

In: flaws, as validators and checks find them. Out: `Problem` values, in the order of the file. A validator raises one
`FlawsError`, which may hold several flaws, each with its place; a file's marks give them line and `$.path`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from intervals.language.yamlmarks import YAML_CODES, Marked, YamlPath
from intervals.problems import Problem

KINDS: dict[str, tuple[int, str]] = {
    "unknown_key": (10, "a key that is not known here"),
    "missing_key": (11, "a key that is needed and missing"),
    "value": (12, "a value of the wrong kind"),
    "word": (13, "a word that is not one of the allowed ones"),
    "duration": (14, "not an ISO 8601 duration"),
    "date": (15, "not a date or a time"),
    "range": (16, "a number or a list outside its range"),
    "condition": (17, "a condition that cannot be understood"),
    "unit": (18, "a unit that is not known or measures something else"),
    "duplicate": (19, "two entries with the same id or name"),
    "asks_wrongly": (24, "a condition that asks for something that is not known at its place"),
    "unknown_rule": (25, "an adjustment or condition that does not exist"),
    # rule sets
    "unknown_task": (20, "a task that the rule set does not have"),
    "renews_cycle": (21, "tasks that renew one another in a circle"),
    "dated": (22, "dated intervals where it is not clear which one is in force"),
    "effect": (23, "an adjustment with no effect, or with several"),
    "undeclared": (26, "a quantity or attribute that is declared nowhere"),
    "leg": (27, "an impossible leg"),
    "same_as": (29, "a task of another rule set that it does not have"),
    "based_on": (28, "a rule set that cannot be based on what it names"),
    "step": (30, "a step of a procedure that cannot be like this"),
    "unknown_step": (31, "a step or measured value that the procedure does not have"),
    "step_cycle": (32, "steps that need one another in a circle"),
    "event": (33, "a task done once that cannot wait for its event like this"),
    "unknown_name": (34, "a name that nothing can ever supply"),
    # site files
    "time_zone": (40, "a time zone that does not exist"),
    "declaration": (41, "a quantity that cannot be declared like this"),
    "engine_of_row": (42, "files that do not say which engine a row belongs to"),
    "contradiction": (43, "dates or readings that contradict one another"),
    "unknown_engine": (44, "an engine that the site does not have"),
    "pattern": (45, "a pattern that cannot be used"),
    "attribute": (46, "an attribute that cannot be named or given like this"),
    "clock": (47, "a local time that the site's clock skips or shows twice"),
    "one_job": (48, "a task under one_job that no rule set of the site has"),
    # rule sets that work and could be better
    "mean_factor": (60, "a harm judged on a mean, which later running hides"),
    "no_source": (61, "a rule without a source"),
    "no_because": (62, "a rule without a reason"),
    "no_example": (63, "a task or rule that no worked example shows"),
    "long_lead": (64, "a lead of more than half the interval"),
    "idle_leg": (65, "a leg named where the task has none"),
    "idle_rule": (66, "a rule or condition that can have no effect"),
    "odd_fact": (77, "a fact of an example that no rule can compare"),
    "idle_same_as": (76, "a same_as that names no task of a shipped rule set"),
    "near_name": (75, "a name that is declared nowhere here, and that is close to a known one"),
    "site_leg": (67, "a leg that each site must declare itself"),
    "overlapping_bands": (68, "two bands of one quantity that both hold"),
    "counted_twice": (69, "two rules that weigh the same hours"),
    "unreachable": (70, "a rule that can never hold"),
    "band_gap": (71, "a small gap between two bands, at which neither holds"),
    "lead_beyond": (72, "a lead that is longer than the interval"),
    "beyond_limit": (73, "a factor outside the rule set's own limits"),
    "borrowed_source": (74, "a changed interval that still names the source of the old one"),
    "set_differently": (78, "two procedures that may share a card and set the same thing differently"),
    "not_judged": (79, "a wait or a measured value that can never be judged"),
    "no_caution": (80, "a procedure that secures the engine and warns of nothing"),
}
"""Number and meaning of each kind of flaw; a code is the file kind's three letters and the number."""

_SITE_ONLY = range(40, 60)
_RULES_ONLY = (*range(20, 24), *range(26, 40), *range(60, 90))


def codes_of(prefix: str) -> dict[str, str]:
    """Return every problem code of one kind of file with its meaning.

    Args:
        prefix: `SIT` or `RUL`.

    Returns:
        Meaning by code, in order of number.
    """
    others = _RULES_ONLY if prefix == "SIT" else _SITE_ONLY
    meanings = dict(YAML_CODES) | {number: text for number, text in KINDS.values() if number not in others}
    return {f"{prefix}{number:03d}": text for number, text in sorted(meanings.items())}


class Flaw(NamedTuple):
    """One thing that is wrong at a place, before file and line are known.

    Attributes:
        place: path below the value that was checked.
        text: what was found and what was expected.
        fix: what to do, or None where the text says it.
        kind: a key of `KINDS`.
    """

    place: YamlPath
    text: str
    fix: str | None = None
    kind: str = "value"

    def below(self, *place: str | int) -> Flaw:
        """Return the same flaw as seen from further up."""
        return self._replace(place=(*place, *self.place))


class FlawsError(ValueError):
    """Everything that is wrong with one value."""

    def __init__(self, flaws: Iterable[Flaw]) -> None:
        self.flaws: tuple[Flaw, ...] = tuple(flaws)
        super().__init__("; ".join(flaw.text for flaw in self.flaws))


def flaw_error(*, text: str, fix: str | None = None, kind: str = "value") -> FlawsError:
    """Return the error for one flaw at the value itself."""
    return FlawsError([Flaw((), text, fix, kind)])


def flaws_of(error: ValueError) -> tuple[Flaw, ...]:
    """Return the flaws that an error of this package stands for."""
    if isinstance(error, FlawsError):
        return error.flaws
    return (Flaw((), str(error), getattr(error, "fix", None), getattr(error, "kind", "value")),)


def problems_from_flaws(flaws: Iterable[Flaw], marked: Marked) -> list[Problem]:
    """Return flaws, whose places start at the document's top, as problems with file and line."""
    return [marked.problem(KINDS[flaw.kind][0], flaw.place, flaw.text, flaw.fix) for flaw in flaws]


def in_file_order(problems: Iterable[Problem]) -> list[Problem]:
    """Return problems by file and line, each once."""
    return sorted(dict.fromkeys(problems), key=lambda problem: (problem.file, problem.line or 0, problem.code))
