"""The rules that every schedule shares: what is past its line, near it, skipped, on time. Rules are data here too.

In: nothing. Out: conditions by the name of their rule, and the standing that a rule stands for. durable-rules judges them, compiled by
`standings`; no code compares anything of what is here.
"""

from __future__ import annotations

from intervals.findings import StandingWord
from intervals.language.conditions import AllOf, AnyOf, Comparison, Condition
from intervals.rulebook.inference import FactValue


class TaskRule:
    """Names of the rules of a task's standing, as reasons carry them (`STANDING_RULES`)."""

    ENGINE_NOT_DESCRIBED = "engine-not-described"
    DEFERRAL_ENDED = "deferral-ended"
    DEFERRAL_NOT_KNOWN = "deferral-not-known"
    DEFERRAL_HOLDS = "deferral-holds"
    DONE_ONCE = "done-once"
    WAITS_FOR_EVENT = "waits-for-event"
    NO_COMPLETION_KNOWN = "no-completion-known"
    NO_INTERVAL_IN_FORCE = "no-interval-in-force"
    OUTSIDE_TABLE = "outside-table"
    RESULTS_NOT_KNOWN = "results-not-known"
    PAST_INTERVAL = "past-interval"
    EXPECTED_DAY_GONE = "expected-day-gone"
    BEFORE_NEXT_START = "before-next-start"
    INSIDE_LEAD = "inside-lead"
    NOT_KNOWN = "not-known"
    IN_INTERVAL = "in-interval"
    OF_DEFERRAL = (DEFERRAL_ENDED, DEFERRAL_NOT_KNOWN, DEFERRAL_HOLDS)


class BudgetRule:
    """Names of the rules of a budget's standing, beside those it shares with tasks (`BUDGET_RULES`, `MINIMUM_RULES`)."""

    EXCEEDED = "budget-exceeded"
    NOT_KNOWN = "budget-not-known"
    NEARLY_USED = "budget-nearly-used"
    KEPT = "budget-kept"
    NO_LIMIT_IN_FORCE = "no-limit-in-force"
    REACHED = "minimum-reached"
    NOT_YET_ASKED = "minimum-not-yet-asked"
    TIME_LEFT = "minimum-has-time"
    MAY_BE_REACHED = "minimum-not-known"
    NOT_REACHED = "minimum-not-reached"
    NEARLY_DUE = "minimum-nearly-due"


WITHIN_TOLERANCE = "within-tolerance"
DEFERRAL_RAN_OUT, DEFERRAL_UNKNOWN = "deferral-ran-out", "deferral-unknown"


def _is(name: str, *values: FactValue) -> Comparison:
    """Return an equality with one of several words or truth values."""
    return Comparison(name, "in", tuple(value for value in values if value is not None))


def _yes(*names: str) -> Condition:
    """Return a condition that all of these hold."""
    return AllOf(tuple(_is(name, True) for name in names))


def _no(*names: str) -> Condition:
    """Return a condition that none of these holds."""
    return AllOf(tuple(_is(name, False) for name in names))


# A leg against its line. `past_by` and `to_lead` are in the leg's unit: used - allowed, remaining - lead. `since_expected_d` is for how
# many days the day has been over on which its line was expected, of a log that ended before then; unknown while the log goes on.
LEG_RULES: dict[str, Condition] = {
    "leg-outrun": Comparison("since_expected_d", ">", 0.0),
    "leg-unknown": _no("is_known"),
    "leg-waits": AllOf((Comparison("past_by", ">", 0.0), _is("waits_for_start", True))),
    "leg-past": Comparison("past_by", ">", 0.0),
    "leg-near": Comparison("to_lead", "<=", 0.0),
    "leg-clear": Comparison("to_lead", ">", 0.0),
}

_FIRST, _LAST = _is("whichever", "first"), _is("whichever", "last")

