"""The sentences of verdicts on a card, on a task beside the log and the records, and on a deferral.

In: the rule that fired, and the facts that it fired on. Out: text in English. Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from intervals.rulebook.inference import FactValue
from intervals.shown_numbers import figure

Facts = Mapping[str, FactValue]
Told = Mapping[str, str]
"""What goes into the sentences beside the facts: codes, names, places."""


def record_text(rule: str, facts: Facts, told: Told) -> str:
    """Return the sentence of a rule that fired on a card, a task or a deferral.

    Args:
        rule: the rule.
        facts: the facts that it fired on.
        told: what else the sentence names.
    """
    return _TEXTS[rule](facts, told)


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


_TEXTS: Mapping[str, Callable[[Facts, Told], str]] = {
    "card-altered": lambda _facts, told: f"the card does not have the code {told['code']}: it was altered since it was made",
    "other-site": lambda _facts, told: f"the card is for site {told['of_card']}, and this is {told['site']}",
    "other-engine": lambda _facts, told: f"the card is for engine {told['engine']}, which this site does not have",
    "handed-in-before": lambda _facts, told: f"the card was handed in before: {told['recorded']}",
    "completes-nothing": lambda _facts, told: f"it completes the card {told['completes']}, of which there is no record that stands",
    "task-twice": lambda _facts, _told: "the card names a task twice",
    "card-not-kept": lambda _facts, told: f"the site does not keep the card {told['code']} in cards/: nothing shows that it was made here",
    "completed-before": lambda _facts, told: f"the card {told['completes']} was completed before: {told['completed_by']}",
    "part-altered": lambda _facts, told: f"a card that it completes is not as it was handed in: {told['altered']}",
    "ends-before-part": lambda facts, _told: f"it ends {_number(facts['before_part_min'])} min before a card that it completes",
    "no-time": lambda _facts, _told: "it does not say when the work was done",
    "time-in-future": lambda facts, told: f"a time of it is {_number(facts['ahead_min'])} min later than the clock: {told['latest']}",
    "job-times-contradict": lambda _facts, told: f"the work ends at {told['ended']}, before it begins at {told['started']}",
    "outside-job": lambda facts, _told: f"a step lies {_number(facts['outside_min'])} min outside of the start and the end of the work",
    "far-outside-job": lambda facts, _told: (
        f"a step lies {_number(facts['outside_min'])} min outside of the start and the end of the work: more than a day"
    ),
    "end-beyond-steps": lambda facts, told: (
        f"the work ends at {told['ended']}, {_number(facts['end_off_min'])} min from the last time that a step tells: more than a day"
    ),
    "done-before-card": lambda facts, told: (
        f"the work was done {_number(facts['before_card_d'])} days before the card was made, {told['made']}"
    ),
    "not-signed": lambda _facts, _told: "nobody signed: it does not say by whom the work was done",
    "found-not-on-card": lambda _facts, told: f"it says how a part was found of a task that is not on the card: {told['found']}",
    "task-unknown": lambda _facts, told: f"no rule set of {told['engine']} has the task {told['task']}",
    "procedure-changed": lambda _facts, told: f"the procedure changed since the card was made: {told['changed']}",
    "rules-changed": lambda _facts, told: f"the rule set {told['ruleset']} changed since the card was made; this procedure did not",
    "said-not-done": lambda _facts, _told: "it is said not to have been done",
    "later-record": lambda _facts, told: f"a record of the task is later, or of the same moment: {told['later']}",
    "meter-contradicts": lambda facts, told: (
        f"the hour meter is told as {_number(facts['meter_h'])} h; {told['logged']}: {_number(facts['meter_off_h'])} h cannot be"
    ),
    "ran-during-work": lambda facts, told: f"the log has the engine running for {_number(facts['ran_min'])} min or more of {told['span']}",
    "standstill-not-known": lambda _facts, _told: (
        "whether the engine stood cannot be judged: fewer than two times of the work that needs it stopped are told"
    ),
    "records-changed": lambda _facts, _told: "the records changed since it was shown; look at it again, and hand it in again",
    "card-missing": lambda _facts, _told: "its procedure asks for evidence, and no card was handed in",
    "deferral-not-known": lambda _facts, told: f"how far it is deferred is not known: {told['why']}",
    "deferral-too-far": lambda facts, _told: (
        f"it is {_number(facts['past_pct'])} % of the interval past its line; the rule set allows {_number(facts['most_pct'])} %"
    ),
    "deferral-too-often": lambda facts, _told: (
        f"it was deferred {_number(facts['times'])} times since it was last done; the rule set allows {_number(facts['most_times'])}"
    ),
    "deferral-unapproved": lambda _facts, _told: "somebody has to approve it: --approved-by NAME",
    "deferral-ends-before-line": lambda _facts, _told: "it ends before its line: it puts nothing off",
    "deferral-unbounded": lambda facts, _told: (
        f"nothing in the rule set bounds it: it may come {_number(facts['past_pct'])} % of the interval past its line"
    ),
    "deferral-repeated": lambda facts, _told: f"it was deferred before since it was last done: {_number(facts['times'])} times",
    "deferral-over": lambda _facts, _told: "it is over before it begins",
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
