"""The days on which nothing is done at an engine, and how dear a stop is on each day.

In: a site's `blackouts` and `prefer`, with the files that they name. Out: days with their reasons, costs from 0 to 99. Refuses (CLI155) a
file that is not there or cannot be read, with its line.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

from intervals.problems import Problem, RequestProblemError, nearest_of
from intervals.questions.plan.calendar_events import calendar_spans
from intervals.site.model import Site
from intervals.site.stop_terms import Blackout, Prefer

CODE = "CLI155"
DEAREST = 99
_A_DAY = timedelta(days=1)
_WEEKEND_FROM, _A_YEAR_D = 5, 364
Cost = Callable[[date], int]


def blackout_days(site: Site, first: date, last: date) -> dict[str, dict[date, str]]:
    """Return for each engine the days on which it is not stopped, each with its reason.

    Args:
        site: the site.
        first: the first day that is asked for.
        last: the last one.

    Raises:
        RequestProblemError: a calendar file cannot be read (code CLI155).
    """
    found: dict[str, dict[date, str]] = {unit.id: {} for unit in site.judged_units}
    for entry in site.blackouts:
        for begins, ends, reason in _spans_of(site, entry, first, last):
            days = [begins + _A_DAY * number for number in range((min(ends, last) - begins).days + 1)]
            for engine in entry.engines or tuple(found):
                found[engine] |= {day: reason for day in days if day >= first}
    return found


def _spans_of(site: Site, entry: Blackout, first: date, last: date) -> Iterator[tuple[date, date, str]]:
    """Yield first and last day and reason of each span of a blackout."""
    if entry.from_ is not None:
        yield max(entry.from_, first), entry.to or entry.from_, entry.reason or "blackout"
    if entry.file is not None:
        for begins, ends, name in calendar_spans(site.folder / entry.file, site.zone, first, last):
            yield begins, ends, entry.reason or name


def costs_of(site: Site) -> Cost:
    """Return how dear a stop is on a day, 0 to 99; 0 on every day where the site prefers none.

    Raises:
        RequestProblemError: the file of expected demand cannot be read (code CLI155).
    """
    prefer = site.prefer
    if prefer is None:
        return lambda _: 0
    if prefer.days == "weekend":
        return lambda day: 0 if day.weekday() >= _WEEKEND_FROM else DEAREST
    demand = _demand_of(site.folder, prefer)
    least, most = min(demand.values()), max(demand.values())
    costs = {day: round(DEAREST * (value - least) / (most - least)) if most > least else 0 for day, value in demand.items()}
    # a day that the file does not reach is like the same weekday a year before
    return lambda day: costs.get(day, costs.get(day - timedelta(days=_A_YEAR_D), DEAREST // 2))


def _demand_of(folder: Path, prefer: Prefer) -> dict[date, float]:
    """Return the mean of the demand of each day."""
    file, column = folder / str(prefer.file), str(prefer.column)
    sums: dict[date, list[float]] = defaultdict(list)
    try:
        text = file.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise _refused(file, None, f"cannot be read: {getattr(error, 'strerror', None) or error}", "write a CSV file in UTF-8") from None
    heading = text.split("\n", 1)[0]
    rows = csv.reader(text.splitlines(), delimiter=max(",;\t", key=heading.count))
    names = next(rows, [])
    if column not in names:
        raise _refused(file, 1, f'no column "{column}"{nearest_of(column, names)}', f"columns: {', '.join(names)}")
    for number, row in enumerate(rows, start=2):
        try:
            sums[date.fromisoformat(row[0].strip()[:10])].append(float(row[names.index(column)].replace(",", ".")))
        except (ValueError, IndexError):
            raise _refused(file, number, f"a day and a number are needed; got {row}", "write for example 2026-11-03,420") from None
    if not sums:
        raise _refused(file, None, "there are no rows", "write a row for each day")
    return {day: sum(values) / len(values) for day, values in sums.items()}


def _refused(file: Path, line: int | None, text: str, fix: str) -> RequestProblemError:
    """Return the error of a file that cannot be used."""
    return RequestProblemError([Problem(CODE, str(file), line, None, text, fix)])