# A task at the date of judging, in order of priority: the first rule that holds fires. `idle` is what a task done once does while no event
# is open: `done` since the last one, `waits` for the first one, `none` of any other task and where that is not known.
STANDING_RULES: dict[str, Condition] = {
    TaskRule.ENGINE_NOT_DESCRIBED: _no("is_described"),
    TaskRule.DEFERRAL_ENDED: _is("deferral", "ended"),
    TaskRule.DEFERRAL_NOT_KNOWN: _is("deferral", "unknown"),
    TaskRule.DEFERRAL_HOLDS: _is("deferral", "holds"),
    TaskRule.DONE_ONCE: _is("idle", "done"),
    TaskRule.WAITS_FOR_EVENT: _is("idle", "waits"),
    TaskRule.NO_COMPLETION_KNOWN: _no("has_window"),
    TaskRule.OUTSIDE_TABLE: _is("table", "outside"),
    TaskRule.RESULTS_NOT_KNOWN: _is("table", "unknown"),
    TaskRule.NO_INTERVAL_IN_FORCE: _no("has_interval"),
    TaskRule.PAST_INTERVAL: AnyOf(
        (
            AllOf((_FIRST, _yes("any_past"))),
            AllOf((_LAST, _yes("any_past"), _no("any_waits", "any_near", "any_clear", "any_unknown", "any_outrun"))),
        )
    ),
    TaskRule.EXPECTED_DAY_GONE: AnyOf(
        (
            AllOf((_FIRST, _yes("any_outrun"))),
            AllOf((_LAST, _yes("any_outrun"), _no("any_clear"))),
        )
    ),
    TaskRule.BEFORE_NEXT_START: AnyOf(
        (
            AllOf((_FIRST, _yes("any_waits"))),
            AllOf((_LAST, _yes("any_waits"), _no("any_near", "any_clear", "any_unknown"))),
        )
    ),
    TaskRule.INSIDE_LEAD: AnyOf(
        (
            AllOf((_FIRST, _yes("any_near"))),
            AllOf((_LAST, _no("any_clear", "any_unknown"))),
        )
    ),
    TaskRule.NOT_KNOWN: AnyOf(
        (
            AllOf((_FIRST, _yes("any_unknown"))),
            AllOf((_LAST, _no("any_clear"))),
        )
    ),
    TaskRule.IN_INTERVAL: _is("whichever", "first", "last"),
}

STANDING_OF_RULE: dict[str, StandingWord] = {
    TaskRule.ENGINE_NOT_DESCRIBED: "unknown",
    TaskRule.DEFERRAL_ENDED: "overdue",
    TaskRule.DEFERRAL_NOT_KNOWN: "unknown",
    TaskRule.DEFERRAL_HOLDS: "upcoming",
    TaskRule.DONE_ONCE: "in_interval",
    TaskRule.WAITS_FOR_EVENT: "in_interval",
    TaskRule.NO_COMPLETION_KNOWN: "unknown",
    TaskRule.OUTSIDE_TABLE: "unknown",
    TaskRule.RESULTS_NOT_KNOWN: "unknown",
    TaskRule.NO_INTERVAL_IN_FORCE: "unknown",
    TaskRule.PAST_INTERVAL: "overdue",
    TaskRule.EXPECTED_DAY_GONE: "unknown",
    TaskRule.BEFORE_NEXT_START: "upcoming",
    TaskRule.INSIDE_LEAD: "upcoming",
    TaskRule.NOT_KNOWN: "unknown",
    TaskRule.IN_INTERVAL: "in_interval",
}

# An approved deferral, in order of priority. `since_end_h` is how long ago it came to its end, by the meter or by its date; unknown
# while it has none in sight. Of a log that ended, `sure_h` is what is left to its meter reading beyond all that could have been run since.
DEFERRAL_RULES: dict[str, Condition] = {
    DEFERRAL_RAN_OUT: Comparison("since_end_h", ">", 0.0),
    DEFERRAL_UNKNOWN: Comparison("sure_h", "<=", 0.0),
}

# `beyond_tolerance` is used - (allowed + tolerance), in the leg's unit.
TOLERANCE_RULES: dict[str, Condition] = {
    WITHIN_TOLERANCE: AllOf((Comparison("past_by", ">", 0.0), Comparison("beyond_tolerance", "<=", 0.0))),
}

