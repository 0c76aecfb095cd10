"""Months as they are asked for."""

from __future__ import annotations

import subprocess
import sys
from datetime import date

import pytest

from intervals.language.months import first_day_of, last_day_of
from intervals.problems import RequestProblemError


@pytest.mark.parametrize(
    ("month", "last"),
    [
        ("2026-10", date(2026, 10, 31)),
        ("2025-12", date(2025, 12, 31)),
        # a leap year is one that 4 divides, and not 100 unless 400 does
        ("2024-02", date(2024, 2, 29)),
        ("2023-02", date(2023, 2, 28)),
        ("2000-02", date(2000, 2, 29)),
        ("2100-02", date(2100, 2, 28)),
    ],
)
def test_the_days_of_a_month(month: str, last: date) -> None:
    """The first is the first, and the last one follows the Gregorian calendar."""
    assert (first_day_of(month), last_day_of(month)) == (last.replace(day=1), last)


@pytest.mark.parametrize(
    "typed", ["2026-13", "2026-00", "2026-1", "2026", "26-10", "0000-01", "9999-12", "2026-10-01", "October", "\u0662026-10", ""]
)
def test_what_is_no_month_is_refused(typed: str) -> None:
    """With what was found and what was expected."""
    with pytest.raises(RequestProblemError) as refused:
        last_day_of(typed)
    (problem,) = refused.value.problems
    assert (problem.code, problem.file) == ("CLI012", "--month")
    assert problem.text == f'not a month; got "{typed}", expected for example 2026-10'


def test_it_loads_nothing_large() -> None:
    """The command line asks it before there is anything to judge."""
    script = "import sys, intervals.language.months; print({'numpy', 'pandas', 'pydantic', 'durable', 'yaml'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"
