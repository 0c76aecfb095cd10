"""How parts were found before the work on them: the grades that the records of a site keep, each with the card of its job.

In: `records/measures.csv` below the site's folder, where it is. Out: the grade of each job of each task. Refuses nothing: a row that
cannot be read, or whose word is no grade, is passed over, and `intervals record` says so.
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import NamedTuple

from intervals.language.result_measures import FOUND_GRADES

MEASURES_FILE = Path("records") / "measures.csv"
AS_FOUND = "as_found"
"""The measure under which is kept how a part was found before the work; its value is a word."""
MEASURE_COLUMNS = ("at", "engine", "task", "measure", "value", "unit", "card")


class FoundGrade(NamedTuple):
    """How the part of one job was found.

    Attributes:
        grade: good, worn, at_limit or failed.
        place: the row that says so, as file:line.
    """

    grade: str
    place: str


FoundGrades = dict[tuple[str, str, str], FoundGrade]
"""Grades by engine, task as the card names it, and code of the card."""


def read_found_grades(folder: Path) -> FoundGrades:
    """Return the grades that a site's records keep, the last line of a part; none where there is no file of them.

    Args:
        folder: the site's folder.
    """
    file = folder / MEASURES_FILE
    if not file.is_file():
        return {}
    found: FoundGrades = {}
    with file.open(encoding="utf-8-sig", errors="replace", newline="") as stream:
        rows = csv.DictReader(stream)
        for row in rows:
            grade = row.get("value") or ""
            if row.get("measure") == AS_FOUND and row.get("card") and grade in FOUND_GRADES:
                place = f"{MEASURES_FILE.as_posix()}:{rows.line_num}"
                found[row.get("engine") or "", row.get("task") or "", row.get("card") or ""] = FoundGrade(grade, place)
    return found