# `from_early` is used - allowed x (1 - early), in the leg's unit, at the visit; `from_opening` the days from the opening of a task's
# window to the completion. Of a run in the log: `run_short_by_min` is what it lacks of the minutes that would complete its task,
# `run_share_met` the share of them that it met, `run_share_run` the share that it ran at whatever load, and `run_is_other` whether it
# completed another task or another one asks for less: then it was no attempt at this one, unless it met half of what it asks for. Ten
# minutes without the load that is asked for, such as a weekly start, are no attempt either.
SKIPPED_RULES: dict[str, Condition] = {
    "missed": Comparison("due_points_missed", ">=", 1.0),
    "left-out": AllOf((_yes("at_visit", "ran_past"), _no("done_around_visit"), Comparison("from_early", ">=", 0.0))),
    "not-credited": _is("outcome", "partial"),
    "too-early": Comparison("from_opening", "<", 0.0),
    "run-fell-short": AllOf(
        (
            Comparison("run_short_by_min", ">", 0.0),
            AnyOf(
                (
                    Comparison("run_share_met", ">=", 0.5),
                    AllOf((_no("run_is_other"), AnyOf((Comparison("run_share_met", ">=", 0.25), Comparison("run_share_run", ">", 0.5))))),
                )
            ),
        )
    ),
}


# A run in the log, or a part of it: `short_by_min` is what it lacks of the minutes asked for, less what the log's sampling excuses. Where
# failures are counted, a run that was begun for its task and fell short has failed, however soon it ended: an engine that trips after a
# few minutes is the plainest failure of all. It was begun for it if the condition of the first part held on any of it (`first_part_min`),
# unless it completed another task; then it has to have met half of this one.
RUN_RULES: dict[str, Condition] = {
    "run-long-enough": Comparison("short_by_min", "<=", 0.0),
    "attempt-failed": AllOf(
        (
            Comparison("short_by_min", ">", 0.0),
            Comparison("first_part_min", ">", 0.0),
            AnyOf((_no("completed_other"), Comparison("share_met", ">=", 0.5))),
        )
    ),
}

# A due point at the end of a month: how it was met, in order of priority. Seconds from its line, from the end of its tolerance and from
# the end of what held it open (its tolerance, or an approved deferral after it) to when it was done, else to the month's end; unknown
# where no such end is in sight. `share_done` is the share of its interval at which it was done, before it fell due; `is_known` whether any
# of its legs is known then.
MET_RULES: dict[str, Condition] = {
    "met-late": Comparison("since_held_s", ">", 0.0),
    "met-early": AllOf((_yes("is_done"), Comparison("share_done", "<", 0.5))),
    "met-late-deferred": AllOf((_yes("is_done"), Comparison("since_tolerance_s", ">", 0.0))),
    "met-not-known": AllOf((_yes("is_done"), _no("is_known"))),
    "met-on-time": _yes("is_done"),
    "met-deferred": AllOf((_yes("is_deferred"), Comparison("since_line_s", ">", 0.0))),
    "met-pending": Comparison("since_line_s", ">", 0.0),
    "not-due": _no("is_done"),
}

# Where the next window starts: whether the governing leg keeps its grid, or counts its due dates from a day soon after a completion that
# was too early (`moves_early`: its task says so). `past_by` is used minus the due point, `beyond_grace` how
# far it was from there on either side, `beyond_early` how far before it, each beyond window and tolerance.
GRID_RULES: dict[str, Condition] = {
    "keeps-grid": AnyOf(
        (
            _is("restarts_from", "due"),
            AllOf((_is("restarts_from", "due_if_late"), Comparison("past_by", ">", 0.0))),
            AllOf((_is("restarts_from", "due_if_on_time"), Comparison("beyond_grace", "<=", 0.0))),
            AllOf((_is("restarts_from", "due_unless_early"), Comparison("beyond_early", "<=", 0.0))),
        )
    ),
    "moves-grid": AllOf((_is("restarts_from", "due_unless_early"), _yes("moves_early"), Comparison("beyond_early", ">", 0.0))),
}


