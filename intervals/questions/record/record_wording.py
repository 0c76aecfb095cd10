"""The sentences of verdicts on a card, on a task beside the log and the records, and on a deferral.

In: the rule that fired, and the facts that it fired on. Out: text in English. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from intervals.rulebook.inference import FactValue
from intervals.shown_numbers import figure

Facts = Mapping[str, FactValue]
Stated = Mapping[str, str]
"""What goes into the sentences beside the facts: codes, names, places."""


def record_text(rule: str, facts: Facts, stated: Stated) -> str:
    """Return the sentence of a rule that fired on a card, a task or a deferral.

    Args:
        rule: the rule.
        facts: the facts that it fired on.
        stated: what else the sentence names.
    """
    return _TEXTS[rule](facts, stated)


def logged_text(shown_h: float | None, ended_on: str) -> str:
    """Return what the log has of the hour meter at a moment, in words.

    Args:
        shown_h: its reading there, h, or the last one before; None where the log does not tell.
        ended_on: the day on which the log ended; empty where it ended later than that moment.
    """
    if shown_h is None:
        return "the log has nothing then"
    return f"the log ended on {ended_on} with {figure(shown_h)} h" if ended_on else f"the log has {figure(shown_h)} h then"


def completed_with(rule: str, text: str) -> str:
    """Return what would complete a task that lacks something.

    Args:
        rule: the rule that fired.
        text: its sentence.
    """
    step, _, _ = text.partition(":")
    return _COMPLETES[rule].format(step=step) if rule in _COMPLETES else f"evidence of {step}"


def _number(value: FactValue) -> str:
    """Return a figure."""
    return figure(value) if isinstance(value, (int, float)) else "unknown"


def _times(value: FactValue) -> str:
    """Return how often something was."""
    return "once" if value == 1 else f"{_number(value)} times"


def _before(value: FactValue) -> FactValue:
    """Return by how much something lies before, of how much it lies after."""
    return -value if isinstance(value, (int, float)) else value


def _column_missing(_facts: Facts, stated: Stated) -> str:
    """Return the sentence of what has no column."""
    return f"the file of service records has no column for {stated['dropped']}: what was stated of it is not in the row"


_TEXTS: Mapping[str, Callable[[Facts, Stated], str]] = {
    "card-altered": lambda _facts, stated: f"the card does not have the code {stated['code']}: it was altered since it was made",
    "other-site": lambda _facts, stated: f"the card is for site {stated['of_card']}, and this is {stated['site']}",
    "other-engine": lambda _facts, stated: f"the card is for engine {stated['engine']}, which this site does not have",
    "handed-in-before": lambda _facts, stated: f"the card was handed in before: {stated['recorded']}",
    "completes-nothing": lambda _facts, stated: f"it completes the card {stated['completes']}, of which there is no record that stands",
    "task-twice": lambda _facts, _stated: "the card names a task twice",
    "card-not-kept": lambda _facts, stated: (
        f"the site does not keep the card {stated['code']} in cards/: nothing shows that it was made here"
    ),
    "completed-before": lambda _facts, stated: (
        f"it was credited already ({stated['credited_in']}): nothing is left to complete"
        if stated["credited_in"]
        else f"the card {stated['completes']} was completed before: by {stated['completed_by']}"
    ),
    "part-lost": lambda _facts, stated: (
        f"the record of the card {stated['lost']}, which it completes, stands, and its file is not in records/: "
        "put the file that was handed in back there, and hand this one in again"
    ),
    "part-not-proved": lambda _facts, stated: (
        f"whether a card that it completes is as it was handed in is not known: records/digests.csv does not have {stated['unproved']}"
    ),
    "part-altered": lambda _facts, stated: f"a card that it completes is not as it was handed in: {stated['altered']}",
    "ends-before-part": lambda facts, _stated: f"it ends {_number(facts['before_part_min'])} min before a card that it completes",
    "no-time": lambda _facts, _stated: "it does not say when the work was done",
    "time-in-future": lambda facts, stated: f"a time of it is {_number(facts['ahead_min'])} min later than the clock: {stated['latest']}",
    "job-times-contradict": lambda _facts, stated: f"the work ends at {stated['ended']}, before it begins at {stated['started']}",
    "outside-job": lambda facts, _stated: f"a step lies {_number(facts['outside_min'])} min outside of the start and the end of the work",
    "far-outside-job": lambda facts, _stated: (
        f"a step lies {_number(facts['outside_min'])} min outside of the start and the end of the work: more than a day"
    ),
    "end-beyond-steps": lambda facts, stated: (
        f"the work ends at {stated['ended']}, {_number(facts['end_off_min'])} min from the last time that a step states: more than a day"
    ),
    "done-before-card": lambda facts, stated: (
        f"the work was done {_number(facts['before_card_d'])} days before the card was made, {stated['made']}"
    ),
    "not-signed": lambda _facts, _stated: "nobody signed: it does not say by whom the work was done",
    "found-not-on-card": lambda _facts, stated: f"it says how a part was found of a task that is not on the card: {stated['found']}",
    "step-not-on-card": lambda _facts, stated: f"it tells of steps that are not on the card: {stated['strange']}",
    "time-not-on-clock": lambda _facts, stated: (
        f"the clock of the site never shows {stated['never']}: it is set forward then; an hour later is taken"
    ),
    "time-comes-twice": lambda _facts, stated: (
        f"the clock of the site shows {stated['twice']} twice: it is set back then; the first of the two is taken"
    ),
    "key-not-known": lambda _facts, stated: f"what it states as {stated['passed_over']} means nothing here, and is passed over",
    "column-missing": _column_missing,
    "task-unknown": lambda _facts, stated: f"no rule set of {stated['engine']} has the task {stated['task']}",
    "procedure-changed": lambda _facts, stated: f"the procedure changed since the card was made: {stated['changed']}",
    "rules-changed": lambda _facts, stated: f"the rule set {stated['ruleset']} changed since the card was made; this procedure did not",
    "said-not-done": lambda _facts, _stated: "it is said not to have been done",
    "later-record": lambda _facts, stated: f"a record of the task is later, or of the same moment: {stated['later']}",
    "record-near": lambda facts, stated: (
        f"a record of the task lies {_number(_before(facts['behind_record_min']))} min before, {stated['later']}: one job is recorded once"
    ),
    "moment-taken": lambda _facts, stated: (
        f"of two records of the task at the same moment one alone counts, and there is one, {stated['taken']}: "
        "hand it in whole, or as it is at a later time"
    ),
    "meter-contradicts": lambda facts, stated: (
        f"the hour meter is stated as {_number(facts['meter_h'])} h; {stated['logged']}: {_number(facts['meter_off_h'])} h cannot be"
    ),
    "ran-during-work": lambda facts, stated: (
        f"the log has the engine running for {_number(facts['ran_min'])} min or more of {stated['span']}"
    ),
    "standstill-not-known": lambda _facts, _stated: (
        "whether the engine stood cannot be judged: fewer than two times of the work that needs it stopped are stated"
    ),
    "records-changed": lambda _facts, _stated: (
        "the records changed since it was shown, by another card of this command or by somebody else; look again, and hand it in again"
    ),
    "card-missing": lambda _facts, _stated: "its procedure asks for evidence, and no card was handed in",
    "deferral-not-known": lambda _facts, stated: f"how far it is deferred is not known: {stated['why']}",
    "deferral-too-far": lambda facts, _stated: (
        f"it is {_number(facts['past_pct'])} % of the interval past its line; the rule set allows {_number(facts['most_pct'])} %"
    ),
    "deferral-too-often": lambda facts, _stated: (
        f"it was deferred {_times(facts['times'])} since it was last done; the rule set allows {_number(facts['most_times'])}"
    ),
    "deferral-unapproved": lambda _facts, _stated: "somebody has to approve it: --approved-by NAME",
    "deferral-ends-before-line": lambda _facts, _stated: "it ends before its line: it puts nothing off",
    "deferral-unbounded": lambda facts, _stated: (
        f"nothing in the rule set bounds it: it may come {_number(facts['past_pct'])} % of the interval past its line"
    ),
    "deferral-repeated": lambda facts, _stated: f"it was deferred before since it was last done: {_times(facts['times'])}",
    "deferral-moment-taken": lambda _facts, stated: (
        f"of two records of the task at the same moment one alone counts, and there is one, {stated['taken']}: "
        f"defer it again {stated['wait']}, or take that one back first: record --undo"
    ),
    "deferral-of-no-line": lambda _facts, stated: f"nothing is known of its line, so it puts nothing off: {stated['why']}",
    "deferral-reach-unknown": lambda _facts, stated: f"how far past its line it may come is not known: {stated['why']}",
    "deferral-column-missing": _column_missing,
    "deferral-over": lambda _facts, _stated: "it is over before it begins",
}
_COMPLETES: Mapping[str, str] = {
    "check-failed": "{step} answered with yes",
    "not-restored": "{step} put back",
    "wait-short": "{step} waited out in full",
    "value-beyond": "{step} measured within its limits",
    "out-of-order": "{step} done again after what it needs",
    "out-of-balance": "both amounts measured again",
    "card-missing": "a card, filled in and handed in: intervals card",
}
