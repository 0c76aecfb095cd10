"""Earlier results of measures: what the records of a site keep of each, newest last.

In: `records/measures.csv` below the site's folder, where it is. Out: the results of a measure of an engine. Refuses nothing:
a row that cannot be read is passed over and counted.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterator, Mapping
from datetime import datetime
from math import isfinite
from pathlib import Path

from intervals.questions.card.card_models import LastResult
from intervals.readings.records.found_grades import AS_FOUND, MEASURES_FILE

_Row = tuple[datetime, LastResult, str]


class LastResults:
    """The results of every measure of a site.

    Args:
        rows: rows of the file, by column.

    Attributes:
        unreadable: how many rows cannot be read.
    """

    def __init__(self, rows: Iterator[Mapping[str, str | None]]) -> None:
        self.unreadable = 0
        self._found: dict[tuple[str, str], list[_Row]] = defaultdict(list)
        for row in rows:
            if row.get("measure") == AS_FOUND:
                # a word, not a figure
                continue
            try:
                self._add(row)
            except (ValueError, TypeError, KeyError):
                self.unreadable += 1
        for listed in self._found.values():
            listed.sort(key=lambda each: each[0])

    def _add(self, row: Mapping[str, str | None]) -> None:
        """Add one row; ValueError, TypeError or KeyError where it cannot be read."""
        at, engine, measure, value = (row[column] or "" for column in ("at", "engine", "measure", "value"))
        when, number = datetime.fromisoformat(at).replace(tzinfo=None), float(value)
        if not (engine and measure and isfinite(number)):
            raise ValueError(measure)
        self._found[engine, measure].append((when, LastResult(at=at, value=round(number, 6), card=row["card"] or ""), row["unit"] or ""))

    def of(self, engine: str, until: str | None, measure: str, unit: str) -> tuple[LastResult, ...]:
        """Return the results of a measure, the newest last.

        Args:
            engine: the engine's id.
            until: the last day that counts, `YYYY-MM-DD`; None where every day does.
            measure: the name under which the value is kept.
            unit: its unit; results in another one are left out.
        """
        rows = self._found.get((engine, measure), ())
        return tuple(result for when, result, of in rows if of == unit and (until is None or when.date().isoformat() <= until))


def read_last_results(folder: Path) -> LastResults:
    """Return the results that a site's records keep; none where there is no file of them.

    Args:
        folder: the site's folder.
    """
    file = folder / MEASURES_FILE
    if not file.is_file():
        return LastResults(iter(()))
    with file.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        return LastResults(csv.DictReader(stream))