# An analysis that may take the place of a task: `is_past` tells whether the time to act on it has run out.
ANALYSIS_RULES: dict[str, Condition] = {
    "analysis-beyond-late": AllOf((_is("latest", "beyond"), _yes("is_past"))),
    "analysis-beyond": _is("latest", "beyond"),
    "analysis-not-known": _is("latest", "unknown"),
    "analysis-within": _is("latest", "within"),
}

# A budget in one of its periods, in order of priority: `past_by` is used - allowed, `may_be_past_by` the same with all that could not
# be judged, `to_lead` remaining - lead. Of nothing allowed nothing can be near.
BUDGET_RULES: dict[str, Condition] = {
    TaskRule.ENGINE_NOT_DESCRIBED: _no("is_described"),
    BudgetRule.NO_LIMIT_IN_FORCE: _no("has_limit"),
    BudgetRule.EXCEEDED: Comparison("past_by", ">", 0.0),
    TaskRule.EXPECTED_DAY_GONE: Comparison("since_expected_d", ">", 0.0),
    BudgetRule.NOT_KNOWN: AnyOf((_no("is_known"), Comparison("may_be_past_by", ">", 0.0))),
    BudgetRule.NEARLY_USED: AllOf((Comparison("allowed", ">", 0.0), Comparison("to_lead", "<=", 0.0))),
    BudgetRule.KEPT: Comparison("past_by", "<=", 0.0),
}

STANDING_OF_BUDGET: dict[str, StandingWord] = {
    TaskRule.ENGINE_NOT_DESCRIBED: "unknown",
    BudgetRule.NO_LIMIT_IN_FORCE: "in_interval",
    BudgetRule.EXCEEDED: "overdue",
    TaskRule.EXPECTED_DAY_GONE: "unknown",
    BudgetRule.NOT_KNOWN: "unknown",
    BudgetRule.NEARLY_USED: "upcoming",
    BudgetRule.KEPT: "in_interval",
}

# A minimum in one of its periods, in order of priority: `lacking` is asked - used, `may_lack` the same less all that could not be judged,
# `to_lead_d` the days until its lead. `is_rolling`: a period ends on every day, and each of them is over.
MINIMUM_RULES: dict[str, Condition] = {
    TaskRule.ENGINE_NOT_DESCRIBED: _no("is_described"),
    BudgetRule.NO_LIMIT_IN_FORCE: _no("has_limit"),
    BudgetRule.NOT_YET_ASKED: _no("is_whole"),
    BudgetRule.REACHED: AllOf((Comparison("lacking", "<=", 0.0), AnyOf((_no("is_rolling"), Comparison("to_lead_d", ">", 0.0))))),
    BudgetRule.TIME_LEFT: AllOf((_no("is_over"), Comparison("to_lead_d", ">", 0.0))),
    BudgetRule.MAY_BE_REACHED: AllOf((Comparison("lacking", ">", 0.0), AnyOf((_no("is_known"), Comparison("may_lack", "<=", 0.0))))),
    BudgetRule.NOT_REACHED: AllOf((_yes("is_over"), Comparison("lacking", ">", 0.0))),
    BudgetRule.NEARLY_DUE: Comparison("to_lead_d", "<=", 0.0),
}

STANDING_OF_MINIMUM: dict[str, StandingWord] = {
    TaskRule.ENGINE_NOT_DESCRIBED: "unknown",
    BudgetRule.NO_LIMIT_IN_FORCE: "in_interval",
    BudgetRule.REACHED: "in_interval",
    BudgetRule.NOT_YET_ASKED: "in_interval",
    BudgetRule.TIME_LEFT: "in_interval",
    BudgetRule.MAY_BE_REACHED: "unknown",
    BudgetRule.NOT_REACHED: "overdue",
    BudgetRule.NEARLY_DUE: "upcoming",
}
