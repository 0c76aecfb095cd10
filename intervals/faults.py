"""What is wrong in the data and judged around: faults, each with its place.

In: nothing. Out: `Fault` and the vocabulary of kinds. A fault never stops a judgement; a problem (`problems.py`) does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

FAULT_KINDS: dict[str, str] = {
    # rows of the operating log
    "unreadable_time": "the time stamp cannot be read; the row is set aside",
    "time_does_not_exist": "the clock skipped this hour when daylight saving began; the row is set aside",
    "time_comes_twice": "this hour came twice when daylight saving ended and the log does not say which; the row is set aside",
    "unknown_engine": "the row or record names an engine that the site does not declare; it is set aside",
    "row_in_future": "the row is later than the clock; it is set aside",
    "row_before_in_service": "the row is earlier than the engine's first day; it is set aside",
    "row_after_out_of_service": "the row is later than the engine's last day; it is set aside",
    "duplicate_row": "a second row with the same engine, time and values; the first row counts",
    "conflicting_row": "a second row with the same engine and time but other values; the first counts, or the meter reading that fits",
    "blank_row": "the row of a wide file holds no reading for any engine; it is set aside",
    "stray_column": "a column of a wide file that belongs to no engine of the site; it is not read",
    "empty_file": "the file holds no rows",
    "malformed_row": "the row has more or fewer fields than the header; it is set aside",
    "unreadable_cell": "the cell is not a number; it is taken as blank",
    "impossible_value": "the value is impossible; it is taken as blank",
    # the course of the counters
    "meter_reading_odd": "a meter reading that fits neither neighbour, or that the meter cannot show: a typing error; it is taken as blank",
    "meter_went_back": "the hour meter stepped back; the step counts as zero",
    "meter_ran_fast": "the hour meter ran faster than time; the time elapsed is counted",
    "load_beyond_meter": "rows with load show more running than the hour meter for the same time; the meter's hours count",
    "counter_went_back": "a counter stepped back; the step counts as zero",
    "gap": "no rows for longer than gap_h: the hours count, the levels are unknown",
    "ran_while_laid_up": "the hour meter ran during a lay-up that the site states; the hours count",
    "record_before_in_service": "a record before the first day whose meter reading is above meter_at_start_h; the reading is not used",
    "log_ended": "the log ends more than gap_h before the date of judging: no hours are assumed after its end",
    "component_hours_disagree": "a component's stated hours at fitting are below the hours it has run here; the hours run here count",
    "history_unknown": "hours that no meter covers",
    "runs_not_told": "the rows are too coarse to show whether these hours were one run; they count as no run",
    # service records
    "no_service_records": "the site has no file of service records; nothing is known to have been done",
    "unreadable_record": "the record's time, engine, task or outcome cannot be read; it is set aside",
    "unread_column": "the records have no column outcome, but have columns that are not read; each record counts as done",
    "blank_outcome": "the outcome is blank in some records and given in others; a blank counts as done",
    "unknown_task": "the record names a task that no rule set of the engine has; it is set aside",
    "record_in_future": "the record is later than the clock; it is set aside",
    "duplicate_record": "two records of one task at one time; they count once",
    "service_meter_disagrees": "the record's meter reading is more than 24 h from the log's; the log's hours count",
    "void_without_record": "a void record whose ref names no earlier record, or several; it has no effect",
    "deferral_not_approved": "a deferral without approved_by; it has no effect",
    "deferral_without_end": "a deferral without until_h or until_date; it has no effect",
    "no_completion_known": "no completion is known and the records do not reach back to the engine's first day",
    # rules
    "task_fits_no_engine": "no engine of this site fits the task",
    "budget_fits_no_engine": "no engine of this site fits the budget",
    "no_task_fits": "no task of its rule sets is for the engine or component; nothing is judged for it",
    # what stands beside the records
    "plan_unread": "the plan of stops cannot be read; nothing is said of planned stops",
    "inference_fault": "the inference engine failed on one judgement; that task is unknown",
}


TASK_NAMES = "services.task_names"
"""Where a site file says what tasks the words of its records stand for."""


class Spelled(NamedTuple):
    """A word of a file that nothing here is known by; a report lists it once for all of its rows.

    Attributes:
        key: where the site file may say what it stands for, such as `services.task_names`.
        word: the word as the file has it.
        near: what must be meant by it, or nothing where that is in doubt.
        known: what it may stand for.
        is_elsewhere: another rule set of the site has a task of that name: to map the word would take it from there.
    """

    key: str
    word: str
    near: str
    known: tuple[str, ...]
    is_elsewhere: bool = False


class Fault(NamedTuple):
    """One thing that is wrong in the data.

    Attributes:
        engine: engine id, or None where no engine is known.
        kind: a key of `FAULT_KINDS`.
        file: path below the site folder, or None.
        line: line or row of that file from 1, or None.
        at_us: when, UTC microseconds since 1970, or None.
        text: one sentence with the figures.
        spelled: the word that is not known, where that is what is wrong.
        besides: further words of the same row that may not be known either.
    """

    engine: str | None
    kind: str
    file: str | None
    line: int | None
    at_us: int | None
    text: str
    spelled: Spelled | None = None
    besides: tuple[Spelled, ...] = ()


def plain_faults(faults: Sequence[Fault]) -> tuple[list[Any], list[Any]]:
    """Return faults as plain data, as JSON has it.

    Returns:
        The words that are not known, each once; and the faults, which name them by their number.
    """
    words: dict[Spelled, int] = {}

    def number_of(spelled: Spelled | None) -> int | None:
        return None if spelled is None else words.setdefault(spelled, len(words))

    listed = [[*map(_plain, fault[:6]), number_of(fault.spelled), [number_of(each) for each in fault.besides]] for fault in faults]
    return list(words), listed


def _plain(value: Any) -> Any:  # noqa: ANN401 - a field of a fault
    """Return a value as JSON has it; numpy's whole numbers are numbers too."""
    return value if value is None or isinstance(value, str) else int(value)


def faults_of_plain(words: Sequence[Any], listed: Sequence[Any]) -> list[Fault]:
    """Return the faults that `plain_faults` made plain data of.

    Example:
        >>> fault = Fault("G1", "gap", "log.csv", 7, None, "no rows", None, (Spelled("task_names", "oil", "", ("oil-change",)),))
        >>> faults_of_plain(*plain_faults([fault])) == [fault]
        True
    """
    known = [Spelled(key, word, near, tuple(may_be), is_elsewhere) for key, word, near, may_be, is_elsewhere in words]
    return [
        Fault(engine, kind, file, line, at_us, text, None if spelled is None else known[spelled], tuple(known[each] for each in besides))
        for engine, kind, file, line, at_us, text, spelled, besides in listed
    ]
