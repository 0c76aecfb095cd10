"""Completions in columns: a row of them is what the same completions are one by one."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from intervals.history.completion_row import CompletionRow, instants_of
from intervals.history.engine_records import Completion
from intervals.local_days import DAY_US, HOUR_US, LocalDays
from intervals.readings import ServiceRecord

# 2026-03-01 00:00 UTC is 20,513 days after 1970-01-01
MARCH_US = 20_513 * DAY_US
DAYS = LocalDays(ZoneInfo("Europe/Berlin"), MARCH_US, MARCH_US + 20 * DAY_US)


def record(line: int, at_us: int, ref: str = "") -> ServiceRecord:
    """Return a record of an oil change."""
    return ServiceRecord("G1", "oil", at_us, None, None, "done", None, None, "", "", "", ref, "services.csv", line)


@pytest.fixture
def row() -> CompletionRow:
    """Return three completions, the first half an hour before midnight in Berlin, the second half an hour after it."""
    at_us = [MARCH_US + 22 * HOUR_US + HOUR_US // 2, MARCH_US + 23 * HOUR_US + HOUR_US // 2, MARCH_US + 9 * DAY_US]
    records = [record(2, at_us[0]), record(3, at_us[1], ref="7K3M-9QXT-02HD-15WV"), record(5, at_us[2], ref="JC-041")]
    return CompletionRow("filters", "oil", records, np.array(at_us), [100.5, None, 300.0], DAYS, makes_new=True)


def test_each_is_made_with_its_local_day_its_record_and_its_card(row: CompletionRow) -> None:
    """The first is of 1 March in Berlin (UTC+1), the second of 2 March; only the code of a card is one."""
    assert tuple(row) == (
        Completion("filters", MARCH_US + 81_000_000_000, date(2026, 3, 1), 100.5, "services.csv:2", makes_new=True, by="oil"),
        Completion("filters", MARCH_US + 84_600_000_000, date(2026, 3, 2), None, "services.csv:3", True, "oil", card="7K3M-9QXT-02HD-15WV"),
        Completion("filters", MARCH_US + 777_600_000_000, date(2026, 3, 10), 300.0, "services.csv:5", makes_new=True, by="oil"),
    )


def test_it_is_a_sequence(row: CompletionRow) -> None:
    """Length, one from either end, slices, truth and equality are those of the tuple."""
    made = tuple(row)
    assert (len(row), bool(row), row[0], row[-1]) == (3, True, made[0], made[2])
    assert (row[1:], row[:0], [*reversed(row)]) == (made[1:], (), [*made[::-1]])
    assert row == made
    assert row != made[:2]
    assert hash(row) == hash(made)
    with pytest.raises(IndexError):
        row[3]


def test_instants_are_those_of_each(row: CompletionRow) -> None:
    """A row has them as a column; of any other sequence they are taken one by one."""
    assert instants_of(row).tolist() == [entry.at_us for entry in row]
    assert instants_of(tuple(row)).tolist() == instants_of(row).tolist()
    assert instants_of(()).tolist() == []


def test_day_numbers_are_those_of_the_local_dates() -> None:
    """Inside the span of days, before it and after it; 739,676 is the ordinal number of 1 March 2026."""
    at_us = np.array([MARCH_US - 90 * DAY_US, MARCH_US, MARCH_US + 23 * HOUR_US, MARCH_US + 90 * DAY_US])
    assert DAYS.day_numbers_of(at_us).tolist() == [739_586, 739_676, 739_677, 739_766]
    assert [DAYS.date_of(int(at)).toordinal() for at in at_us] == [739_586, 739_676, 739_677, 739_766]
